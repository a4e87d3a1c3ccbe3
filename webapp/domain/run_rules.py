"""Run rules: patterns that chance makes rarely. Hints for the lead, never a signal by themselves.

Rules of this module (L. S. Nelson, Journal of Quality Technology 16, 1984, tests 1 to 8), on values in sigma from the
centre:

1. one value beyond 3 sigma
2. nine in a row on one side of the centre
3. six in a row steadily rising or falling
4. fourteen in a row going up and down in turn
5. two of three in a row beyond 2 sigma on the same side
6. four of five in a row beyond 1 sigma on the same side
7. fifteen in a row within 1 sigma, on either side
8. eight in a row beyond 1 sigma, on either side

A value on the centre lies on no side; equal neighbours neither rise nor fall. A rule is marked at the value that
completes it, which in tests 5 and 6 lies beyond the line itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

Rule = Callable[[Sequence[float]], bool]


def _side(value: float) -> int:
    return (value > 0) - (value < 0)


def _beyond(window: Sequence[float], line: float, least: int) -> bool:
    """Tell whether the last value and enough others lie beyond the line on the last one's side."""
    side = _side(window[-1])
    return window[-1] * side > line and sum(value * side > line for value in window) >= least


def _steady(window: Sequence[float]) -> bool:
    steps = [_side(after - before) for before, after in pairwise(window)]
    return steps[0] != 0 and all(step == steps[0] for step in steps)


def _in_turn(window: Sequence[float]) -> bool:
    steps = [_side(after - before) for before, after in pairwise(window)]
    return all(step * after < 0 for step, after in pairwise(steps))


# Number, how many values in a row it looks at, whether they show the pattern.
RULES: tuple[tuple[int, int, Rule], ...] = (
    (1, 1, lambda window: abs(window[0]) > 3),
    (2, 9, lambda window: abs(sum(map(_side, window))) == 9),
    (3, 6, _steady),
    (4, 14, _in_turn),
    (5, 3, lambda window: _beyond(window, 2, 2)),
    (6, 5, lambda window: _beyond(window, 1, 4)),
    (7, 15, lambda window: all(abs(value) < 1 for value in window)),
    (8, 8, lambda window: all(abs(value) > 1 for value in window)),
)


def run_rules(values: Sequence[float]) -> tuple[tuple[int, ...], ...]:
    """Return, for each value in sigma from the centre, the numbers of the rules that it completes."""
    return tuple(
        tuple(
            number
            for number, length, holds in RULES
            if place + 1 >= length and holds(values[place + 1 - length : place + 1])
        )
        for place in range(len(values))
    )
