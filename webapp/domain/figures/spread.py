"""Mean, spread and suspects of repeated values.

Rules of this module:
- Sums are exact: values are whole nanometres (or fractions), so mean and variance are exact fractions, and
  only the last step, a square root, rounds. Far-off means lose no digits (NIST StRD univariate sets NumAcc1
  to NumAcc4).
- Pooled over groups: s^2 = sum of squares / degrees of freedom,
  both summed over the groups, each about its own mean.
- Two variances are compared by the F test (NIST/SEMATECH e-Handbook 1.3.5.9). A display rounds what it shows,
  so q^2/12 of its step q is added to both first: else two equal readings would pass for a fixture without any
  spread.
- How setups scatter comes from the differences of neighbours (see `neighbours`),
  and over seatings from `alike`.
- Grubbs' test points at one suspect (NIST/SEMATECH e-Handbook 1.3.5.17.1; Grubbs and Beck 1972). It is a hint
  only.
- Quantiles come from scipy.special, whose import is light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from webapp.domain.figures import special
from webapp.domain.figures.exact_sums import times_n_squares
from webapp.domain.plain.usual_errors import TooFewValuesError

SUSPECT_LEVEL = 0.05
# A thousand times what sixty lines' sums can lose,
# and far below anything that degrees of freedom are known to.
ROUNDING = 1e-11


def mean(values: Sequence[int | Fraction]) -> Fraction:
    """Return the exact mean. Raises `TooFewValuesError` for no value."""
    if not values:
        raise TooFewValuesError(n=0, least=1)
    return Fraction(sum(values)) / len(values)


def squares(values: Sequence[int | Fraction]) -> Fraction:
    """Return the exact sum of squared deviations from the mean; 0 for one value or none."""
    if len(values) < 2:
        return Fraction(0)
    return Fraction(times_n_squares(values)) / len(values)


@dataclass(frozen=True)
class Pooled:
    """A variance in nm^2, exact, its degrees of freedom, and the indices of the groups it stands on."""

    variance: Fraction
    degrees_of_freedom: float
    members: tuple[int, ...]

    @property
    def s_nm(self) -> float:
        """Return the standard deviation in nanometres."""
        return math.sqrt(self.variance)


def pool(groups: Sequence[Sequence[int | Fraction]], members: Sequence[int]) -> Pooled:
    """Return the pooled variance of the named groups, which need one degree of freedom between them."""
    lengths = [len(groups[i]) for i in members]
    degrees = sum(lengths) - len(lengths)
    if degrees < 1:
        raise TooFewValuesError(n=max(lengths, default=0), least=2)
    total = sum((squares(groups[i]) for i in members), Fraction(0))
    return Pooled(total / degrees, degrees, tuple(members))


@dataclass(frozen=True)
class VarianceTest:
    """The ratio of two variances, the two-sided p-value of the F test that they are equal, and its upper side
    alone.
    """

    ratio: float
    p_value: float
    above: float


def variance_test(one: Pooled, other: Pooled, resolution_nm: int) -> VarianceTest:
    """Return the F test of two variances, each widened by q^2/12 of the display's step q."""
    rounding = Fraction(resolution_nm**2, 12)
    ratio = float((one.variance + rounding) / (other.variance + rounding))
    low = float(special.fdtr(one.degrees_of_freedom, other.degrees_of_freedom, ratio))
    high = float(special.fdtrc(one.degrees_of_freedom, other.degrees_of_freedom, ratio))
    return VarianceTest(ratio, min(1.0, 2 * min(low, high)), high)


def t_quantile(coverage: float, degrees_of_freedom: float) -> float:
    """Return t such that the two-sided coverage lies between -t and t (Student)."""
    return float(special.stdtrit(degrees_of_freedom, (1 + coverage) / 2))


def whole_degrees(degrees_of_freedom: float) -> int:
    """Return the whole degrees of freedom that a table of t is entered with:
    the next whole number below, at least 1.

    Sums of floating numbers fall short of a whole number by a few parts in 10^16, and by others in another
    unit (JCGM 100:2008, G.4.1, note 1, means the number itself): what lies within ROUNDING of itself below
    one is that one.
    """
    return max(1, math.floor(degrees_of_freedom * (1 + ROUNDING)))


def normal_quantile(coverage: float) -> float:
    """Return z such that the two-sided coverage lies between -z and z (standard normal)."""
    return float(special.ndtri((1 + coverage) / 2))


def prediction_half_width(
    s: float, degrees_of_freedom: float, centre_variance: float, coverage: float
) -> float:
    """Return the half-width for one more value beside a centre: t * s * sqrt(1 + c), c 1/n for the mean of n.

    `centre_variance` is that of the centre in squares of s.
    Source: normal theory for one future observation (Hahn and Meeker, Statistical Intervals, section 4.6).
    """
    return t_quantile(coverage, degrees_of_freedom) * s * math.sqrt(1 + centre_variance)


@dataclass(frozen=True)
class Grubbs:
    """The value farthest from the mean:
    its place, its distance in standard deviations, and the critical distance.
    """

    index: int
    statistic: float
    critical: float

    @property
    def is_suspect(self) -> bool:
        """Tell whether chance alone does not explain the distance at the chosen level."""
        return self.statistic > self.critical


def grubbs_critical(n: int, level: float = SUSPECT_LEVEL, sides: int = 2) -> float:
    """Return the critical value of Grubbs' statistic for n >= 3 values;
    `sides` is 1 for one named end, else 2.
    """
    if n < 3:
        raise TooFewValuesError(n=n, least=3)
    t = float(special.stdtrit(n - 2, 1 - level / (sides * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def grubbs(values: Sequence[int | Fraction], level: float = SUSPECT_LEVEL) -> Grubbs:
    """Return Grubbs' two-sided test of the farthest value. Raises `TooFewValuesError` below three values."""
    critical = grubbs_critical(len(values), level)
    centre, variance = mean(values), squares(values) / (len(values) - 1)
    # The farthest value is an end of the range; of two as far, the first.
    ends = {values.index(min(values)), values.index(max(values))}
    index = max(sorted(ends), key=lambda i: abs(values[i] - centre))
    distance = abs(values[index] - centre)
    statistic = math.sqrt(distance**2 / variance) if variance else 0.0
    return Grubbs(index, statistic, critical)
