"""Exact sums of squares of whole numbers, quick for long columns too.

Rules:
- n times the sum of squared deviations from the mean, n * sum(v^2) - sum(v)^2, is a whole number:
  nothing rounds, and the deviations may be counted from any whole number, here the first value;
- long columns are summed by NumPy in 64-bit integers, in pieces so short that no sum can leave them; what
  lies too far apart for that, and what is short, is summed in Python's integers. Both give the same number.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

LEAST_LONG = 200
BLOCK = 1000
# A block's sum of squares stays below 2**62.
LARGEST_DEVIATION = 60_000_000
LARGEST_SUM = 2**62


def times_n_squares(values: Sequence[int | Fraction]) -> int | Fraction:
    """Return n times the sum of squared deviations from the mean, exact."""
    found = _deviations(values)
    if found is None:
        return len(values) * sum([value * value for value in values]) - sum(values) ** 2
    starts = range(0, len(found), BLOCK)
    total = sum(int(found[start : start + BLOCK].sum()) for start in starts)
    of_squares = sum(int((found[start : start + BLOCK] ** 2).sum()) for start in starts)
    return len(found) * of_squares - total**2


def sum_of_squares(lengths: NDArray[np.int64]) -> int:
    """Return the exact sum of the squares of whole numbers at or above zero."""
    if not len(lengths):
        return 0
    largest = max(1, int(lengths.max()))
    block = LARGEST_SUM // largest**2
    if block < min(BLOCK, len(lengths)):
        return sum(value * value for value in lengths.tolist())
    starts = range(0, len(lengths), block)
    return sum(int((lengths[start : start + block] ** 2).sum()) for start in starts)


def _deviations(values: Sequence[int | Fraction]) -> NDArray[np.int64] | None:
    """Return deviations from the first value where NumPy's
    integers hold what is done with them, else None.
    """
    if len(values) < LEAST_LONG:
        return None
    found = np.asarray(values)
    if found.dtype != np.int64 or int(found.max()) - int(found.min()) > LARGEST_DEVIATION:
        return None
    away: NDArray[np.int64] = found - found[0]
    return away
