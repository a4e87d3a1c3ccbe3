"""The uncertainty budget: its lines, their shares, and the result with its coverage factor.

Rules of this module (JCGM 100:2008, the GUM):
- A line's standard uncertainty is its stated value over the divisor of its distribution: normal at two
  standard deviations 2, at one 1; rectangular sqrt(3); triangular sqrt(6); U-shaped sqrt(2) (4.3, F.2.3.3),
  times the sensitivity.
- Lines combine as the root of the sum of squares (5.1.2), with what they share where they hang together
  (5.2.2; see `correlated`). A line's share is its part of the sum.
- Effective degrees of freedom after Welch and Satterthwaite (G.4.1); a line without them counts as known
  exactly. The coverage factor is Student's t for the next whole number below (G.4.1, note 1), of the normal
  for none. Lines that hang together count there as one.
- Thermal line: expansion times length times half the temperature's range, rectangular (H.1 for its form).
- A negative value, and a confidence of 0 or 1 or beyond, are refused by name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from webapp.domain.budget.correlated import Correlation, fewest_degrees, groups, parts_nm2
from webapp.domain.figures import spread
from webapp.domain.plain.errors import DomainError

# Lines that take each other away to less than this part of their squares leave what rounding leaves.
NOTHING_LEFT = 1e-12


class BudgetError(DomainError):
    """The budget cannot be worked out."""


class BudgetEmptyError(BudgetError):
    """There is no line, or every line is zero."""

    code = "budget.empty"


class BudgetLineNegativeError(BudgetError):
    """A line's value, sensitivity or degrees of freedom cannot be."""

    code = "budget.line_negative"
    field_names = ("line", "value")


class ConfidenceNotBetweenError(BudgetError):
    """The confidence is not strictly between 0 and 1."""

    code = "budget.confidence_not_between"
    field_names = ("confidence",)


class Distribution(StrEnum):
    """How a stated value spreads."""

    STANDARD = "standard"
    NORMAL_2 = "normal_2"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u_shaped"

    @property
    def divisor(self) -> float:
        """Return what turns the stated value into a standard uncertainty."""
        return _DIVISORS[self]


_DIVISORS = {
    Distribution.STANDARD: 1.0,
    Distribution.NORMAL_2: 2.0,
    Distribution.RECTANGULAR: math.sqrt(3),
    Distribution.TRIANGULAR: math.sqrt(6),
    Distribution.U_SHAPED: math.sqrt(2),
}


@dataclass(frozen=True)
class BudgetLine:
    """One source of uncertainty: the stated value in nm (or in the unit that the sensitivity turns into nm).

    `name_code` and `source` say what it is and where the value comes from;
    `degrees_of_freedom` None: known exactly.
    """

    name_code: str
    value: float
    distribution: Distribution
    source: str
    degrees_of_freedom: float | None = None
    sensitivity: float = 1.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or self.value < 0:
            raise BudgetLineNegativeError(line=self.name_code, value=str(self.value))
        if not math.isfinite(self.sensitivity):
            raise BudgetLineNegativeError(line=self.name_code, value=str(self.sensitivity))
        degrees = self.degrees_of_freedom
        if degrees is not None and not degrees > 0:
            raise BudgetLineNegativeError(line=self.name_code, value=str(degrees))

    @property
    def brought_nm(self) -> float:
        """Return what one standard uncertainty of this line does to the result,
        with the sign of its sensitivity.
        """
        return self.value / self.distribution.divisor * self.sensitivity

    @property
    def standard_nm(self) -> float:
        """Return the standard uncertainty that this line brings into the result."""
        return abs(self.brought_nm)


@dataclass(frozen=True)
class Budget:
    """The result: combined and expanded uncertainty in nm,
    coverage factor, effective degrees of freedom (None: infinite).

    `shares` are each line's part of the sum of squares, in the lines' order; they add up to 1.
    """

    lines: tuple[BudgetLine, ...]
    shares: tuple[float, ...]
    combined_nm: float
    degrees_of_freedom: float | None
    confidence: float
    coverage_factor: float
    correlations: tuple[Correlation, ...] = ()

    @property
    def expanded_nm(self) -> float:
        """Return the half-width that holds the value with the chosen confidence."""
        return self.coverage_factor * self.combined_nm


def thermal_line(
    expansion_per_kelvin: float, length_nm: float, half_range_kelvin: float, source: str
) -> BudgetLine:
    """Return the line of thermal expansion over the span between fixture and machine's reference."""
    for value in (expansion_per_kelvin, length_nm):
        if not math.isfinite(value) or value < 0:
            raise BudgetLineNegativeError(line="budget.thermal", value=str(value))
    sensitivity = expansion_per_kelvin * length_nm
    return BudgetLine(
        "budget.thermal", half_range_kelvin, Distribution.RECTANGULAR, source, None, sensitivity
    )


def effective_degrees_of_freedom(
    lines: Sequence[BudgetLine], correlations: Sequence[Correlation] = ()
) -> float | None:
    """Return Welch and Satterthwaite's degrees of freedom, None where every line is known exactly."""
    parts = parts_nm2(lines, correlations)
    terms = []
    for places in groups(len(lines), correlations):
        degrees = fewest_degrees([lines[place] for place in places])
        together = math.fsum(parts[place] for place in places)
        if degrees is not None and together > 0:
            terms.append(together**2 / degrees)
    return math.fsum(parts) ** 2 / math.fsum(terms) if terms else None


def budget(
    lines: Sequence[BudgetLine], confidence: float = 0.95, correlations: Sequence[Correlation] = ()
) -> Budget:
    """Return the budget's result.
    Raises `BudgetEmptyError`, `ConfidenceNotBetweenError`, a `CorrelationError`.
    """
    if not 0 < confidence < 1:
        raise ConfidenceNotBetweenError(confidence=str(confidence))
    parts = parts_nm2(lines, correlations)
    total = math.fsum(parts)
    if total <= NOTHING_LEFT * math.fsum(line.brought_nm**2 for line in lines):
        raise BudgetEmptyError
    degrees = effective_degrees_of_freedom(lines, correlations)
    if degrees is None:
        factor = spread.normal_quantile(confidence)
    else:
        factor = spread.t_quantile(confidence, spread.whole_degrees(degrees))
    shares = tuple(part / total for part in parts)
    return Budget(tuple(lines), shares, math.sqrt(total), degrees, confidence, factor, tuple(correlations))


def widened_when_overdue(line: BudgetLine, days_overdue: int, factor: float) -> BudgetLine:
    """Return the line as it counts once its check is overdue: as set by the lead, `factor` (1 or more)
    times as wide.
    """
    if not 1 <= factor < math.inf:
        raise BudgetLineNegativeError(line=line.name_code, value=str(factor))
    value = line.value * factor if days_overdue > 0 else line.value
    return BudgetLine(
        line.name_code, value, line.distribution, line.source, line.degrees_of_freedom, line.sensitivity
    )
