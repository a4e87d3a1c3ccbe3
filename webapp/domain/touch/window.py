"""The window in front of a face:
how far the ball stands from it, how far the search goes, and what a dead probe does.

Rules of this module (m is the stop line's half-width, r the ball's radius and r_eff its effective radius):
- Lowest gap: max(2 mm, v^2/(2a) + 0.5 mm, m + 1 mm): the axis is up to speed, and a face anywhere inside the
  stop line is not yet under the ball. Where r_eff is larger than r the face lies that much nearer than the
  usual says.
- Range: highest gap + m + 0.5 mm, rounded up to the next 0.5 mm or 0.02 in, never above the shop's cap: the
  search reaches a face anywhere inside the stop line. Where r_eff is smaller than r the trigger comes that
  much later.
- A probe that never answers goes range - lowest gap + m past a face that stands nearest, and half a display
  step for the place that is read. That is kept within overtravel / factor, else within overtravel - 0.5 mm:
  the highest gap is the largest mark, at most 1.5 mm (0.06 in) above the lowest, that keeps it. Where none
  does, it is the smallest, so that the range is shortest, and the window says that a dead probe would not
  survive.
- The ball also keeps 1 mm from what stands opposite the face, the moving jaw.
- A control that searches a fixed distance searches that far, cap or not: the window moves away from the face.
- Without a usual a person judges the gap by eye, to a mark, which the 0.5 mm beyond the gap take up;
  the window is then at least 2 mm wide, or there is none.
- Gaps are whole marks of what a person can judge, 0.5 mm or 0.02 in; lowest rounded up, highest down.
Sources: the straight probe of RS-274/NGC wants 0.254 mm of room at least (NISTIR 6556, section 3.5.9), which
the 2 mm cover. The clearances, the marks and the order of the two limits are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from webapp.domain.plain.approach_errors import (
    ApproachError,
    CapTooSmallError,
    CapTooSmallForFeedError,
    CapTooSmallForRadiusError,
    CapTooSmallForSpreadError,
    FirstWindowTooNarrowError,
    FixedSearchTooShortError,
    RoomTooSmallError,
)
from webapp.domain.plain.lengths import NM_PER_MM, Display, Unit, format_length
from webapp.domain.touch.feeds import SECONDS_PER_MINUTE, format_feed

MARK_NM = {Unit.MM: 500_000, Unit.INCH: 508_000}
LEAST_GAP_NM = 2 * NM_PER_MM
NEAREST_CLEARANCE_NM = NM_PER_MM
SPEED_UP_CLEARANCE_NM = NM_PER_MM // 2
BEYOND_NM = NM_PER_MM // 2
KEPT_BACK_NM = NM_PER_MM // 2
MOST_MARKS = 3
WIDTH_WITHOUT_USUAL_NM = 2 * NM_PER_MM


class DeadProbe(StrEnum):
    """What becomes of a stylus whose probe never answers:
    within overtravel over factor, within overtravel, broken.
    """

    WITHIN_FACTOR = "within_factor"
    WITHIN_OVERTRAVEL = "within_overtravel"
    BREAKS = "breaks"


@dataclass(frozen=True)
class Search:
    """What a window is worked out from, lengths in nm; `stop_nm` None: no usual; `fixed_nm` None:
    a range is typed; `room_nm`: how far what stands opposite is from the face, None: far enough.
    """

    cap_nm: int
    fixed_nm: int | None
    first_feed_mm_per_min: float
    deceleration_mm_per_s2: float
    overtravel_nm: int
    safety_factor: float
    ball_radius_nm: int
    effective_radius_nm: int
    stop_nm: int | None
    room_nm: int | None = None

    @property
    def farthest_nm(self) -> int | None:
        """Return the largest gap at which the ball is clear of what stands opposite."""
        if self.room_nm is None:
            return None
        return self.room_nm - 2 * self.ball_radius_nm - NEAREST_CLEARANCE_NM

    @property
    def later_nm(self) -> int:
        """Return how far past contact the trigger comes."""
        return max(0, self.ball_radius_nm - self.effective_radius_nm)

    @property
    def nearer_nm(self) -> int:
        """Return how much nearer the face lies than the usual says."""
        return max(0, self.effective_radius_nm - self.ball_radius_nm)

    @property
    def speed_up_nm(self) -> int:
        """Return the way in which the axis comes up to speed, with its clearance."""
        speed = self.first_feed_mm_per_min / SECONDS_PER_MINUTE
        return math.ceil(speed**2 / (2 * self.deceleration_mm_per_s2) * NM_PER_MM) + SPEED_UP_CLEARANCE_NM


@dataclass(frozen=True)
class Window:
    """Gaps in whole marks, the range on the display's grid, and what a probe that never answers does, in nm.

    `overrun_nm` is how far the ball is pushed past a face that stands nearest; `dead_probe` what that means.
    """

    gap_low_nm: int
    gap_high_nm: int
    range_nm: int
    overrun_nm: int
    dead_probe: DeadProbe


def up(value_nm: int, step_nm: int) -> int:
    """Return the value rounded up to whole steps."""
    return -(-value_nm // step_nm) * step_nm


def down(value_nm: int, step_nm: int) -> int:
    """Return the value rounded down to whole steps."""
    return value_nm // step_nm * step_nm


def gap_window(search: Search, display: Display) -> Window:
    """Return the window of one touch. Raises an `ApproachError` that names the measure that leaves none."""
    windows = list(_windows(search, display))
    if not windows:
        raise _no_window(search, display)
    for wanted in (DeadProbe.WITHIN_FACTOR, DeadProbe.WITHIN_OVERTRAVEL):
        for window in windows:
            if window.dead_probe is wanted:
                return window
    return windows[-1]


def _windows(search: Search, display: Display) -> list[Window]:
    """Return every window that the cap leaves, the widest first."""
    mark = MARK_NM[display.unit]
    widths = range(MOST_MARKS, 0, -1)
    if search.stop_nm is None:
        widths = range(-(-WIDTH_WITHOUT_USUAL_NM // mark), -(-WIDTH_WITHOUT_USUAL_NM // mark) - 1, -1)
    found = []
    for width in widths:
        window = (_typed_range if search.fixed_nm is None else _fixed_range)(search, width * mark, display)
        if window is not None and (search.farthest_nm is None or window.gap_high_nm <= search.farthest_nm):
            found.append(window)
    return found


def _margin_nm(search: Search, display: Display) -> int:
    """Return how far the face may lie from where it is thought to be:
    the stop line, or what an eye is wrong by.
    """
    return MARK_NM[display.unit] if search.stop_nm is None else search.stop_nm


def _beyond_nm(search: Search, display: Display) -> int:
    """Return how far a search goes beyond the highest gap:
    past the stop line, or past what an eye is wrong by.
    """
    margin = _margin_nm(search, display)
    return search.later_nm + (max(margin, BEYOND_NM) if search.stop_nm is None else margin + BEYOND_NM)


def _lowest_nm(search: Search, display: Display) -> int:
    nearest = _margin_nm(search, display) + NEAREST_CLEARANCE_NM + search.nearer_nm
    return up(max(LEAST_GAP_NM, search.speed_up_nm, nearest), MARK_NM[display.unit])


def _typed_range(search: Search, width_nm: int, display: Display) -> Window | None:
    low = _lowest_nm(search, display)
    needed = low + width_nm + _beyond_nm(search, display)
    cap = down(search.cap_nm, display.resolution_nm)
    if needed > cap:
        return None
    return _window(search, low, low + width_nm, min(cap, up(needed, MARK_NM[display.unit])), display)


def _fixed_range(search: Search, width_nm: int, display: Display) -> Window | None:
    reach = search.fixed_nm or 0
    high = reach - _beyond_nm(search, display)
    high = down(high if search.farthest_nm is None else min(high, search.farthest_nm), MARK_NM[display.unit])
    if high - width_nm < _lowest_nm(search, display):
        return None
    return _window(search, high - width_nm, high, reach, display)


def _window(search: Search, low: int, high: int, range_nm: int, display: Display) -> Window:
    misread = -(-display.resolution_nm // 2)
    overrun = range_nm - low + _margin_nm(search, display) + search.nearer_nm + misread
    if overrun * search.safety_factor <= search.overtravel_nm:
        dead = DeadProbe.WITHIN_FACTOR
    elif overrun <= search.overtravel_nm - KEPT_BACK_NM:
        dead = DeadProbe.WITHIN_OVERTRAVEL
    else:
        dead = DeadProbe.BREAKS
    return Window(low, high, range_nm, overrun, dead)


def _no_window(search: Search, display: Display) -> ApproachError:
    """Return the error for the measure without which there would be a window."""

    def shown(value_nm: int) -> str:
        return format_length(value_nm, display, sign=False)

    unit, gap_low, margin = display.unit.value, _lowest_nm(search, display), _margin_nm(search, display)
    cap = shown(search.cap_nm)
    if search.room_nm is not None and _windows(replace(search, room_nm=None), display):
        return RoomTooSmallError(
            room=shown(search.room_nm),
            gap_low=shown(gap_low),
            ball=shown(2 * search.ball_radius_nm),
            unit=unit,
        )
    if search.stop_nm is None:
        reach = shown(search.cap_nm if search.fixed_nm is None else search.fixed_nm)
        least = shown(WIDTH_WITHOUT_USUAL_NM)
        return FirstWindowTooNarrowError(reach=reach, least=least, gap_low=shown(gap_low), unit=unit)
    if search.fixed_nm is not None:
        return FixedSearchTooShortError(
            reach=shown(search.fixed_nm), gap_low=shown(gap_low), stop=shown(search.stop_nm), unit=unit
        )
    if _at_fault(search, display, "stop_nm"):
        return CapTooSmallForSpreadError(
            cap=cap, stop=shown(search.stop_nm), gap_low=shown(gap_low), unit=unit
        )
    if _at_fault(search, display, "first_feed_mm_per_min"):
        feed = format_feed(search.first_feed_mm_per_min, display)
        return CapTooSmallForFeedError(
            cap=cap, gap_low=shown(gap_low), margin=shown(margin), feed=feed, unit=unit
        )
    if _at_fault(search, display, "effective_radius_nm"):
        return CapTooSmallForRadiusError(
            cap=cap, ball=shown(search.ball_radius_nm), effective=shown(search.effective_radius_nm), unit=unit
        )
    return CapTooSmallError(cap=cap, gap_low=shown(gap_low), margin=shown(margin), unit=unit)


def _at_fault(search: Search, display: Display, measure: str) -> bool:
    """Tell whether there would be a window without this measure,
    and none of the others takes more of the search.
    """
    takes = {
        "stop_nm": search.stop_nm or 0,
        "first_feed_mm_per_min": search.speed_up_nm - SPEED_UP_CLEARANCE_NM,
        "effective_radius_nm": search.later_nm + search.nearer_nm,
    }
    without = {
        "stop_nm": replace(search, stop_nm=0),
        "first_feed_mm_per_min": replace(search, first_feed_mm_per_min=0),
        "effective_radius_nm": replace(search, effective_radius_nm=search.ball_radius_nm),
    }
    alone = [name for name, other in without.items() if _windows(other, display)]
    return bool(alone) and max(alone, key=takes.__getitem__) == measure
