"""A Monte Carlo run of a budget, beside the law of propagation:
its coverage interval, and whether both agree.

Rules of this module (JCGM 101:2008):
- Each line is drawn from what is known of it (6.4): a normal of its standard uncertainty, or a rectangle, a
  triangle or an arc sine of its half-width. A line with degrees of freedom is wider in some draws and
  narrower in others, as the square root of them over a chi-squared draw: of a normal that makes the scaled
  and shifted t (6.4.9).
- Lines that hang together are drawn together, as one normal (6.4.8) or, with degrees of freedom, one t of the
  fewest.
- The interval leaves as many draws below as above (7.7).
  Where its ends lie is known to their standard errors only.
- The two agree where neither end differs by more than half of the second significant digit of the standard
  uncertainty (8.1, with two digits). They differ where one does by more than chance explains; between, more
  is drawn, up to MOST.
- The generator is an argument. The same one gives the same run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from webapp.domain.budget.correlated import Correlation, fewest_degrees, groups, matrix_of
from webapp.domain.budget.uncertainty import Budget, BudgetLine, Distribution

Draws = NDArray[np.float64]
Verdict = Literal["agrees", "differs", "cannot_tell"]

FIRST, MOST = 200_000, 1_000_000
BLOCKS = 20
CERTAIN = 2.0


@dataclass(frozen=True)
class MonteCarlo:
    """What the draws came to, in nm:
    their standard deviation, the interval's ends and those ends' standard errors.

    `tolerance_nm` is how far the ends of the two intervals may lie apart to agree.
    Beside fewer than three degrees of freedom a standard deviation says nothing: the interval does.
    """

    draws: int
    standard_nm: float
    low_nm: float
    high_nm: float
    low_error_nm: float
    high_error_nm: float
    tolerance_nm: float
    verdict: Verdict

    def apart_nm(self, found: Budget) -> float:
        """Return the larger of the distances between the ends of this interval and of the budget's."""
        return max(abs(self.low_nm + found.expanded_nm), abs(self.high_nm - found.expanded_nm))


def beside(found: Budget, generator: np.random.Generator, first: int = FIRST, most: int = MOST) -> MonteCarlo:
    """Return a run beside this budget, of `first` draws, or more where these cannot tell, up to `most`."""
    drawn = draw(found.lines, found.correlations, generator, first)
    while True:
        run = _judged(found, drawn)
        if run.verdict != "cannot_tell" or len(drawn) >= most:
            return run
        more = draw(found.lines, found.correlations, generator, min(len(drawn), most - len(drawn)))
        drawn = np.concatenate([drawn, more])


def draw(
    lines: Sequence[BudgetLine],
    correlations: Sequence[Correlation],
    generator: np.random.Generator,
    count: int,
) -> Draws:
    """Return so many draws of what the lines bring together, in nm, around zero."""
    matrix, total = matrix_of(len(lines), correlations), np.zeros(count)
    for places in groups(len(lines), correlations):
        if len(places) == 1:
            total += _alone(lines[places[0]], generator, count)
        else:
            part = matrix[np.ix_(places, places)]
            total += _together([lines[place] for place in places], part, generator, count)
    return total


def _alone(line: BudgetLine, generator: np.random.Generator, count: int) -> Draws:
    half_nm = line.value * line.sensitivity
    if half_nm == 0:
        return np.zeros(count)
    if line.distribution is Distribution.RECTANGULAR:
        drawn = generator.uniform(-half_nm, half_nm, count)
    elif line.distribution is Distribution.TRIANGULAR:
        drawn = half_nm * (generator.uniform(0, 1, count) - generator.uniform(0, 1, count))
    elif line.distribution is Distribution.U_SHAPED:
        drawn = half_nm * np.sin(generator.uniform(-math.pi, math.pi, count))
    else:
        drawn = line.brought_nm * generator.standard_normal(count)
    return drawn * _wider(line.degrees_of_freedom, generator, count)


def _together(
    lines: Sequence[BudgetLine], matrix: Draws, generator: np.random.Generator, count: int
) -> Draws:
    """Return what a group brings: a sum of joint normal draws is itself normal, with this variance."""
    brought = np.array([line.brought_nm for line in lines])
    spread_nm = math.sqrt(max(0.0, float(brought @ matrix @ brought)))
    return spread_nm * generator.standard_normal(count) * _wider(fewest_degrees(lines), generator, count)


def _wider(degrees: float | None, generator: np.random.Generator, count: int) -> Draws:
    if degrees is None:
        return np.ones(count)
    return np.sqrt(degrees / generator.chisquare(degrees, count))


def _judged(found: Budget, drawn: Draws) -> MonteCarlo:
    ends = ((1 - found.confidence) / 2, (1 + found.confidence) / 2)
    low, high = (float(value) for value in np.quantile(drawn, ends))
    blocks = np.array([np.quantile(block, ends) for block in np.array_split(drawn, BLOCKS)])
    errors = blocks.std(axis=0, ddof=1) / math.sqrt(BLOCKS)
    tolerance = tolerance_nm(found.combined_nm)
    apart = (abs(low + found.expanded_nm), abs(high - found.expanded_nm))
    verdict: Verdict = "cannot_tell"
    if all(far + CERTAIN * error <= tolerance for far, error in zip(apart, errors, strict=True)):
        verdict = "agrees"
    elif any(far - CERTAIN * error > tolerance for far, error in zip(apart, errors, strict=True)):
        verdict = "differs"
    deviation = float(drawn.std(ddof=1))
    return MonteCarlo(
        len(drawn), deviation, low, high, float(errors[0]), float(errors[1]), tolerance, verdict
    )


def tolerance_nm(standard_nm: float) -> float:
    """Return half of the second significant digit of a standard uncertainty (JCGM 101:2008, 7.9.2): 0.5 for
    32.
    """
    rounded = float(f"{standard_nm:.1e}")
    return float(0.5 * 10.0 ** (math.floor(math.log10(rounded)) - 1))
