"""Where the ball stands on all three axes:
bands of machine coordinates, the depth beside a jaw, the height to move at.

Rules of this module:
- A band is two readings of one axis, both inside it, on the display's grid and rounded inward. It comes from
  the usual of that axis; beside it stands how far it lies from the surface that the axis' own touch shows, so
  that a value of the same setup can take the usual's place.
- Along the search: from s + n(r + low gap) to s + n(r + high gap), s the usual surface, n the face's normal.
  Both ends are drawn in a little, by an amount that nobody can take off: else the value could be worked out
  from the place.
- Across the search: over or beside the jaw's middle, at most 10 mm to either side,
  and clear of the jaw's other edges even where the jaw lies at the end of that axis' stop line.
- Depth of the ball's centre below the jaw's top: from edge break + r to the lesser of reach - 1 mm and height
  - r - 1; where the top is not touched before, its stop line counts at both ends. Preferred: the lead's depth
  for this face, else edge break + r + 3 mm, give or take 1 mm, in whole marks.
- Z is read as the machine counts it (`ZReading`). Where nobody has said how, there is no band on Z.
- Clear height: the highest of jaw top, parallels and stops,
  + its stop line + r + 25 mm, inside the travel; else Z to its top (None).
The clearances are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from hashlib import sha256

from webapp.domain.plain.approach_errors import (
    DepthOutsideError,
    DepthTooUncertainError,
    FaceTooLowError,
    FaceTooNarrowError,
    StandOutsideTravelError,
    StylusTooShortError,
)
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import NM_PER_MM, Display, format_length
from webapp.domain.shop.measures import AxisTravel, FaceMeasures, JawSide, KnownPlace, Stylus
from webapp.domain.touch.window import MARK_NM, Window, down, up

LEAST_CLEARANCE_NM = NM_PER_MM
BELOW_EDGE_NM = 3 * NM_PER_MM
EITHER_WAY_NM = NM_PER_MM
ACROSS_EITHER_WAY_NM = 10 * NM_PER_MM
MOVING_CLEARANCE_NM = 25 * NM_PER_MM
# Each end of a band along the search is drawn in by up to one part in so many of the band.
DRAWN_IN_PARTS = 8


@dataclass(frozen=True)
class Band:
    """Where one axis may stand: readings from the usual (None without one),
    and from the axis' own touched surface.
    """

    low_nm: int | None
    high_nm: int | None
    from_surface_low_nm: int
    from_surface_high_nm: int


def search_band(
    stylus: Stylus, face: Face, window: Window, travel: AxisTravel, known: KnownPlace, display: Display
) -> Band | None:
    """Return where the ball may stand along its search. Raises `StandOutsideTravelError`."""
    above = stylus.read_above_ball_nm(face.axis)
    if above is None:
        return None
    step = display.resolution_nm
    gaps = (window.gap_low_nm, window.gap_high_nm)
    ends = sorted(above + face.normal * (stylus.ball_radius_nm + gap) for gap in gaps)
    if known.centre_nm is None:
        return Band(None, None, up(ends[0], step), down(ends[1], step))
    first, last = _drawn_in(f"{face.axis.value}{face.normal}{known.centre_nm}", ends[1] - ends[0])
    low, high = up(ends[0] + first, step), down(ends[1] - last, step)
    if low > high:
        # A display so coarse has one place at most in the window.
        low, high = up(ends[0], step), down(ends[1], step)
    if low > high:
        return None
    band = _from_usual(low, high, known.centre_nm, display)
    _check_inside(band, face.axis, stylus.limited_beyond_reading_nm(face.axis), travel, display)
    return band


def _drawn_in(seed: str, width_nm: int) -> tuple[int, int]:
    """Return by how much the two ends of a band are drawn in:
    the same for the same usual, not to be guessed.
    """
    digest = sha256(seed.encode("utf-8")).digest()
    most = width_nm // DRAWN_IN_PARTS + 1
    return int.from_bytes(digest[:8], "big") % most, int.from_bytes(digest[8:16], "big") % most


def across_band(side: JawSide, edge_nm: int, display: Display) -> Band:
    """Return where the ball may stand on an axis that is not searched, along the jaw.
    Raises a `FaceTooNarrowError` where the jaw is too small for it, `StandOutsideTravelError`.
    """
    keep_nm = edge_nm + (side.known.stop_nm or 0)
    middle = side.extent_nm // 2
    half = min(middle - keep_nm, ACROSS_EITHER_WAY_NM)
    step = display.resolution_nm
    if half < step:
        width, least = (_plain(value, display) for value in (side.extent_nm, 2 * (keep_nm + step)))
        raise FaceTooNarrowError(width=width, least=least, unit=display.unit.value)
    ends = sorted(-side.face.normal * at for at in (middle - half, middle + half))
    band = _from_usual(up(ends[0], step), down(ends[1], step), side.known.centre_nm, display)
    return _within_travel(band, side.face.axis, 0, side.travel, display)


@dataclass(frozen=True)
class Depth:
    """How deep below the jaw's top the ball's centre stands,
    in nm, whole marks, and the middle that is meant.
    """

    low_nm: int
    high_nm: int
    preferred_nm: int


def depth_below_top(
    stylus: Stylus, measures: FaceMeasures, top: JawSide | None, display: Display
) -> Depth | None:
    """Return the depth beside a side face, None on a top.
    Raises an `ApproachError` that names the measure at fault.
    """
    if measures.face.axis is Axis.Z:
        return None
    unsure_nm = 0 if top is None or top.is_touched_before else top.known.stop_nm or 0
    lowest, deepest = _depth_limits(stylus, measures)
    mark = MARK_NM[display.unit]
    low, high = up(lowest + unsure_nm, mark), down(deepest - unsure_nm, mark)
    if high <= low:
        _refuse_depth(stylus, measures, unsure_nm, (lowest, deepest), display)
    wanted = measures.depth_nm
    if wanted is not None and not low <= wanted <= high:
        texts = [_plain(value, display) for value in (wanted, low, high)]
        raise DepthOutsideError(
            depth=texts[0], shallowest=texts[1], deepest=texts[2], unit=display.unit.value
        )
    preferred = lowest + BELOW_EDGE_NM if wanted is None else wanted
    preferred = min(max(preferred, low), high)
    return Depth(
        max(low, up(preferred - EITHER_WAY_NM, mark)),
        min(high, down(preferred + EITHER_WAY_NM, mark)),
        preferred,
    )


def _depth_limits(stylus: Stylus, measures: FaceMeasures) -> tuple[int, int]:
    lowest = measures.edge_break_nm + stylus.ball_radius_nm
    by_reach = stylus.reach_nm - LEAST_CLEARANCE_NM
    if measures.height_nm is None:
        return lowest, by_reach
    return lowest, min(by_reach, measures.height_nm - stylus.ball_radius_nm - LEAST_CLEARANCE_NM)


def _refuse_depth(
    stylus: Stylus, measures: FaceMeasures, unsure_nm: int, limits: tuple[int, int], display: Display
) -> None:
    unit, mark = display.unit.value, MARK_NM[display.unit]
    shallowest, deepest = _plain(up(limits[0], mark), display), _plain(down(limits[1], mark), display)
    if down(limits[1], mark) > up(limits[0], mark):
        stop = _plain(unsure_nm, display)
        raise DepthTooUncertainError(shallowest=shallowest, deepest=deepest, stop=stop, unit=unit)
    by_reach = stylus.reach_nm - LEAST_CLEARANCE_NM
    if measures.height_nm is None or by_reach <= limits[1]:
        reach = _plain(stylus.reach_nm, display)
        raise StylusTooShortError(shallowest=shallowest, deepest=deepest, reach=reach, unit=unit)
    height = _plain(measures.height_nm, display)
    raise FaceTooLowError(shallowest=shallowest, deepest=deepest, height=height, unit=unit)


def depth_band(stylus: Stylus, depth: Depth, top: JawSide | None, display: Display) -> Band | None:
    """Return where Z may stand beside a face, None where the fixture's top is not touched or Z cannot be
    told.
    """
    above = stylus.read_above_ball_nm(Axis.Z)
    if top is None or above is None:
        return None
    step = display.resolution_nm
    low, high = up(above - depth.high_nm, step), down(above - depth.low_nm, step)
    band = _from_usual(low, high, top.known.centre_nm, display)
    return _within_travel(band, Axis.Z, stylus.limited_beyond_reading_nm(Axis.Z), top.travel, display)


@dataclass(frozen=True)
class ClearHeight:
    """The reading of Z at which the ball moves over everything, None:
    Z to its top; and how far above the jaw's top.
    """

    z_nm: int | None
    above_surface_nm: int | None


def clear_height(stylus: Stylus, top: JawSide | None, highest_nm: int, display: Display) -> ClearHeight:
    """Return the height for moving over. `highest_nm`: how far the highest thing stands above the top."""
    above = stylus.read_above_ball_nm(Axis.Z)
    if top is None or above is None:
        return ClearHeight(None, None)
    unsure_nm = top.known.stop_nm or 0
    over_top = unsure_nm + max(0, highest_nm) + stylus.ball_radius_nm + MOVING_CLEARANCE_NM + above
    over_top = up(over_top, display.resolution_nm)
    limited = stylus.limited_beyond_reading_nm(Axis.Z)
    if top.known.centre_nm is None:
        return ClearHeight(None, over_top)
    z_nm = up(top.known.centre_nm + over_top, display.resolution_nm)
    fits = limited is not None and z_nm + limited <= top.travel.high_nm
    return ClearHeight(z_nm if fits else None, over_top)


def _from_usual(low_nm: int, high_nm: int, centre_nm: int | None, display: Display) -> Band:
    if centre_nm is None:
        return Band(None, None, low_nm, high_nm)
    step = display.resolution_nm
    return Band(up(centre_nm + low_nm, step), down(centre_nm + high_nm, step), low_nm, high_nm)


def _within_travel(
    band: Band, axis: Axis, limited_nm: int | None, travel: AxisTravel, display: Display
) -> Band:
    """Return the part of a band that the axis can go to; refuse one of which nothing is left."""
    if band.low_nm is None or band.high_nm is None or limited_nm is None:
        return band
    step = display.resolution_nm
    low = max(band.low_nm, up(travel.low_nm - limited_nm, step))
    high = min(band.high_nm, down(travel.high_nm - limited_nm, step))
    if low > high:
        _check_inside(band, axis, limited_nm, travel, display)
    return replace(band, low_nm=low, high_nm=high)


def _check_inside(
    band: Band, axis: Axis, limited_nm: int | None, travel: AxisTravel, display: Display
) -> None:
    """Refuse a band that the axis cannot go to.
    `limited_nm`: how far what is limited lies beyond the reading.
    """
    if band.low_nm is None or band.high_nm is None or limited_nm is None:
        return
    low, high = travel.low_nm - limited_nm, travel.high_nm - limited_nm
    if band.low_nm >= low and band.high_nm <= high:
        return
    texts = [format_length(value, display) for value in (band.low_nm, band.high_nm, low, high)]
    raise StandOutsideTravelError(
        axis=axis.value,
        stand_low=texts[0],
        stand_high=texts[1],
        low=texts[2],
        high=texts[3],
        unit=display.unit.value,
    )


def _plain(value_nm: int, display: Display) -> str:
    return format_length(value_nm, display, sign=False)
