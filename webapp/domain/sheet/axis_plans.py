"""What a sheet says of each touch, and of the look for square: planned from the measures of machine, fixture
and probe, and drawn.

Rules of this module:
- Numbers are worked out here and on nothing else than what is given;
  a touch that cannot be planned goes onto the sheet as the error that names the measure at fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from webapp.domain.drawing.drawing import Vise, draw_touch
from webapp.domain.drawing.square import draw_square
from webapp.domain.evidence.written_sheet import ApproachOnSheet, CausesOnSheet, Drawing, SquareOnSheet
from webapp.domain.plain.approach_errors import ApproachError, ValuesTooFarApartError
from webapp.domain.plain.axes import search_direction
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.measures import (
    AxisTravel,
    FaceMeasures,
    JawSide,
    KnownPlace,
    ProbingMotion,
    Stylus,
    ZReading,
)
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, ShopRules
from webapp.domain.touch.approach import plan_approach
from webapp.domain.touch.by_hand import surface_from_trigger_nm
from webapp.domain.touch.square import square_plan
from webapp.domain.usual.usual import Usual


@dataclass(frozen=True)
class AxisPlan:
    """One touch on the sheet: the face, the plan or why there is none,
    the usual, likely causes, the drawing.
    """

    face: FixtureFace
    approach: ApproachOnSheet | None
    approach_error: Finding | None
    usual: Usual
    causes: CausesOnSheet
    drawing: Drawing
    by_hand_nm: int | None = None


def plan_axes(
    fitted: FittedMachine,
    usuals: Mapping[str, Usual],
    causes: Mapping[str, CausesOnSheet],
    z_reading: ZReading | None = None,
) -> tuple[AxisPlan, ...]:
    """Return the plan of every touch in the fixture's order.

    `usuals` and `causes` (see `sheet_causes`) have one entry for each of its axes. `z_reading` is what the
    machine page reads on Z, once it was checked at the machine; without it no plan has a Z coordinate.
    """
    return tuple(
        _plan_axis(fitted, face, usuals, causes[face.axis], z_reading) for face in fitted.fixture.faces
    )


def _plan_axis(
    fitted: FittedMachine,
    face: FixtureFace,
    usuals: Mapping[str, Usual],
    causes: CausesOnSheet,
    z_reading: ZReading | None,
) -> AxisPlan:
    rules, machine, fixture, probe = fitted
    usual = usuals[face.axis]
    approach, error = None, None
    try:
        _check_together(usual, face.axis, machine.display)
        approach = plan_approach(
            _stylus(probe, z_reading),
            _motion(rules, machine),
            _measures(fixture, face),
            AxisTravel(*machine.travel_nm[face.axis]),
            machine.display,
            _known(usual),
            _sides(machine, fixture, face, usuals),
            fixture.highest_above_jaw_nm,
        ).as_dict()
    except ApproachError as refused:
        error = refused.finding()
    by_hand_nm = None
    if machine.slot_written == "by_hand":
        by_hand_nm = surface_from_trigger_nm(_stylus(probe, z_reading), face.direction, machine.display)
        if by_hand_nm is None:
            approach, error = None, Finding("approach.by_hand_without_z_point", {})
    drawing = draw_touch(
        _vise(fixture),
        probe.ball_diameter_nm,
        approach,
        face.axis,
        face.face,
        face.normal,
        machine.display,
    )
    return AxisPlan(face, approach, error, usual, causes, drawing, by_hand_nm)


def _check_together(usual: Usual, axis: str, display: Display) -> None:
    """Refuse a touch whose usual stands on values that lie farther apart than the ceiling:
    one place fits them not.
    """
    if usual.standing_nm is None or usual.ceiling_nm is None:
        return
    low_nm, high_nm = usual.standing_nm
    if high_nm - low_nm <= usual.ceiling_nm:
        return
    plain = [format_length(value, display, sign=False) for value in (high_nm - low_nm, usual.ceiling_nm)]
    raise ValuesTooFarApartError(
        axis=axis,
        low=format_length(low_nm, display),
        high=format_length(high_nm, display),
        apart=plain[0],
        ceiling=plain[1],
        unit=display.unit.value,
    )


def _known(usual: Usual) -> KnownPlace:
    return KnownPlace(centre_nm=usual.centre_nm, stop_nm=usual.stop_nm)


def _sides(
    machine: Machine, fixture: Fixture, face: FixtureFace, usuals: Mapping[str, Usual]
) -> tuple[JawSide, ...]:
    """Return what the fixture's other touches say of the jaw;
    those earlier in its order are touched by then.
    """
    order = fixture.touched_axes
    return tuple(
        JawSide(
            other.direction,
            fixture.extent_nm(other),
            AxisTravel(*machine.travel_nm[other.axis]),
            _known(usuals[other.axis]),
            is_touched_before=order.index(other.axis) < order.index(face.axis),
        )
        for other in fixture.faces
        if other.axis != face.axis
    )


def _stylus(probe: Probe, z_reading: ZReading | None) -> Stylus:
    return Stylus(
        ball_radius_nm=-(-probe.ball_diameter_nm // 2),
        effective_radius_nm=probe.effective_radius_nm,
        reach_nm=probe.stylus_reach_nm,
        overtravel_side_nm=probe.overtravel_side_nm,
        overtravel_up_nm=probe.overtravel_up_nm,
        radius_uncertainty_nm=probe.radius_uncertainty_nm,
        z_reading=z_reading,
    )


def _motion(rules: ShopRules, machine: Machine) -> ProbingMotion:
    return ProbingMotion(
        first_feed_mm_per_min=machine.first_feed_mm_per_min,
        fine_feed_mm_per_min=machine.fine_feed_mm_per_min,
        deceleration_mm_per_s2=machine.deceleration_mm_per_s2,
        latency_s=machine.latency_s,
        search_cap_nm=rules.search_cap_nm,
        safety_factor=rules.safety_factor,
        fixed_distance_nm=machine.fixed_search_nm,
    )


def _measures(fixture: Fixture, face: FixtureFace) -> FaceMeasures:
    """Return the face's own measures:
    an end is as wide as the jaw is thick; a top is narrowest across the jaw.
    """
    wide = face.face in {"front", "back"}
    return FaceMeasures(
        face=face.direction,
        edge_break_nm=fixture.edge_break_nm,
        height_nm=None if face.face == "top" else fixture.jaw_height_nm,
        width_nm=fixture.jaw_length_nm if wide else min(fixture.jaw_thickness_nm, fixture.jaw_length_nm),
        depth_nm=face.depth_nm,
        room_nm=fixture.opening_nm if face.face == "front" else None,
    )


def plan_square(machine: Machine, fixture: Fixture, probe: Probe) -> SquareOnSheet | None:
    """Return the plan of the look for square with its drawing, None where the fixture does not ask for it."""
    plan = square_plan(machine, fixture, probe)
    if plan is None:
        return None
    face = next(face for face in fixture.faces if face.axis == plan["axis"])
    apart = f"{format_length(plan['apart_nm'], machine.display, sign=False)} {machine.unit}"
    search = search_direction(face.direction).label
    drawing = draw_square(_vise(fixture), probe.ball_diameter_nm, plan, search, apart)
    return {**plan, "drawing": drawing}


def _vise(fixture: Fixture) -> Vise:
    return Vise(
        jaw_length_nm=fixture.jaw_length_nm,
        jaw_thickness_nm=fixture.jaw_thickness_nm,
        jaw_height_nm=fixture.jaw_height_nm,
        opening_nm=fixture.opening_nm,
        clamping_axis=fixture.clamping_axis,
        clamping_direction=fixture.clamping_direction,
    )
