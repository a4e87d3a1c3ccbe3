"""The plan of one touch, and every reason for which there is none."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from webapp.domain.plain import errors
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.touch.approach import (
    Approach,
    AxisTravel,
    FaceMeasures,
    KnownPlace,
    ProbingMotion,
    Stylus,
    check_trigger,
    plan_approach,
    search_range_nm,
)
from webapp.domain.touch.feeds import format_feed
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
    gauge_length_nm=150_000_000,
)
# 600 mm/min is 10 mm/s: up to speed within 10^2/(2*500) = 0.1 mm, so that 1 mm is the lowest gap.
MOTION = ProbingMotion(600, 50, 500, 0.01)
LEFT = FaceMeasures(Face(Axis.X, -1), 500_000, 40_000_000, 60_000_000)
BACK = FaceMeasures(Face(Axis.Y, 1), 500_000)
TOP = FaceMeasures(Face(Axis.Z, 1), 500_000, None, 20_000_000)
TRAVEL = AxisTravel(-762_000_000, 0)
PLACE = KnownPlace(centre_nm=-400_000_000, stop_nm=50_000)


def plan(
    stylus: Stylus = STYLUS,
    motion: ProbingMotion = MOTION,
    measures: FaceMeasures = LEFT,
    travel: AxisTravel = TRAVEL,
    display: Display = MM,
    place: KnownPlace | None = PLACE,
) -> Approach:
    return plan_approach(stylus, motion, measures, travel, display, place)


def test_a_left_face_is_searched_to_the_right_from_its_left() -> None:
    found = plan()
    assert (found.direction_label, say(found.direction_code)) == ("X+", "to the right")
    assert (found.gap_low_nm, found.gap_high_nm, found.margin_nm) == (1_000_000, 5_350_000, 1_000_000)
    assert found.range_nm == 6_350_000
    # Ball centre 3 mm + gap to the left of the face; nearest end 4 mm left, from there 6.35 mm on.
    assert (found.stand_low_nm, found.stand_high_nm) == (-408_350_000, -404_000_000)
    assert found.search_end_nm == -404_000_000 + 6_350_000
    assert (found.depth_low_nm, found.depth_high_nm) == (3_500_000, 29_000_000)
    assert found.edge_distance_nm == 4_000_000


def test_a_back_face_is_searched_towards_the_operator_from_behind() -> None:
    found = plan(measures=BACK)
    assert (found.direction_label, say(found.direction_code)) == ("Y−", "towards you")
    assert (found.stand_low_nm, found.stand_high_nm) == (-396_000_000, -391_650_000)
    assert found.search_end_nm == -396_000_000 - 6_350_000


def test_a_top_is_searched_downwards_and_its_reading_carries_the_gauge_length() -> None:
    found = plan(measures=TOP)
    assert (found.direction_label, say(found.direction_code)) == ("Z−", "down")
    assert (found.stand_low_nm, found.stand_high_nm) == (-246_000_000, -241_650_000)
    assert found.stand_above_ball_nm == STYLUS.gauge_length_nm > 0
    assert (found.depth_low_nm, found.depth_high_nm) == (None, None)


def test_a_control_that_knows_the_probe_length_reads_without_it() -> None:
    found = plan(stylus=replace(STYLUS, gauge_length_nm=0), measures=TOP)
    assert (found.stand_low_nm, found.stand_high_nm) == (-396_000_000, -391_650_000)
    assert found.stand_above_ball_nm == 0


def test_on_a_side_the_numbers_are_those_of_the_spindle_line_whatever_the_gauge_length() -> None:
    assert plan().stand_above_ball_nm == plan(measures=BACK).stand_above_ball_nm == 0


def test_the_largest_first_feed_is_written_as_it_is_typed() -> None:
    found = plan()
    assert found.largest_first_feed_text == format_feed(found.largest_first_feed_mm_per_min, MM)


def test_without_history_only_the_gap_is_given() -> None:
    for place in (None, KnownPlace()):
        found = plan(place=place)
        assert (found.stand_low_nm, found.stand_high_nm, found.search_end_nm) == (None, None, None)
        assert (found.gap_low_nm, found.gap_high_nm, found.range_nm) == (1_000_000, 5_350_000, 6_350_000)


def test_a_wide_stop_line_shortens_the_largest_gap() -> None:
    found = plan(place=replace(PLACE, stop_nm=2_000_000))
    assert (found.margin_nm, found.gap_high_nm) == (2_000_000, 4_350_000)


def test_a_fast_first_touch_needs_a_larger_gap() -> None:
    # 1800 mm/min is 30 mm/s: 30^2/(2*500) + 0.5 = 1.4 mm.
    assert plan(motion=replace(MOTION, first_feed_mm_per_min=1800)).gap_low_nm == 1_400_000


def test_a_measured_gap_gives_a_range_of_its_own() -> None:
    found = plan(place=replace(PLACE, gap_nm=2_300_000))
    assert found.range_nm == 3_500_000
    assert found.search_end_nm == -400_000_000 - 3_000_000 - 2_300_000 + 3_500_000


@pytest.mark.parametrize(
    ("gap_nm", "display", "range_nm"),
    [
        (None, MM, 6_350_000),
        (2_000_000, MM, 3_000_000),
        (2_000_001, MM, 3_500_000),
        (5_000_000, MM, 6_000_000),
        (5_000_001, MM, 6_350_000),
        (5_350_000, MM, 6_350_000),
        (1_540_000, INCH, 2_540_000),
        (1_540_001, INCH, 3_048_000),
        (5_350_000, INCH, 6_350_000),
    ],
)
def test_a_range_is_rounded_up_and_never_above_the_cap(
    gap_nm: int | None, display: Display, range_nm: int
) -> None:
    assert search_range_nm(6_350_000, 1_000_000, gap_nm, display) == range_nm


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
    just = AxisTravel(-408_350_000, -397_650_000)
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
    ("approach.cap_too_small", {"motion": replace(MOTION, search_cap_nm=2_000_000)}),
    ("approach.gap_outside_window", {"place": replace(PLACE, gap_nm=999_999)}),
    ("approach.gap_outside_window", {"place": replace(PLACE, gap_nm=5_350_001)}),
    ("approach.travel_reversed", {"travel": AxisTravel(0, 0)}),
    ("approach.travel_reversed", {"travel": AxisTravel(1, 0), "place": None}),
    ("approach.stand_outside_travel", {"place": replace(PLACE, centre_nm=-755_000_000)}),
    ("approach.stand_outside_travel", {"place": replace(PLACE, centre_nm=-761_000_000)}),
    ("approach.stand_outside_travel", {"measures": BACK, "place": replace(PLACE, centre_nm=-8_000_000)}),
    ("approach.search_leaves_travel", {"place": replace(PLACE, centre_nm=-2_000_000)}),
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
        (Stylus, (1, 1, 1, 1, 1, 0, -1), "gauge_length"),
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
        (KnownPlace, (None, None, 0), "gap"),
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


@pytest.mark.parametrize("face", FACES)
def test_a_trigger_that_belongs_to_its_surface_is_taken(face: Face) -> None:
    length = STYLUS.gauge_length_nm if face.axis is Axis.Z else 0
    trigger = -300_000_000 + length + face.normal * STYLUS.effective_radius_nm
    assert check_trigger(-300_000_000, trigger, face, STYLUS, MM) == 0
    assert check_trigger(-300_002_000, trigger, face, STYLUS, MM) == -2000
    for surface in (-300_002_001, -299_997_999):
        with pytest.raises(errors.TriggerDisagreesError) as refused:
            check_trigger(surface, trigger, face, STYLUS, MM)
        assert refused.value.fields["allowed"] == "0.002"
        assert refused.value.fields["from_trigger"] == "−300.000"


def test_a_ball_radius_left_out_shows_in_the_trigger() -> None:
    with pytest.raises(errors.TriggerDisagreesError) as refused:
        check_trigger(-300_000_000, -300_000_000, LEFT.face, STYLUS, MM)
    assert refused.value.fields["difference"] == "2.985"
    assert "2.985 mm apart" in say(refused.value.code, refused.value.fields)


displays = st.sampled_from([MM, INCH, Display(Unit.MM, 2), Display(Unit.INCH, 5)])
styluses = st.builds(
    Stylus,
    ball_radius_nm=st.integers(500_000, 5_000_000),
    effective_radius_nm=st.integers(0, 5_000_000),
    reach_nm=st.integers(10_000_000, 60_000_000),
    overtravel_side_nm=st.integers(100_000, 12_000_000),
    overtravel_up_nm=st.integers(100_000, 6_000_000),
    radius_uncertainty_nm=st.integers(0, 5000),
    gauge_length_nm=st.integers(0, 250_000_000),
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
def test_from_anywhere_in_the_stand_window_the_search_meets_the_face_at_speed(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> None:
    found = planned(stylus, motion, measures, display, place)
    assert found.stand_low_nm is not None
    assert found.stand_high_nm is not None
    assert place.centre_nm is not None
    assert place.stop_nm is not None
    n, zero = measures.face.normal, place.centre_nm + stylus.length_along_nm(measures.face)
    speed = found.first_feed_mm_per_min / 60
    for stand in (found.stand_low_nm, found.stand_high_nm):
        assert stand % display.resolution_nm == 0
        gap = n * (stand - zero) - stylus.ball_radius_nm
        assert found.gap_low_nm <= gap <= found.gap_high_nm
        assert gap >= 1_000_000
        assert gap + 1 >= speed**2 / (2 * motion.deceleration_mm_per_s2) * 1e6 + 500_000
        assert gap + place.stop_nm <= found.range_nm
        assert n * (stand - found.range_nm * n - (found.search_end_nm or 0)) >= 0


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
def test_moving_the_usual_moves_the_stand_and_the_end_and_nothing_else(
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
    moved = replace(
        before,
        stand_low_nm=(before.stand_low_nm or 0) + constant,
        stand_high_nm=(before.stand_high_nm or 0) + constant,
        search_end_nm=(before.search_end_nm or 0) + constant,
    )
    assert after == moved


@given(styluses, motions, sides, displays, places)
def test_a_face_seen_in_a_mirror_gives_the_mirrored_window(
    stylus: Stylus, motion: ProbingMotion, measures: FaceMeasures, display: Display, place: KnownPlace
) -> None:
    stylus = replace(stylus, gauge_length_nm=0)
    assert place.centre_nm is not None
    before = planned(stylus, motion, measures, display, place)
    mirrored = replace(measures, face=Face(measures.face.axis, -measures.face.normal))
    after = planned(stylus, motion, mirrored, display, replace(place, centre_nm=-place.centre_nm))
    assert after.stand_low_nm == -(before.stand_high_nm or 0)
    assert after.stand_high_nm == -(before.stand_low_nm or 0)
    assert after.search_end_nm == -(before.search_end_nm or 0)
    assert (after.gap_low_nm, after.gap_high_nm) == (before.gap_low_nm, before.gap_high_nm)


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
