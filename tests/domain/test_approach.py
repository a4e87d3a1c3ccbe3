"""The plan of one touch, and every reason for which there is none."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from webapp.domain.plain import approach_errors as errors
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.touch.approach import (
    Approach,
    AxisTravel,
    FaceMeasures,
    JawSide,
    KnownPlace,
    ProbingMotion,
    Stylus,
    plan_approach,
)
from webapp.domain.touch.feeds import format_feed
from webapp.domain.touch.window import DeadProbe
from webapp.words import say

MM = Display(Unit.MM, 3)
INCH = Display(Unit.INCH, 4)
STYLUS = Stylus(
    ball_radius_nm=3_000_000,
    effective_radius_nm=2_985_000,
    reach_nm=30_000_000,
    overtravel_side_nm=10_000_000,
    overtravel_up_nm=4_000_000,
    radius_uncertainty_nm=1000,
    z_reading=ZReading(ZPoint.GAUGE_LINE, 150_000_000),
)
# 600 mm/min is 10 mm/s: up to speed within 10^2/(2*500) = 0.1 mm, so that 2 mm is the lowest gap.
MOTION = ProbingMotion(600, 50, 500, 0.01)
LEFT = FaceMeasures(Face(Axis.X, -1), 500_000, 40_000_000, 60_000_000)
BACK = FaceMeasures(Face(Axis.Y, 1), 500_000)
TOP = FaceMeasures(Face(Axis.Z, 1), 500_000, None, 20_000_000)
TRAVEL = AxisTravel(-762_000_000, 0)
PLACE = KnownPlace(centre_nm=-400_000_000, stop_nm=50_000)
TOP_SIDE = JawSide(TOP.face, 40_000_000, TRAVEL, KnownPlace(-300_000_000, 200_000), is_touched_before=True)


def plan(
    stylus: Stylus = STYLUS,
    motion: ProbingMotion = MOTION,
    measures: FaceMeasures = LEFT,
    travel: AxisTravel = TRAVEL,
    display: Display = MM,
    place: KnownPlace | None = PLACE,
    sides: tuple[JawSide, ...] = (),
    highest_nm: int = 0,
) -> Approach:
    return plan_approach(stylus, motion, measures, travel, display, place, sides, highest_nm)


def within(found: Approach, low_nm: int, high_nm: int) -> bool:
    """Whether the place to stand lies in the window, and takes up most of it."""
    assert found.stand_low_nm is not None
    assert found.stand_high_nm is not None
    inside = low_nm <= found.stand_low_nm < found.stand_high_nm <= high_nm
    return inside and found.stand_high_nm - found.stand_low_nm >= 0.7 * (high_nm - low_nm)


def test_a_left_face_is_searched_to_the_right_from_its_left() -> None:
    found = plan()
    assert (found.direction_label, say(found.direction_code)) == ("X+", "to the right")
    assert (found.gap_low_nm, found.gap_high_nm) == (2_000_000, 3_500_000)
    # 3.5 mm, 0.05 mm, 0.5 mm and the 0.015 mm by which the trigger comes later:
    # up to the next half millimetre.
    assert found.range_nm == 4_500_000
    # Ball centre 3 mm + gap to the left of the face; nearest end 5 mm left, from there 4.5 mm on.
    assert within(found, -406_500_000, -405_000_000)
    assert found.search_end_nm == -405_000_000 + 4_500_000
    assert (found.depth_low_nm, found.depth_high_nm, found.depth_nm) == (5_500_000, 7_500_000, 6_500_000)
    assert found.edge_distance_nm == 4_000_000


def test_a_back_face_is_searched_towards_the_operator_from_behind() -> None:
    found = plan(measures=BACK)
    assert (found.direction_label, say(found.direction_code)) == ("Y−", "towards you")
    assert within(found, -395_000_000, -393_500_000)
    assert found.search_end_nm == -395_000_000 - 4_500_000


def test_a_top_is_searched_downwards_and_its_reading_is_of_the_gauge_line() -> None:
    found = plan(measures=TOP)
    assert (found.direction_label, say(found.direction_code)) == ("Z−", "down")
    assert within(found, -245_000_000, -244_500_000)
    assert found.stand_above_ball_nm == 150_000_000
    assert (found.depth_low_nm, found.depth_high_nm) == (None, None)


@pytest.mark.parametrize(
    ("point", "above_nm"), [(ZPoint.BALL_CENTRE, 0), (ZPoint.BALL_UNDERSIDE, -3_000_000)]
)
def test_a_control_that_knows_the_probe_length_reads_a_point_of_the_ball(
    point: ZPoint, above_nm: int
) -> None:
    found = plan(stylus=replace(STYLUS, z_reading=ZReading(point, 150_000_000)), measures=TOP)
    assert within(found, -395_000_000 + above_nm, -394_500_000 + above_nm)
    assert found.stand_above_ball_nm == above_nm


def test_until_somebody_said_what_z_reads_there_is_no_z_coordinate() -> None:
    unsaid = replace(STYLUS, z_reading=None)
    top = plan(stylus=unsaid, measures=TOP)
    assert (top.stand_low_nm, top.stand_high_nm, top.search_end_nm, top.place["Z"]) == (
        None,
        None,
        None,
        None,
    )
    assert (top.gap_low_nm, top.stand_above_ball_nm, top.clear_z_nm) == (2_000_000, None, None)
    side = plan(stylus=unsaid, sides=(TOP_SIDE,))
    assert side.place["Z"] is None
    assert side.place["X"] is not None
    assert side.depth_nm == 6_500_000
    for found in (top, side):
        assert "approach.note_z_not_told" in {one.code for one in found.notes}


@pytest.mark.parametrize(
    ("overtravel_mm", "stop_mm", "high_mm", "range_mm"),
    [
        (4.5, 0.1, 3.0, 4.0),
        (9, 0.1, 3.5, 4.5),
        (5.4, 0.1, 3.5, 4.5),
        (3.0, 0.1, 3.0, 4.0),
        (2.4, 0.1, 2.5, 3.5),
    ],
)
def test_the_highest_gap_is_the_largest_that_a_dead_probe_survives(
    overtravel_mm: float, stop_mm: float, high_mm: float, range_mm: float
) -> None:
    stylus = replace(STYLUS, overtravel_up_nm=round(overtravel_mm * 1e6))
    found = plan(stylus=stylus, measures=TOP, place=replace(PLACE, stop_nm=round(stop_mm * 1e6)))
    assert (found.gap_low_nm, found.gap_high_nm) == (2_000_000, round(high_mm * 1e6))
    assert found.range_nm == round(range_mm * 1e6)
    assert found.dead_probe != DeadProbe.BREAKS
    assert found.notes == ()


def test_where_a_dead_probe_would_break_the_range_is_shortest_and_the_plan_says_so() -> None:
    found = plan(stylus=replace(STYLUS, overtravel_up_nm=1_500_000), measures=TOP)
    assert (found.gap_high_nm, found.range_nm) == (2_500_000, 3_500_000)
    assert found.dead_probe == DeadProbe.BREAKS
    assert [one.code for one in found.notes] == ["approach.note_dead_probe"]
    said = say(found.notes[0].code, found.notes[0].fields)
    assert "1.550 mm past a face" in said or "1.551 mm past a face" in said
    assert "gives way 1.500 mm" in said
    assert "sides first" in said


def test_a_control_that_searches_a_fixed_distance_stands_farther_away() -> None:
    found = plan(motion=replace(MOTION, fixed_distance_nm=10_000_000))
    # 10 less 0.5, 0.05 and 0.015: 9.0 at the most, and 1.5 nearer, because the sides give way far enough.
    assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (7_500_000, 9_000_000, 10_000_000)
    assert found.range_is_fixed
    up = plan(motion=replace(MOTION, fixed_distance_nm=10_000_000), measures=TOP)
    assert (up.gap_low_nm, up.gap_high_nm) == (8_500_000, 9_000_000)


def test_on_an_inch_control_gap_and_range_are_whole_marks_of_an_inch() -> None:
    found = plan(display=INCH)
    marks = (found.gap_low_nm, found.gap_high_nm, found.range_nm, found.depth_low_nm or 0)
    assert [value % 508_000 for value in marks] == [0, 0, 0, 0]
    assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (2_032_000, 3_556_000, 4_572_000)


def test_beside_the_jaw_the_depth_is_counted_from_its_top() -> None:
    found = plan(sides=(TOP_SIDE,))
    band = found.place["Z"]
    assert band is not None
    # The gauge line stands 150 mm above the ball, the ball 5.5 to 7.5 mm below the top.
    assert (band.low_nm, band.high_nm) == (-157_500_000, -155_500_000)
    assert (band.from_surface_low_nm, band.from_surface_high_nm) == (142_500_000, 144_500_000)


def test_a_top_that_is_not_touched_yet_leaves_its_stop_line_at_both_ends_of_the_depth() -> None:
    later = replace(TOP_SIDE, known=KnownPlace(-300_000_000, 1_200_000), is_touched_before=False)
    low = replace(LEFT, height_nm=12_000_000)
    assert (plan(measures=low).depth_low_nm, plan(measures=low).depth_high_nm) == (5_500_000, 7_500_000)
    found = plan(measures=low, sides=(later,))
    assert (found.depth_low_nm, found.depth_high_nm) == (5_500_000, 6_500_000)
    with pytest.raises(errors.DepthTooUncertainError):
        plan(measures=low, sides=(replace(later, known=KnownPlace(-300_000_000, 2_500_000)),))


def test_the_lead_may_choose_the_depth_of_a_face() -> None:
    found = plan(measures=replace(LEFT, depth_nm=10_000_000))
    assert (found.depth_low_nm, found.depth_high_nm) == (9_000_000, 11_000_000)
    with pytest.raises(errors.DepthOutsideError) as refused:
        plan(measures=replace(LEFT, depth_nm=3_000_000))
    assert "from 3.500 to 29.000 mm" in say(refused.value.code, refused.value.fields)


def test_across_the_search_the_ball_stands_at_the_middle_of_the_jaw() -> None:
    clamping = JawSide(Face(Axis.Y, -1), 20_000_000, TRAVEL, KnownPlace(-150_000_000, 100_000))
    band = plan(measures=TOP, sides=(clamping,)).place["Y"]
    assert band is not None
    # 20 mm deep behind the face: 4 mm and the stop line from either edge.
    assert (band.low_nm, band.high_nm) == (-145_900_000, -134_100_000)
    long = replace(clamping, extent_nm=150_000_000)
    band = plan(measures=TOP, sides=(long,)).place["Y"]
    assert band is not None
    assert (band.low_nm, band.high_nm) == (-85_000_000, -65_000_000)
    with pytest.raises(errors.FaceTooNarrowError):
        plan(measures=TOP, sides=(replace(clamping, extent_nm=8_100_000),))


def test_a_band_ends_where_the_travel_does_and_one_beyond_it_is_refused() -> None:
    near = AxisTravel(-140_000_000, 0)
    clamping = JawSide(Face(Axis.Y, -1), 20_000_000, near, KnownPlace(-150_000_000, 100_000))
    band = plan(measures=TOP, sides=(clamping,)).place["Y"]
    assert band is not None
    assert (band.low_nm, band.high_nm) == (-140_000_000, -134_100_000)
    with pytest.raises(errors.StandOutsideTravelError):
        plan(measures=TOP, sides=(replace(clamping, travel=AxisTravel(-130_000_000, 0)),))


def test_the_height_to_move_at_clears_the_highest_thing_by_25_mm_or_is_the_top_of_z() -> None:
    found = plan(sides=(TOP_SIDE,), highest_nm=12_000_000)
    # Top, its stop line, 12 mm, the ball's radius, 25 mm, and the gauge line above the ball.
    assert found.clear_z_nm == -300_000_000 + 200_000 + 12_000_000 + 3_000_000 + 25_000_000 + 150_000_000
    assert found.clear_above_surface_nm == 190_200_000
    assert plan(sides=(TOP_SIDE,), highest_nm=122_000_000).clear_z_nm is None
    assert plan().clear_z_nm is None
    unknown = replace(TOP_SIDE, known=KnownPlace())
    assert plan(sides=(unknown,)).clear_z_nm is None


def test_the_place_to_stand_does_not_give_the_value_away() -> None:
    seen = set()
    for steps in range(40):
        centre = -400_000_000 + 1_000 * steps
        found = plan(place=replace(PLACE, centre_nm=centre))
        assert found.stand_low_nm is not None
        assert found.stand_high_nm is not None
        seen.add((found.stand_low_nm - centre, found.stand_high_nm - centre))
    assert len(seen) > 35


def test_the_ball_keeps_clear_of_what_stands_opposite() -> None:
    assert plan(measures=replace(LEFT, room_nm=9_500_000)).gap_high_nm == 2_500_000
    with pytest.raises(errors.RoomTooSmallError):
        plan(measures=replace(LEFT, room_nm=9_400_000))


def test_an_effective_radius_unlike_the_balls_counts_in_gap_and_range() -> None:
    assert plan(stylus=replace(STYLUS, effective_radius_nm=2_400_000)).range_nm == 5_000_000
    assert plan(stylus=replace(STYLUS, effective_radius_nm=4_200_000)).gap_low_nm == 2_500_000
    with pytest.raises(errors.CapTooSmallForRadiusError):
        plan(stylus=replace(STYLUS, effective_radius_nm=0), motion=replace(MOTION, search_cap_nm=6_000_000))


def test_on_a_side_the_numbers_are_those_of_the_spindle_line_whatever_the_gauge_length() -> None:
    assert plan().stand_above_ball_nm == plan(measures=BACK).stand_above_ball_nm == 0


def test_the_largest_first_feed_is_written_as_it_is_typed() -> None:
    found = plan()
    assert found.largest_first_feed_text == format_feed(found.largest_first_feed_mm_per_min, MM)


def test_without_a_usual_only_the_gap_is_given_and_its_window_is_two_millimetres_wide() -> None:
    for place in (None, KnownPlace()):
        found = plan(place=place)
        assert (found.stand_low_nm, found.stand_high_nm, found.search_end_nm) == (None, None, None)
        # Judged by eye, half a millimetre to either side.
        assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (2_000_000, 4_000_000, 5_000_000)
        assert [one.code for one in found.notes] == ["approach.note_gap_alone"]
    with pytest.raises(errors.FirstWindowTooNarrowError):
        plan(place=None, motion=replace(MOTION, search_cap_nm=4_500_000))


def test_a_wide_stop_line_moves_the_window_away_and_lengthens_the_range() -> None:
    found = plan(place=replace(PLACE, stop_nm=1_500_000))
    assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (2_500_000, 3_000_000, 5_500_000)


def test_a_range_is_never_above_the_cap_and_the_window_gives_way() -> None:
    found = plan(place=replace(PLACE, stop_nm=2_000_000))
    assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (3_000_000, 3_500_000, 6_350_000)
    with pytest.raises(errors.CapTooSmallForSpreadError):
        plan(place=replace(PLACE, stop_nm=2_400_000))


def test_a_fast_first_touch_needs_a_larger_gap() -> None:
    # 2400 mm/min is 40 mm/s: 40^2/(2*500) + 0.5 = 2.1 mm, to the next half.
    assert plan(motion=replace(MOTION, first_feed_mm_per_min=2400)).gap_low_nm == 2_500_000


def test_a_first_feed_that_stops_in_time_is_kept() -> None:
    found = plan()
    assert (found.first_feed_mm_per_min, found.first_feed_lowered) == (600, False)
    assert found.first_feed_text == "600 mm/min"
    # 10 mm/s: 0.1 mm for the latency, 0.1 mm to stop.
    assert found.stopping_distance_nm == 200_000


def test_a_first_feed_that_does_not_stop_in_time_is_lowered() -> None:
    short = replace(STYLUS, overtravel_side_nm=300_000)
    found = plan(stylus=short)
    # 0.15 mm allowed: v = 500 * (-0.01 + sqrt(0.0001 + 2 * 0.15 / 500)) = 8.2287 mm/s = 493.7 mm/min.
    assert (found.first_feed_mm_per_min, found.first_feed_lowered) == (493, True)
    assert found.stopping_distance_nm <= 150_000


def test_on_an_inch_control_the_feed_is_in_tenths() -> None:
    found = plan(stylus=replace(STYLUS, overtravel_side_nm=300_000), display=INCH)
    assert found.first_feed_text == "19.4 in/min"
    assert found.first_feed_mm_per_min == pytest.approx(492.76)


def test_the_overtravel_upwards_counts_on_a_top() -> None:
    stylus = replace(STYLUS, overtravel_up_nm=300_000)
    assert plan(stylus=stylus, measures=TOP).first_feed_mm_per_min == 493
    assert plan(stylus=stylus).first_feed_mm_per_min == 600


def test_an_edge_break_wider_than_a_millimetre_keeps_the_ball_farther_from_edges() -> None:
    assert plan(measures=replace(LEFT, edge_break_nm=2_500_000)).edge_distance_nm == 5_500_000


def test_a_plan_is_plain_data_for_the_sheet() -> None:
    found = plan()
    again = json.loads(json.dumps(found.as_dict()))
    assert again["axis"] == "X"
    assert again["stand_low_nm"] == found.stand_low_nm


def test_a_face_with_just_enough_width_is_taken() -> None:
    assert plan(measures=replace(LEFT, width_nm=8_000_000)).edge_distance_nm == 4_000_000


def test_the_ends_of_the_travel_belong_to_it() -> None:
    first = plan().stand_low_nm
    assert first is not None
    just = AxisTravel(first, -400_500_000)
    assert plan(travel=just).search_end_nm == just.high_nm
    with pytest.raises(errors.StandOutsideTravelError):
        plan(travel=replace(just, low_nm=just.low_nm + 1))
    with pytest.raises(errors.SearchLeavesTravelError):
        plan(travel=replace(just, high_nm=just.high_nm - 1))


REFUSALS = [
    ("approach.no_feed_stops_in_time", {"stylus": replace(STYLUS, overtravel_side_nm=100)}),
    ("approach.fine_feed_not_slower", {"motion": replace(MOTION, fine_feed_mm_per_min=700)}),
    ("approach.measure_not_positive", {"motion": replace(MOTION, fine_feed_mm_per_min=0.9)}),
    ("approach.measure_not_positive", {"motion": replace(MOTION, first_feed_mm_per_min=0.9)}),
    ("approach.cap_too_small_for_spread", {"place": replace(PLACE, stop_nm=5_350_000)}),
    (
        "approach.cap_too_small_for_feed",
        {
            "motion": replace(MOTION, first_feed_mm_per_min=4500),
            "stylus": replace(STYLUS, overtravel_side_nm=20_000_000),
        },
    ),
    ("approach.cap_too_small", {"motion": replace(MOTION, search_cap_nm=3_000_000)}),
    ("approach.fixed_search_too_short", {"motion": replace(MOTION, fixed_distance_nm=3_000_000)}),
    ("approach.travel_reversed", {"travel": AxisTravel(0, 0)}),
    ("approach.travel_reversed", {"travel": AxisTravel(1, 0), "place": None}),
    ("approach.stand_outside_travel", {"place": replace(PLACE, centre_nm=-756_000_000)}),
    ("approach.stand_outside_travel", {"place": replace(PLACE, centre_nm=-761_000_000)}),
    ("approach.stand_outside_travel", {"measures": BACK, "place": replace(PLACE, centre_nm=-6_000_000)}),
    (
        "approach.search_leaves_travel",
        {
            "stylus": replace(STYLUS, ball_radius_nm=1_000_000, effective_radius_nm=990_000),
            "place": replace(PLACE, centre_nm=-1_000_000),
        },
    ),
    ("approach.stylus_too_short", {"stylus": replace(STYLUS, reach_nm=4_500_000)}),
    ("approach.face_too_low", {"measures": replace(LEFT, height_nm=7_500_000)}),
    ("approach.face_too_narrow", {"measures": replace(LEFT, width_nm=7_999_999)}),
    ("approach.face_too_narrow", {"measures": replace(TOP, width_nm=7_999_999)}),
]


@pytest.mark.parametrize(("code", "changes"), REFUSALS)
def test_a_touch_that_cannot_be_planned_is_refused_by_the_measure_at_fault(
    code: str, changes: dict[str, object]
) -> None:
    with pytest.raises(errors.ApproachError) as refused:
        plan(**changes)  # type: ignore[arg-type]
    assert refused.value.code == code
    assert "{" not in say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize(
    ("kind", "values", "name"),
    [
        (Stylus, (0, 1, 1, 1, 1), "ball_radius"),
        (Stylus, (1, -1, 1, 1, 1), "effective_radius"),
        (Stylus, (1, 1, 0, 1, 1), "reach"),
        (Stylus, (1, 1, 1, 0, 1), "overtravel_side"),
        (Stylus, (1, 1, 1, 1, -5), "overtravel_up"),
        (Stylus, (1, 1, 1, 1, 1, -1), "radius_uncertainty"),
        (ZReading, (ZPoint.GAUGE_LINE,), "gauge_length"),
        (ZReading, (ZPoint.BALL_CENTRE, 0), "gauge_length"),
        (ProbingMotion, (1, 1, 1, 0, 1, 2, 0), "fixed_distance"),
        (FaceMeasures, (LEFT.face, 0, None, None, 0), "depth"),
        (FaceMeasures, (LEFT.face, 0, None, None, None, 0), "room"),
        (JawSide, (LEFT.face, 0, TRAVEL), "extent"),
        (ProbingMotion, (0, 1, 1, 1), "first_feed"),
        (ProbingMotion, (1, float("nan"), 1, 1), "fine_feed"),
        (ProbingMotion, (1, 1, 0, 1), "deceleration"),
        (ProbingMotion, (1, 1, float("inf"), 1), "deceleration"),
        (ProbingMotion, (1, 1, 1, -0.1), "latency"),
        (ProbingMotion, (1, 1, 1, 0, 0), "search_cap"),
        (FaceMeasures, (LEFT.face, -1), "edge_break"),
        (FaceMeasures, (LEFT.face, 0, 0), "height"),
        (FaceMeasures, (LEFT.face, 0, None, -1), "width"),
        (KnownPlace, (None, -1), "stop_half_width"),
    ],
)
def test_a_measure_that_cannot_be_is_refused_by_its_name(
    kind: type, values: tuple[float, ...], name: str
) -> None:
    with pytest.raises((errors.MeasureNotPositiveError, errors.MeasureNegativeError)) as refused:
        kind(*values)
    assert refused.value.fields["measure_code"] == f"measure.{name}"
    assert "{" not in say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize("factor", [0.99, 0, -2, float("nan"), float("inf")])
def test_a_safety_factor_below_one_is_refused(factor: float) -> None:
    with pytest.raises(errors.SafetyFactorBelowOneError):
        ProbingMotion(600, 50, 500, 0.01, safety_factor=factor)


FACES = [Face(axis, normal) for axis in Axis for normal in (1, -1)]


displays = st.sampled_from([MM, INCH, Display(Unit.MM, 2), Display(Unit.INCH, 5)])
styluses = st.builds(
    Stylus,
    ball_radius_nm=st.integers(500_000, 5_000_000),
    effective_radius_nm=st.integers(0, 5_000_000),
    reach_nm=st.integers(10_000_000, 60_000_000),
    overtravel_side_nm=st.integers(100_000, 12_000_000),
    overtravel_up_nm=st.integers(100_000, 6_000_000),
    radius_uncertainty_nm=st.integers(0, 5000),
    z_reading=st.builds(ZReading, st.sampled_from(list(ZPoint)), st.integers(1, 250_000_000)),
)
motions = st.builds(
    ProbingMotion,
    first_feed_mm_per_min=st.floats(60, 3000),
    fine_feed_mm_per_min=st.floats(3, 60),
    deceleration_mm_per_s2=st.floats(100, 5000),
    latency_s=st.floats(0, 0.02),
    search_cap_nm=st.integers(4_000_000, 20_000_000),
    safety_factor=st.floats(1, 4),
)
places = st.builds(KnownPlace, st.integers(-600_000_000, -100_000_000), st.integers(0, 1_000_000))
sides = st.builds(
    FaceMeasures, st.sampled_from(FACES), st.integers(0, 3_000_000), st.integers(12_000_000, 10**8)
)


def planned(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> Approach:
    try:
        return plan(stylus, motion, measures, AxisTravel(-(10**9), 10**9), display, place)
    except errors.ApproachError:
        assume(False)
        raise


@given(styluses, motions, sides, displays, places)
def test_the_first_touch_stops_within_the_overtravel(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> None:
    found = planned(stylus, motion, measures, display, place)
    assert found.stopping_distance_nm * motion.safety_factor <= stylus.overtravel_nm(measures.face) * (
        1 + 1e-12
    )
    assert found.fine_feed_mm_per_min <= found.first_feed_mm_per_min <= motion.first_feed_mm_per_min


@given(styluses, motions, sides, displays, places, st.integers(-(10**4), 10**4))
def test_moving_the_usual_moves_the_end_and_leaves_gap_range_and_feeds(
    stylus: Stylus,
    motion: ProbingMotion,
    measures: FaceMeasures,
    display: Display,
    place: KnownPlace,
    steps: int,
) -> None:
    constant = steps * display.resolution_nm
    before = planned(stylus, motion, measures, display, place)
    assert place.centre_nm is not None
    after = planned(stylus, motion, measures, display, replace(place, centre_nm=place.centre_nm + constant))
    assert after.search_end_nm == (before.search_end_nm or 0) + constant
    stand = {
        "search_end_nm": None,
        "stand_low_nm": None,
        "stand_high_nm": None,
        "place": {},
        "clear_z_nm": None,
    }
    assert replace(after, **stand) == replace(before, **stand)


@given(styluses, motions, sides, displays, places)
def test_a_face_seen_in_a_mirror_gives_the_mirrored_search(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> None:
    stylus = replace(stylus, z_reading=ZReading(ZPoint.BALL_CENTRE))
    assert place.centre_nm is not None
    before = planned(stylus, motion, measures, display, place)
    mirrored = replace(measures, face=Face(measures.face.axis, -measures.face.normal))
    after = planned(stylus, motion, mirrored, display, replace(place, centre_nm=-place.centre_nm))
    assert after.search_end_nm == -(before.search_end_nm or 0)
    assert (after.gap_low_nm, after.gap_high_nm) == (before.gap_low_nm, before.gap_high_nm)
    assert (after.range_nm, after.dead_probe) == (before.range_nm, before.dead_probe)


@given(styluses, motions, sides, displays, places)
def test_the_ball_stays_clear_of_edge_shank_and_foot(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> None:
    found = planned(stylus, motion, measures, display, place)
    assert found.edge_distance_nm >= stylus.ball_radius_nm + max(1_000_000, measures.edge_break_nm)
    if measures.face.axis is Axis.Z:
        assert found.depth_low_nm is None
        return
    assert found.depth_low_nm is not None
    assert found.depth_high_nm is not None
    assert measures.height_nm is not None
    assert measures.edge_break_nm + stylus.ball_radius_nm <= found.depth_low_nm < found.depth_high_nm
    assert found.depth_high_nm + 1_000_000 <= stylus.reach_nm
    assert found.depth_high_nm + stylus.ball_radius_nm + 1_000_000 <= measures.height_nm
