"""One touch, planned: where the ball stands, how far and how fast it searches, how deep it goes.

Rules of this module (d = -n is the search direction, r the ball's radius, s the usual surface):
- First touch at v1 only if its stopping distance is within O/S, overtravel over safety factor; else at the
  largest feed that is (see `feeds`). The second touch is not faster.
- Gap, range and what a probe that never answers does: see `window`.
  Places on all three axes, the depth beside a jaw and the height to move at: see `place`.
- The end of the search lies inside the travel. Without a usual only the gap is known;
  without knowing what the machine page reads on Z, nothing of Z but the gap and the depth.
- From a face's other edges the ball keeps r + max(1 mm, edge break) at least.
- Surface from a trigger position t: t + d * effective radius; a typed pair must agree within one step of the
  display and the ball's calibration uncertainty.
- Everything is rounded inward: windows shrink, distances to stop grow.
  What leaves no room is an error that names the measure at fault, never a number.
Sources: constant deceleration as in `feeds`. The clearances and the usual cap of 6.35 mm (0.25 in) are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import cast

from webapp.domain.evidence.written_sheet import ApproachOnSheet
from webapp.domain.plain.approach_errors import (
    FaceTooNarrowError,
    FineFeedNotSlowerError,
    MeasureNotPositiveError,
    NoFeedStopsInTimeError,
    SearchLeavesTravelError,
    TravelReversedError,
)
from webapp.domain.plain.axes import Axis, Face, search_direction
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.shop.measures import (
    AxisTravel,
    FaceMeasures,
    JawSide,
    KnownPlace,
    ProbingMotion,
    Stylus,
)
from webapp.domain.touch.feeds import (
    FEED_STEP,
    feed_unit,
    format_feed,
    largest_feed_mm_per_min,
    round_feed_down,
    stopping_distance_nm,
)
from webapp.domain.touch.place import (
    LEAST_CLEARANCE_NM,
    Band,
    across_band,
    clear_height,
    depth_band,
    depth_below_top,
    search_band,
)
from webapp.domain.touch.window import MARK_NM, DeadProbe, Search, Window, down, gap_window, up

__all__ = [
    "Approach",
    "AxisTravel",
    "FaceMeasures",
    "JawSide",
    "KnownPlace",
    "ProbingMotion",
    "Stylus",
    "plan_approach",
]


@dataclass(frozen=True)
class Approach:
    """The plan of one touch: whole nanometres on the display's grid, feeds in mm/min and as typed.

    Gap and depth are whole marks (0.5 mm, 0.02 in). `place` has a band for each axis by name, None where
    nothing is known of it; the searched axis' band stands in `stand_low_nm` and `stand_high_nm` as well.
    `search_end_nm` is the farthest reading that the search can end at. `stand_above_ball_nm` says which point
    the searched axis' numbers are of: how far it lies above the ball's centre; None on Z where nobody has
    said it. `dead_probe` and `overrun_nm` say what a probe that never answers does, `clear_z_nm` the height
    to move at (None: Z to its top), `notes` what to say beside it.
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
    gap_low_nm: int
    gap_high_nm: int
    range_nm: int
    range_is_fixed: bool
    overrun_nm: int
    overtravel_nm: int
    dead_probe: DeadProbe
    stand_low_nm: int | None
    stand_high_nm: int | None
    stand_above_ball_nm: int | None
    search_end_nm: int | None
    depth_low_nm: int | None
    depth_high_nm: int | None
    depth_nm: int | None
    edge_distance_nm: int
    place: Mapping[str, Band | None]
    clear_z_nm: int | None
    clear_above_surface_nm: int | None
    notes: tuple[Finding, ...]

    def as_dict(self) -> ApproachOnSheet:
        """Return plain data for the setup sheet."""
        plain = asdict(self)
        return cast("ApproachOnSheet", {**plain, "notes": list(plain["notes"])})


def plan_approach(
    stylus: Stylus,
    motion: ProbingMotion,
    measures: FaceMeasures,
    travel: AxisTravel,
    display: Display,
    known: KnownPlace | None = None,
    sides: Sequence[JawSide] = (),
    highest_nm: int = 0,
) -> Approach:
    """Return the plan of one touch. Raises an `ApproachError` that names the measure at fault.

    `sides` are the jaw's sides that the fixture's other touches find;
    `highest_nm` is how far the highest thing stands above the jaw's top.
    """
    known = known or KnownPlace()
    face = measures.face
    _check_travel(face, travel, display)
    largest = _largest_first_feed(stylus, motion, face, display)
    first = min(_typed_feed("first_feed", motion.first_feed_mm_per_min, display), largest)
    fine = _typed_feed("fine_feed", motion.fine_feed_mm_per_min, display)
    if fine > first:
        fine_text, first_text = (format_feed(feed, display) for feed in (fine, first))
        raise FineFeedNotSlowerError(
            fine_feed=fine_text.split()[0], first_feed=first_text.split()[0], unit=feed_unit(display)
        )
    window = gap_window(_search(stylus, motion, measures, first, known), display)
    edge = _edge_distance(stylus, measures, display)
    top = _top(measures, travel, known, sides)
    depth = depth_below_top(stylus, measures, top, display)
    stand = search_band(stylus, face, window, travel, known, display)
    place: dict[str, Band | None] = {axis.value: None for axis in Axis}
    place[face.axis.value] = stand
    for side in sides:
        if side.face.axis is not Axis.Z:
            place[side.face.axis.value] = across_band(side, edge, display)
    if depth is not None:
        place[Axis.Z.value] = depth_band(stylus, depth, top, display)
    clear = clear_height(stylus, top, highest_nm, display)
    direction = search_direction(face)
    overtravel = stylus.overtravel_nm(face)
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
        stopping_distance_nm=stopping_distance_nm(first, motion.deceleration_mm_per_s2, motion.latency_s),
        gap_low_nm=window.gap_low_nm,
        gap_high_nm=window.gap_high_nm,
        range_nm=window.range_nm,
        range_is_fixed=motion.fixed_distance_nm is not None,
        overrun_nm=window.overrun_nm,
        overtravel_nm=overtravel,
        dead_probe=window.dead_probe,
        stand_low_nm=stand.low_nm if stand else None,
        stand_high_nm=stand.high_nm if stand else None,
        stand_above_ball_nm=stylus.read_above_ball_nm(face.axis),
        search_end_nm=_search_end(stylus, face, travel, display, known, window),
        depth_low_nm=depth.low_nm if depth else None,
        depth_high_nm=depth.high_nm if depth else None,
        depth_nm=depth.preferred_nm if depth else None,
        edge_distance_nm=edge,
        place=place,
        clear_z_nm=clear.z_nm,
        clear_above_surface_nm=clear.above_surface_nm,
        notes=_notes(stylus, known, window, overtravel, display),
    )


