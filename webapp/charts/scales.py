"""Scales in a display's unit: where the ticks stand, what they say, how far a panel reaches.

Rules of this module: ticks stand on round steps of 1, 2 or 5, never finer than the display shows;
a panel reaches a little beyond what it has to show and is never narrower than six steps of the display.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from webapp.domain.plain.lengths import Display, format_length

ROOM = 0.08
LEAST_STEPS = 6


@dataclass(frozen=True)
class LengthScale:
    """A stretch of lengths in nm from `low` to `high`, with ticks.
    Plotted in nm from `origin`, so no digit is lost.
    """

    low_nm: float
    high_nm: float
    origin_nm: int
    ticks_nm: tuple[int, ...]
    display: Display
    sign: bool

    def at(self, value_nm: float) -> float:
        """Return where a length is plotted."""
        return value_nm - self.origin_nm

    def inside(self, value_nm: float) -> float:
        """Return where a length is plotted, moved to the edge if it lies beyond."""
        return self.at(min(max(value_nm, self.low_nm), self.high_nm))

    @property
    def labels(self) -> list[str]:
        """Return what the ticks say."""
        return [format_length(tick, self.display, self.sign) for tick in self.ticks_nm]


def length_scale(
    low_nm: float,
    high_nm: float,
    display: Display,
    ticks: int = 5,
    *,
    sign: bool = True,
    from_zero: bool = False,
) -> LengthScale:
    """Return a scale that shows both lengths."""
    least = LEAST_STEPS * display.resolution_nm
    if high_nm - low_nm < least:
        middle = (low_nm + high_nm) / 2
        low_nm, high_nm = middle - least / 2, middle + least / 2
    room = ROOM * (high_nm - low_nm)
    low_nm, high_nm = (0.0 if from_zero else low_nm - room), high_nm + room
    step = _round_step((high_nm - low_nm) / ticks, display.resolution_nm)
    first = math.ceil(low_nm / step)
    found = tuple(range(first * step, math.floor(high_nm / step) * step + 1, step))
    return LengthScale(low_nm, high_nm, round(low_nm), found, display, sign)


def _round_step(rough_nm: float, resolution_nm: int) -> int:
    """Return the next step of 1, 2 or 5 times a power of ten of the display's step."""
    step = resolution_nm
    while step * 10 < rough_nm:
        step *= 10
    return next(step * factor for factor in (1, 2, 5, 10) if step * factor >= rough_nm)


def spread_out(wanted: Sequence[tuple[float, str]], least: float) -> list[tuple[float, str]]:
    """Return labels at heights that are at least `least` apart:
    those too near to an earlier one are left away.
    """
    kept: list[tuple[float, str]] = []
    for height, text in wanted:
        if all(abs(height - other) >= least for other, _ in kept):
            kept.append((height, text))
    return kept
