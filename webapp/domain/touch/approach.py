"""One touch, planned: where the ball stands, how far and how fast it searches, how deep it goes.

Rules of this module (d = -n is the search direction, r the ball's radius, s the usual surface):
- First touch at v1 only if its stopping distance is within O/S, overtravel over safety factor; else at the
  largest feed that is (see `feeds`). The second touch is not faster.
- Gap window: from max(1 mm, v1^2/(2a) + 0.5 mm), so that the axis is up to speed, to C - m, with C the search
  cap and m = max(1 mm, stop line): the search must reach the face anywhere inside the stop line.
- Range: min(C, gap + m) for a measured gap, rounded up to 0.5 mm or 0.02 in and never above C; C without one.
- Stand, spindle line in machine coordinates: from s + n(r + low gap) to s + n(r + high gap). The end of the
  search lies inside the travel. Without history only the gap is known.
- Ball centre below the top edge on a side: from edge break + r to reach - 1 mm, and r + 1 mm above the face's
  foot; from other edges r + max(1 mm, edge break) at least.
- Surface from a trigger position t: t + d * effective radius; a typed pair must agree within one step of the
  display and the ball's calibration uncertainty.
- Everything is rounded inward: windows shrink, distances to stop grow. A window without room is an error that
  names the measure at fault, never a number.
Sources: constant deceleration as in `feeds`; the straight probe of RS-274/NGC wants 0.254 mm of room at least
(NISTIR 6556, section 3.5.9), which the 1 mm covers. The clearances of 1 mm and 0.5 mm and the usual cap of
6.35 mm (0.25 in) are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import cast

from webapp.domain.evidence.written_sheet import ApproachOnSheet
from webapp.domain.plain.axes import Axis, Face, search_direction, surface_from_trigger
from webapp.domain.plain.errors import (
    ApproachError,
    CapTooSmallError,
    CapTooSmallForFeedError,
    CapTooSmallForSpreadError,
    FaceTooLowError,
    FaceTooNarrowError,
    FineFeedNotSlowerError,
    GapOutsideWindowError,
    MeasureNotPositiveError,
    NoFeedStopsInTimeError,
    SearchLeavesTravelError,
    StandOutsideTravelError,
    StylusTooShortError,
    TravelReversedError,
    TriggerDisagreesError,
)
from webapp.domain.plain.lengths import NM_PER_MM, Display, Unit, format_length
from webapp.domain.shop.measures import AxisTravel, FaceMeasures, KnownPlace, ProbingMotion, Stylus
from webapp.domain.touch.feeds import (
    FEED_STEP,
    SECONDS_PER_MINUTE,
    feed_unit,
    format_feed,
    largest_feed_mm_per_min,
    round_feed_down,
    stopping_distance_nm,
)

__all__ = [
    "Approach",
    "AxisTravel",
    "FaceMeasures",
    "KnownPlace",
    "ProbingMotion",
    "Stylus",
    "check_trigger",
    "plan_approach",
    "search_range_nm",
]

LEAST_CLEARANCE_NM = NM_PER_MM
SPEED_UP_CLEARANCE_NM = NM_PER_MM // 2
RANGE_STEP_NM = {Unit.MM: 500_000, Unit.INCH: 508_000}


@dataclass(frozen=True)
class Approach:
    """The plan of one touch: whole nanometres on the display's grid, feeds in mm/min and as typed.

    `search_end_nm` is the farthest that the search can go. Stand and end are None without a usual, depth on a
    top. `stand_above_ball_nm` says which point stand and end are the machine coordinates of: how far it lies above the
    ball's centre, which is the gauge length on Z where the control counts Z from the spindle's gauge line, else 0.
    """

    axis: Axis
    normal: int
    direction_label: str
    direction_code: str
    first_feed_mm_per_min: float
    first_feed_text: str
    first_feed_lowered: bool
    largest_first_feed_mm_per_min: float
    largest_first_feed_text: str
    fine_feed_mm_per_min: float
    fine_feed_text: str
    stopping_distance_nm: int
    margin_nm: int
    gap_low_nm: int
    gap_high_nm: int
    range_nm: int
    stand_low_nm: int | None
    stand_high_nm: int | None
    stand_above_ball_nm: int
    search_end_nm: int | None
    depth_low_nm: int | None
    depth_high_nm: int | None
    edge_distance_nm: int

    def as_dict(self) -> ApproachOnSheet:
        """Return plain data for the setup sheet."""
        return cast("ApproachOnSheet", asdict(self))


def plan_approach(
    stylus: Stylus,
    motion: ProbingMotion,
    measures: FaceMeasures,
    travel: AxisTravel,
    display: Display,
    known: KnownPlace | None = None,
) -> Approach:
    """Return the plan of one touch. Raises an `ApproachError` that names the measure at fault."""
    known = known or KnownPlace()
    face = measures.face
    largest = _largest_first_feed(stylus, motion, face, display)
    first = min(_typed_feed("first_feed", motion.first_feed_mm_per_min, display), largest)
    fine = _typed_feed("fine_feed", motion.fine_feed_mm_per_min, display)
    if fine > first:
        fine_text, first_text = (format_feed(feed, display) for feed in (fine, first))
        raise FineFeedNotSlowerError(
            fine_feed=fine_text.split()[0], first_feed=first_text.split()[0], unit=feed_unit(display)
        )
    gap_low, gap_high, margin = _gap_window(motion, first, known, display)
    range_nm = search_range_nm(motion.search_cap_nm, margin, known.gap_nm, display)
    stand = _stand(stylus, face, travel, display, known.centre_nm, gap_low, gap_high)
    end = _search_end(stylus, face, travel, display, known, gap_low, range_nm)
    depth = _depth_window(stylus, measures, display)
    direction = search_direction(face)
    stop = stopping_distance_nm(first, motion.deceleration_mm_per_s2, motion.latency_s)
    return Approach(
        axis=face.axis,
        normal=face.normal,
        direction_label=direction.label,
        direction_code=direction.words_code,
        first_feed_mm_per_min=first,
        first_feed_text=format_feed(first, display),
        first_feed_lowered=largest < motion.first_feed_mm_per_min,
        largest_first_feed_mm_per_min=largest,
        largest_first_feed_text=format_feed(largest, display),
        fine_feed_mm_per_min=fine,
        fine_feed_text=format_feed(fine, display),
        stopping_distance_nm=stop,
        margin_nm=margin,
        gap_low_nm=gap_low,
        gap_high_nm=gap_high,
        range_nm=range_nm,
        stand_low_nm=stand[0] if stand else None,
        stand_high_nm=stand[1] if stand else None,
        stand_above_ball_nm=stylus.length_along_nm(face),
        search_end_nm=end,
        depth_low_nm=depth[0] if depth else None,
        depth_high_nm=depth[1] if depth else None,
        edge_distance_nm=_edge_distance(stylus, measures, display),
    )


def _up(value_nm: int, step_nm: int) -> int:
    return -(-value_nm // step_nm) * step_nm


def _down(value_nm: int, step_nm: int) -> int:
    return value_nm // step_nm * step_nm


def _plain(value_nm: int, display: Display) -> str:
    return format_length(value_nm, display, sign=False)


def _typed_feed(name: str, feed_mm_per_min: float, display: Display) -> float:
    """Return the feed as it is typed at the control, rounded down; refuse one that is nothing there."""
    typed = round_feed_down(feed_mm_per_min, display)
    if typed <= 0:
        raise MeasureNotPositiveError(
            measure_code=f"measure.{name}", value=format_feed(feed_mm_per_min, display)
        )
    return typed


def _largest_first_feed(stylus: Stylus, motion: ProbingMotion, face: Face, display: Display) -> float:
    overtravel = stylus.overtravel_nm(face)
    allowed = overtravel / motion.safety_factor
    largest = largest_feed_mm_per_min(allowed, motion.deceleration_mm_per_s2, motion.latency_s, display)
    if largest <= 0:
        raise NoFeedStopsInTimeError(
            overtravel=_plain(overtravel, display),
            unit=display.unit.value,
            smallest_feed=format_feed(FEED_STEP[display.unit] / 100, display),
        )
    return largest


def _gap_window(
    motion: ProbingMotion, first: float, known: KnownPlace, display: Display
) -> tuple[int, int, int]:
    """Return lowest gap, highest gap and the margin behind it, in nm."""
    speed = first / SECONDS_PER_MINUTE
    speed_up = math.ceil(speed**2 / (2 * motion.deceleration_mm_per_s2) * NM_PER_MM) + SPEED_UP_CLEARANCE_NM
    step = display.resolution_nm
    low = _up(max(LEAST_CLEARANCE_NM, speed_up), step)
    margin = _up(max(LEAST_CLEARANCE_NM, known.stop_nm or 0), step)
    high = _down(motion.search_cap_nm - margin, step)
    if high <= low:
        raise _cap_too_small(motion, first, low, margin, known, display)
    if known.gap_nm is not None and not low <= known.gap_nm <= high:
        gap, least, most = (_plain(value, display) for value in (known.gap_nm, low, high))
        raise GapOutsideWindowError(gap=gap, low=least, high=most, unit=display.unit.value)
    return low, high, margin


def _cap_too_small(
    motion: ProbingMotion, first: float, low: int, margin: int, known: KnownPlace, display: Display
) -> ApproachError:
    """Return the error for the measure that takes most of the cap beyond its least clearance."""
    cap, gap_low, margin_text = (_plain(value, display) for value in (motion.search_cap_nm, low, margin))
    unit = display.unit.value
    by_spread, by_feed = ((known.stop_nm or 0) - LEAST_CLEARANCE_NM, low - LEAST_CLEARANCE_NM)
    if by_spread > 0 and by_spread >= by_feed:
        stop = _plain(known.stop_nm or 0, display)
        return CapTooSmallForSpreadError(cap=cap, stop=stop, gap_low=gap_low, unit=unit)
    if by_feed >= display.resolution_nm:
        feed = format_feed(first, display)
        return CapTooSmallForFeedError(cap=cap, gap_low=gap_low, margin=margin_text, feed=feed, unit=unit)
    return CapTooSmallError(cap=cap, gap_low=gap_low, margin=margin_text, unit=unit)


def search_range_nm(cap_nm: int, margin_nm: int, gap_nm: int | None, display: Display) -> int:
    """Return the search range: gap and margin rounded up to 0.5 mm or 0.02 in, never above the cap; the cap without."""
    if gap_nm is None:
        return cap_nm
    return min(cap_nm, _up(gap_nm + margin_nm, RANGE_STEP_NM[display.unit]))


def _check_travel(face: Face, travel: AxisTravel, display: Display) -> None:
    if travel.low_nm >= travel.high_nm:
        low, high = format_length(travel.low_nm, display), format_length(travel.high_nm, display)
        raise TravelReversedError(axis=face.axis.value, low=low, high=high, unit=display.unit.value)


def _stand(
    stylus: Stylus,
    face: Face,
    travel: AxisTravel,
    display: Display,
    centre_nm: int | None,
    gap_low: int,
    gap_high: int,
) -> tuple[int, int] | None:
    """Return the lowest and the highest reading of the axis at which the ball may stand, rounded inward."""
    _check_travel(face, travel, display)
    if centre_nm is None:
        return None
    zero = centre_nm + stylus.length_along_nm(face)
    ends = sorted(zero + face.normal * (stylus.ball_radius_nm + gap) for gap in (gap_low, gap_high))
    low, high = _up(ends[0], display.resolution_nm), _down(ends[1], display.resolution_nm)
    axis, unit = face.axis.value, display.unit.value
    if low < travel.low_nm or high > travel.high_nm:
        texts = [format_length(value, display) for value in (low, high, travel.low_nm, travel.high_nm)]
        raise StandOutsideTravelError(
            axis=axis, stand_low=texts[0], stand_high=texts[1], low=texts[2], high=texts[3], unit=unit
        )
    return low, high


def _search_end(
    stylus: Stylus,
    face: Face,
    travel: AxisTravel,
    display: Display,
    known: KnownPlace,
    gap_low: int,
    range_nm: int,
) -> int | None:
    """Return the reading at which a search that meets nothing can end at the farthest."""
    if known.centre_nm is None:
        return None
    gap = gap_low if known.gap_nm is None else known.gap_nm
    start = known.centre_nm + stylus.length_along_nm(face) + face.normal * (stylus.ball_radius_nm + gap)
    end = start - face.normal * range_nm
    end = _down(end, display.resolution_nm) if face.normal > 0 else _up(end, display.resolution_nm)
    if not travel.low_nm <= end <= travel.high_nm:
        texts = [format_length(value, display) for value in (end, travel.low_nm, travel.high_nm)]
        raise SearchLeavesTravelError(
            axis=face.axis.value,
            end=texts[0],
            low=texts[1],
            high=texts[2],
            range=_plain(range_nm, display),
            unit=display.unit.value,
        )
    return end


def _depth_window(stylus: Stylus, measures: FaceMeasures, display: Display) -> tuple[int, int] | None:
    """Return how far below the top edge the ball's centre may be, or None on a top face."""
    if measures.face.axis is Axis.Z:
        return None
    step, unit = display.resolution_nm, display.unit.value
    low = _up(measures.edge_break_nm + stylus.ball_radius_nm, step)
    by_reach = _down(stylus.reach_nm - LEAST_CLEARANCE_NM, step)
    if by_reach <= low:
        texts = [_plain(value, display) for value in (low, by_reach, stylus.reach_nm)]
        raise StylusTooShortError(shallowest=texts[0], deepest=texts[1], reach=texts[2], unit=unit)
    if measures.height_nm is None:
        return low, by_reach
    by_height = _down(measures.height_nm - stylus.ball_radius_nm - LEAST_CLEARANCE_NM, step)
    if by_height <= low:
        texts = [_plain(value, display) for value in (low, by_height, measures.height_nm)]
        raise FaceTooLowError(shallowest=texts[0], deepest=texts[1], height=texts[2], unit=unit)
    return low, min(by_reach, by_height)