def _search(
    stylus: Stylus,
    motion: ProbingMotion,
    measures: FaceMeasures,
    first_feed_mm_per_min: float,
    known: KnownPlace,
) -> Search:
    return Search(
        cap_nm=motion.search_cap_nm,
        fixed_nm=motion.fixed_distance_nm,
        first_feed_mm_per_min=first_feed_mm_per_min,
        deceleration_mm_per_s2=motion.deceleration_mm_per_s2,
        overtravel_nm=stylus.overtravel_nm(measures.face),
        safety_factor=motion.safety_factor,
        ball_radius_nm=stylus.ball_radius_nm,
        effective_radius_nm=stylus.effective_radius_nm,
        stop_nm=None if known.centre_nm is None else known.stop_nm,
        room_nm=measures.room_nm,
    )


def _top(
    measures: FaceMeasures, travel: AxisTravel, known: KnownPlace, sides: Sequence[JawSide]
) -> JawSide | None:
    """Return the jaw's top: this face where it is one, else the side that the fixture touches on Z."""
    if measures.face.axis is Axis.Z:
        return JawSide(measures.face, 1, travel, known)
    return next((side for side in sides if side.face.axis is Axis.Z), None)


def _notes(
    stylus: Stylus, known: KnownPlace, window: Window, overtravel_nm: int, display: Display
) -> tuple[Finding, ...]:
    """Return what is to be said beside the numbers, the gravest first."""
    found = []
    if window.dead_probe is DeadProbe.BREAKS:
        texts = [_plain(value, display) for value in (window.overrun_nm, overtravel_nm)]
        fields = {"overrun": texts[0], "overtravel": texts[1], "unit": display.unit.value}
        found.append(Finding("approach.note_dead_probe", {**fields}))
    if stylus.z_reading is None:
        found.append(Finding("approach.note_z_not_told"))
    if known.centre_nm is None:
        found.append(Finding("approach.note_gap_alone"))
    return tuple(found)


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


def _check_travel(face: Face, travel: AxisTravel, display: Display) -> None:
    if travel.low_nm >= travel.high_nm:
        low, high = format_length(travel.low_nm, display), format_length(travel.high_nm, display)
        raise TravelReversedError(axis=face.axis.value, low=low, high=high, unit=display.unit.value)


def _search_end(
    stylus: Stylus,
    face: Face,
    travel: AxisTravel,
    display: Display,
    known: KnownPlace,
    window: Window,
) -> int | None:
    """Return the reading at which a search that meets nothing can end at the farthest."""
    above = stylus.read_above_ball_nm(face.axis)
    if known.centre_nm is None or above is None:
        return None
    start = known.centre_nm + above + face.normal * (stylus.ball_radius_nm + window.gap_low_nm)
    end = start - face.normal * window.range_nm
    step = display.resolution_nm
    end = down(end, step) if face.normal > 0 else up(end, step)
    limited = stylus.limited_beyond_reading_nm(face.axis)
    if limited is not None and not travel.low_nm <= end + limited <= travel.high_nm:
        texts = [
            format_length(value, display)
            for value in (end, travel.low_nm - limited, travel.high_nm - limited)
        ]
        raise SearchLeavesTravelError(
            axis=face.axis.value,
            end=texts[0],
            low=texts[1],
            high=texts[2],
            range=_plain(window.range_nm, display),
            unit=display.unit.value,
        )
    return end


def _edge_distance(stylus: Stylus, measures: FaceMeasures, display: Display) -> int:
    """Return how far the ball's centre keeps from the face's other edges."""
    clearance = max(LEAST_CLEARANCE_NM, measures.edge_break_nm)
    distance = up(stylus.ball_radius_nm + clearance, MARK_NM[display.unit])
    if measures.width_nm is not None and measures.width_nm < 2 * distance:
        width, least = _plain(measures.width_nm, display), _plain(2 * distance, display)
        raise FaceTooNarrowError(width=width, least=least, unit=display.unit.value)
    return distance
