"""How setups scatter, from the differences of neighbours: no creep, step or single outlier widens it.

Rules of this module:
- Two setups one after the other differ by sqrt(2) spreads on average, wherever the fixture lies by then. A slow creep
  hardly changes such a difference, a step changes one, an outlier two (von Neumann and others, Annals of Mathematical
  Statistics 12, 1941: the mean square successive difference).
- A difference beyond three of its own standard deviations is left out. That deviation comes from the median of all,
  which a few cannot bend: the median of |d| is 0.95387 spreads (normal theory). The second moment of what is kept is
  0.97333 of the whole, and is corrected for it.
- Kept differences stand for 0.57 degrees of freedom each, and 0.3 more: neighbours share a value, and the cut costs
  some (found by simulation; without any cut it would be two in three).
- Up to twelve values the median of so few differences can be bent by two of them: there the value that Grubbs' test
  points at (two-sided, 1 %) is set aside first.
- What is shown as one difference may be up to a step more: half a step of the display is added to the median, so that
  flips of the last digit, differences of up to two steps, are never left out, nor such a value set aside.
- Runs: values between differences beyond six deviations. Their sample variance, each about its own mean, sees sooner
  than the differences whether a short seating scatters more; no line is drawn from it.
- Sums are exact; only whether a difference is kept uses a rounded factor, and it as a whole number of thousandths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from webapp.domain.figures import spread
from webapp.domain.figures.exact_sums import sum_of_squares

# 3 * sqrt(2) / 0.95387 and 6 * sqrt(2) / 0.95387, in thousandths of the median difference.
CUT_THOUSANDTHS = 4448
RUN_CUT_THOUSANDTHS = 8896
KEPT_OF_SECOND_MOMENT = Fraction(97333, 100_000)
DEGREES_EACH, DEGREES_MORE = 0.57, 0.3
STEPS_OF_ROUNDING = 2
SET_ASIDE_LEVEL = 0.01
LEAST_FOR_SETTING_ASIDE, MOST_FOR_SETTING_ASIDE = 4, 12

Lengths = NDArray[np.int64]


@dataclass(frozen=True)
class Differences:
    """The differences that were kept: the sum of their squares in nm^2, and how many."""

    squares: int = 0
    count: int = 0

    @property
    def degrees_of_freedom(self) -> float:
        """Return for how many degrees of freedom they stand; 0 for none."""
        return DEGREES_EACH * self.count + DEGREES_MORE if self.count else 0.0

    @property
    def of_variance(self) -> Fraction:
        """Return the sum of what each says of the variance of one setup."""
        return Fraction(self.squares, 2) / KEPT_OF_SECOND_MOMENT


def set_aside(values: Sequence[int], resolution_nm: int = 0) -> int | None:
    """Return the place of the one value of four to twelve that lies far from all others, if there is one."""
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
    found = lengths[_near(lengths, twice_nm, CUT_THOUSANDTHS, resolution_nm)]
    return Differences(sum_of_squares(found), len(found))


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
