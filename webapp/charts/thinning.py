"""Thousands of values in a picture a thousand units wide: which of them to draw.

Rules of this module:
- The series is cut into as many stretches as there is room for,
  and each keeps its lowest and its highest value: the outline of the picture stays, whatever is left away.
- What must be seen stays: the ends of the series, the ends of each signal.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def thinned(values: Sequence[float], most: int, always: Iterable[int] = ()) -> list[int]:
    """Return the places to draw, in order:
    all of them up to `most`, else at most that many and those of `always`.
    """
    if len(values) <= most:
        return list(range(len(values)))
    kept = {0, len(values) - 1, *always}
    stretches = max(1, most // 2)
    for number in range(stretches):
        places = range(number * len(values) // stretches, (number + 1) * len(values) // stretches)
        kept.add(min(places, key=values.__getitem__))
        kept.add(max(places, key=values.__getitem__))
    return sorted(kept)
