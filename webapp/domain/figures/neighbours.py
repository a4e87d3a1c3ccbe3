"""How setups scatter, from the differences of neighbours: no creep, step or single outlier widens it.

Rules of this module:
- Two setups one after the other differ by sqrt(2) spreads on average, wherever the fixture lies by then. A
  slow creep hardly changes such a difference, a step changes one, an outlier two (von Neumann and others,
  Annals of Mathematical Statistics 12, 1941: the mean square successive difference).
- A difference beyond three of its own standard deviations is left out, or beyond more of them where there are
  many: so many that chance takes any of normal ones out of one stretch in twenty-five (Bonferroni; three up
  to fourteen differences, 3.7 of two hundred). What scatters with a long tail on one side has more such
  differences the longer it is watched, and they are no faults. That deviation comes from the median of all,
  which a few cannot bend: the median of |d| is 0.95387 spreads (normal theory).
- The second moment of what is kept is 0.97334 of the whole for three deviations, and is corrected for it. A
  median of few differences is itself uncertain and lets more be cut: 0.7 / (n + 8) more of the whole for n of
  them (found by simulation: 0.9 to 1.1 asks in a hundred from 7 to 200 values).
- Kept differences stand for 0.57 degrees of freedom each, and 0.3 more: neighbours share a value,
  and the cut costs some (found by simulation; without any cut it would be two in three).
- Up to nine values the median of so few differences can be bent by two of them:
  there the value that Grubbs' test points at (two-sided, 0.5 %) is set aside first.
- What is shown as one difference may be up to a step more: half a step of the display is added to the median,
  so that flips of the last digit, differences of up to two steps, are never left out, nor such a value set
  aside. So much farther out is the cut then, and what it takes is counted for where it truly lies.
- Runs: values between differences beyond six deviations. Their sample variance, each about its own mean,
  sees sooner than the differences whether a short seating scatters more; no line is drawn from it.
- Sums are exact; only whether a difference is kept uses a rounded factor,
  and it as a whole number of thousandths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from webapp.domain.figures import spread
from webapp.domain.figures.exact_sums import sum_of_squares

LEAST_CUT_DEVIATIONS, CHANCE_OF_A_CUT = 3.0, 0.04
# sqrt(2) / 0.95387 and six times that, in thousandths of the median difference.
THOUSANDTHS_OF_A_DEVIATION = 1482.6
RUN_CUT_THOUSANDTHS = 8896
DEGREES_EACH, DEGREES_MORE = 0.57, 0.3
MORE_CUT_BY_OWN_MEDIAN, MORE_OF_THEM = 0.7, 8
STEPS_OF_ROUNDING = 2
SET_ASIDE_LEVEL = 0.005
LEAST_FOR_SETTING_ASIDE, MOST_FOR_SETTING_ASIDE = 4, 9

Lengths = NDArray[np.int64]


@dataclass(frozen=True)
class Differences:
    """The differences that were kept: the sum of their squares in nm^2,
    how many, and which share of the second moment is left of normal ones.
    """

    squares: int = 0
    count: int = 0
    share: Fraction = Fraction(1)

    @property
    def degrees_of_freedom(self) -> float:
        """Return for how many degrees of freedom they stand; 0 for none."""
        return degrees_of(self.count)

    @property
    def of_variance(self) -> Fraction:
        """Return the sum of what each says of the variance of one setup."""
        return Fraction(self.squares, 2) / self.share


def degrees_of(count: int) -> float:
    """Return for how many degrees of freedom so many kept differences stand; 0 for none."""
    return DEGREES_EACH * count + DEGREES_MORE if count else 0.0


def set_aside(values: Sequence[int], resolution_nm: int = 0) -> int | None:
    """Return the place of the one value of four to nine that lies far from all others, if there is one."""
    if not LEAST_FOR_SETTING_ASIDE <= len(values) <= MOST_FOR_SETTING_ASIDE:
        return None
    test = spread.grubbs(values, SET_ASIDE_LEVEL)
    others = (abs(value - values[test.index]) for i, value in enumerate(values) if i != test.index)
    far = min(others) > STEPS_OF_ROUNDING * resolution_nm
    return test.index if test.is_suspect and far else None


def without_set_aside(values: Sequence[int], resolution_nm: int = 0) -> Sequence[int]:
    """Return the values without the one that is set aside."""
    place = set_aside(values, resolution_nm)
    return values if place is None else [*values[:place], *values[place + 1 :]]


def distances(values: Sequence[int], resolution_nm: int) -> Lengths:
    """Return how far each value lies from the one before, in nanometres, the one set aside left out."""
    return _steps(without_set_aside(values, resolution_nm))


def _steps(values: Sequence[int]) -> Lengths:
    found: Lengths = np.abs(np.diff(np.asarray(values, dtype=np.int64)))
    return found


def twice_median(lengths: Lengths) -> int:
    """Return twice the median of one or more lengths: a whole number."""
    middle = len(lengths) // 2
    if len(lengths) % 2:
        return 2 * int(np.partition(lengths, middle)[middle])
    low, high = np.partition(lengths, (middle - 1, middle))[middle - 1 : middle + 1]
    return int(low) + int(high)


def kept(lengths: Lengths, resolution_nm: int, twice_scale_nm: int | None = None) -> Differences:
    """Return the differences that are kept, by their own median or by the scale given (twice a median)."""
    if not len(lengths):
        return Differences()
    twice_nm = twice_median(lengths) if twice_scale_nm is None else twice_scale_nm
    deviations = cut_deviations(len(lengths))
    thousandths = round(THOUSANDTHS_OF_A_DEVIATION * deviations)
    found = lengths[_near(lengths, twice_nm, thousandths, resolution_nm)]
    share = share_kept(deviations * (twice_nm + resolution_nm) / twice_nm) if twice_nm else Fraction(1)
    lost = 1 - share_kept(deviations)
    if twice_scale_nm is None and lost:
        cut = (1 - share) / lost
        share -= Fraction(
            round(100_000 * MORE_CUT_BY_OWN_MEDIAN * cut / (len(lengths) + MORE_OF_THEM)), 100_000
        )
    return Differences(sum_of_squares(found), len(found), share)


def cut_deviations(count: int) -> float:
    """Return beyond how many of its standard deviations
    one of so many differences (1 or more) is left out.
    """
    return max(LEAST_CUT_DEVIATIONS, spread.normal_quantile(1 - CHANCE_OF_A_CUT / count))


def share_kept(deviations: float) -> Fraction:
    """Return the second moment of a standard normal value cut at so many deviations on both sides, to five
    digits.
    """
    density = math.exp(-(deviations**2) / 2) / math.sqrt(2 * math.pi)
    within = math.erf(deviations / math.sqrt(2))
    return Fraction(round(100_000 * (1 - 2 * deviations * density / within)), 100_000)


def _near(lengths: Lengths, twice_nm: int, thousandths: int, resolution_nm: int) -> NDArray[np.bool_]:
    near: NDArray[np.bool_] = lengths <= thousandths * (twice_nm + resolution_nm) // 2000
    return near


def within_runs(values: Sequence[int], resolution_nm: int) -> tuple[Fraction, int]:
    """Return the squared deviations of the runs from their means, in nm^2, and their degrees of freedom."""
    counted = without_set_aside(values, resolution_nm)
    if len(counted) < 2:
        return Fraction(0), 0
    lengths = _steps(counted)
    near = _near(lengths, twice_median(lengths), RUN_CUT_THOUSANDTHS, resolution_nm)
    edges = [0, *(int(place) + 1 for place in np.flatnonzero(~near)), len(counted)]
    runs = [counted[start:end] for start, end in pairwise(edges)]
    return sum(map(spread.squares, runs), Fraction(0)), len(counted) - len(runs)