def _edge_distance(stylus: Stylus, measures: FaceMeasures, display: Display) -> int:
    """Return how far the ball's centre keeps from the face's other edges."""
    clearance = max(LEAST_CLEARANCE_NM, measures.edge_break_nm)
    distance = _up(stylus.ball_radius_nm + clearance, display.resolution_nm)
    if measures.width_nm is not None and measures.width_nm < 2 * distance:
        width, least = _plain(measures.width_nm, display), _plain(2 * distance, display)
        raise FaceTooNarrowError(width=width, least=least, unit=display.unit.value)
    return distance


def check_trigger(surface_nm: int, trigger_nm: int, face: Face, stylus: Stylus, display: Display) -> int:
    """Return surface less the one that the trigger position gives, in nm. Raises `TriggerDisagreesError`.

    Both as read at the machine. Allowed: one step of the display and the ball's calibration uncertainty
    together.
    """
    ball_nm = trigger_nm - stylus.length_along_nm(face)
    from_trigger_nm = surface_from_trigger(ball_nm, face, stylus.effective_radius_nm)
    difference_nm = surface_nm - from_trigger_nm
    allowed_nm = display.resolution_nm + stylus.radius_uncertainty_nm
    if abs(difference_nm) > allowed_nm:
        raise TriggerDisagreesError(
            axis=face.axis.value,
            surface=format_length(surface_nm, display),
            trigger=format_length(trigger_nm, display),
            from_trigger=format_length(from_trigger_nm, display),
            difference=_plain(abs(difference_nm), display),
            allowed=_plain(allowed_nm, display),
            unit=display.unit.value,
        )
    return difference_nm
