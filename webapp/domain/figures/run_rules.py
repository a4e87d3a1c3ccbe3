"""Run rules: patterns that chance makes rarely. Hints for the lead, never a signal by themselves.

Rules of this module (L. S. Nelson, Journal of Quality Technology 16,
1984, tests 1 to 8), on values in sigma from the centre:

1. one value beyond 3 sigma
2. nine in a row on one side of the centre
3. six in a row steadily rising or falling
4. fourteen in a row going up and down in turn
5. two of three in a row beyond 2 sigma on the same side
6. four of five in a row beyond 1 sigma on the same side
7. fifteen in a row within 1 sigma, on either side
8. eight in a row beyond 1 sigma, on either side

A value on the centre lies on no side; equal neighbours neither rise nor fall. A rule is marked at the value
that completes it, which in tests 5 and 6 lies beyond the line itself. All places are looked at together, so
that a chart of ten thousand values takes no longer than its drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Places = NDArray[np.bool_]
# In rules 5 and 6: the window, how many of it, beyond which line.
WARNINGS = ((5, 3, 2, 2.0), (6, 5, 4, 1.0))


def run_rules(values: Sequence[float]) -> tuple[tuple[int, ...], ...]:
    """Return, for each value in sigma from the centre, the numbers of the rules that it completes."""
    found: list[tuple[int, ...]] = [()] * len(values)
    for number, completed in _rules(np.asarray(values, dtype=np.float64)):
        for place in np.flatnonzero(completed):
            found[place] += (number,)
    return tuple(found)


def _rules(values: Numbers) -> Iterable[tuple[int, Places]]:
    """Yield each rule with the places that complete it."""
    sides, steps = np.sign(values), np.sign(np.diff(values))
    in_turn = steps[1:] * steps[:-1] < 0
    yield 1, np.abs(values) > 3
    yield 2, _all(sides > 0, 9) | _all(sides < 0, 9)
    yield 3, _later(_all(steps > 0, 5) | _all(steps < 0, 5), 1)
    yield 4, _later(_all(in_turn, 12), 2)
    for number, length, least, line in WARNINGS:
        yield number, _some(values > line, length, least) | _some(values < -line, length, least)
    yield 7, _all(np.abs(values) < 1, 15)
    yield 8, _all(np.abs(values) > 1, 8)


def _counts(holds: Places, length: int) -> NDArray[np.int64]:
    """Return, at each place, how many of the last `length` places hold; 0 where there are not so many yet."""
    sums = np.concatenate(([0], np.cumsum(holds)))
    counts = np.zeros(len(holds), dtype=np.int64)
    counts[length - 1 :] = sums[length:] - sums[:-length]
    return counts


def _all(holds: Places, length: int) -> Places:
    completed: Places = _counts(holds, length) == length
    return completed


def _some(holds: Places, length: int, least: int) -> Places:
    """Return where enough of the last places hold, the last one of them among these."""
    completed: Places = holds & (_counts(holds, length) >= least)
    return completed


def _later(places: Places, by: int) -> Places:
    """Return the same places counted from values instead of from the steps between them."""
    later: Places = np.concatenate((np.zeros(by, dtype=np.bool_), places))
    return later
