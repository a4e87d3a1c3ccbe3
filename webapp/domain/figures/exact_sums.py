"""Exact sums of squares of whole numbers, quick for long columns too.

Rules:
- n times the sum of squared deviations from the mean, n * sum(v^2) - sum(v)^2, is a whole number: nothing rounds, and
  the deviations may be counted from any whole number, here the first value;
- long columns are summed by NumPy in 64-bit integers, in pieces so short that no sum can leave them; what lies too
  far apart for that, and what is short, is summed in Python's integers. Both give the same number.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

LEAST_LONG = 200
BLOCK = 1000
# A block's sum of squares stays below 2**62, and so does BLOCK times it for pieces of up to 20 values.
LARGEST_DEVIATION = 60_000_000


def times_n_squares(values: Sequence[int | Fraction]) -> int | Fraction:
    """Return n times the sum of squared deviations from the mean, exact."""
    found = _deviations(values)
    if found is None:
        return len(values) * sum([value * value for value in values]) - sum(values) ** 2
    starts = range(0, len(found), BLOCK)
    total = sum(int(found[start : start + BLOCK].sum()) for start in starts)
    of_squares = sum(int((found[start : start + BLOCK] ** 2).sum()) for start in starts)
    return len(found) * of_squares - total**2


def times_n_squares_in_pieces(values: Sequence[int], length: int) -> int:
    """Return the sum over pieces of `length` values of `times_n_squares`; `length` at most 20 divides their number."""
    found = _deviations(values)
    if found is None:
        pieces = [values[start : start + length] for start in range(0, len(values), length)]
        return sum(len(piece) * sum([value * value for value in piece]) - sum(piece) ** 2 for piece in pieces)
    rows = found.reshape(-1, length)
    # One row stays inside 64 bits; their sum, over many rows, is formed in Python's integers.
    return sum((length * (rows**2).sum(axis=1) - rows.sum(axis=1) ** 2).tolist())


def _deviations(values: Sequence[int | Fraction]) -> NDArray[np.int64] | None:
    """Return deviations from the first value where NumPy's integers hold what is done with them, else None."""
    if len(values) < LEAST_LONG:
        return None
    found = np.asarray(values)
    if found.dtype != np.int64 or int(found.max()) - int(found.min()) > LARGEST_DEVIATION:
        return None
    away: NDArray[np.int64] = found - found[0]
    return away
