"""The usual, its lines and the verdict."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from webapp.domain.figures.neighbours import set_aside
from webapp.domain.plain import usual_errors as errors
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import (
    FloorInputs,
    LinesChoice,
    SeatingValues,
    SetupValue,
    Usual,
    centre_nm,
    combined_uncertainty_nm,
    in_centre,
    shown_step_nm,
    usual,
    verdict,
)
from webapp.words import say

MM = Display(Unit.MM, 3)
INCH = Display(Unit.INCH, 4)
FLOOR = FloorInputs(u_probe_nm=1000, u_axis_nm=2000)
NO_FLOOR = FloorInputs(u_probe_nm=0, u_axis_nm=0)
CHOICE = LinesChoice()
BASE = -412_305_000

offsets_nm = st.lists(st.integers(-60, 60).map(lambda step: step * 1000), min_size=1, max_size=12)
displays = st.sampled_from([MM, INCH, Display(Unit.MM, 2)])


def seating(name: str, *offsets: int) -> SeatingValues:
    return SeatingValues.of(name, [BASE + offset for offset in offsets])


def lines(found: Usual) -> tuple[int, int]:
    assert found.ask_nm is not None
    assert found.stop_nm is not None
    return found.ask_nm, found.stop_nm


def spread_by_hand(offsets: list[int], step_nm: int = 1000) -> tuple[float, float]:
    """Return spread and degrees of freedom of values none of which is far from its neighbours.

    So many deviations by the median, which half a step more puts a little farther out:
    what normal values leave within.
    """
    steps = np.diff(offsets)
    cut = max(3.0, stats.norm.isf(0.02 / len(steps)))
    deviations = cut * (1 + step_nm / 2 / np.median(np.abs(steps)))
    inside = stats.truncnorm(-deviations, deviations).var()
    own_median = 0.7 / (len(steps) + 8) * (1 - inside) / (1 - stats.truncnorm(-cut, cut).var())
    return math.sqrt(np.mean(steps**2) / 2 / (inside - own_median)), 0.57 * len(steps) + 0.3


STEADY = [0, 12_000, -9000, 4000, 21_000, -15_000, 6000, -2000]


def test_the_lines_are_the_prediction_half_widths_rounded_inward() -> None:
    found = usual([seating("a", *STEADY)], NO_FLOOR, CHOICE, MM)
    s, degrees = spread_by_hand(STEADY)
    for line, coverage in zip(lines(found), (0.99, 0.999), strict=True):
        expected = stats.t.ppf((1 + coverage) / 2, degrees) * s * math.sqrt(1 + 1.06 / 8)
        assert line == math.floor(expected / 1000) * 1000
    assert found.s_nm == pytest.approx(s, rel=2e-5)
    assert (found.n_values, found.n_seatings, found.degrees_of_freedom) == (8, 1, degrees)
    assert found.reasons == ()


def test_a_vise_moved_yesterday_has_useful_lines_after_one_setup() -> None:
    moved = SeatingValues.of("new", [BASE + 5_000_000])
    found = usual([seating("old", *STEADY), moved], NO_FLOOR, CHOICE, MM)
    s, degrees = spread_by_hand(STEADY)
    assert found.centre_nm == BASE + 5_000_000
    assert found.degrees_of_freedom == degrees
    assert (found.n_values, found.n_seatings, found.pooled_seating_ids) == (1, 1, ("old",))
    assert lines(found)[0] == math.floor(stats.t.ppf(0.995, degrees) * s * math.sqrt(2) / 1000) * 1000
    assert found.reasons == ("too_few_to_compare",)


def test_from_four_values_on_a_seating_can_show_that_it_scatters_as_before() -> None:
    for count in range(1, 8):
        found = usual([seating("old", *STEADY), seating("new", *STEADY[:count])], NO_FLOOR, CHOICE, MM)
        assert ("too_few_to_compare" in found.reasons) == (count < 4)


def test_without_a_value_in_this_seating_every_touch_is_asked_about() -> None:
    found = usual([seating("old", 0, 1000, 2000), SeatingValues("new")], FLOOR, CHOICE, MM)
    assert (found.centre_nm, found.ask_nm, found.stop_nm) == (None, None, None)
    assert found.reasons == ("no_value_yet",)
    assert verdict(BASE, found) == "ask"


@pytest.mark.parametrize("side", [1, -1])
def test_a_value_exactly_on_a_line_is_still_inside_it(side: int) -> None:
    found = usual([seating("a", *STEADY)], FLOOR, CHOICE, MM)
    ask_nm, stop_nm = lines(found)
    assert ask_nm < stop_nm
    at = [found.centre_nm + side * off for off in (ask_nm, ask_nm + 1, stop_nm, stop_nm + 1)]
    assert [verdict(value, found) for value in at] == ["agrees", "ask", "ask", "stop"]


def test_without_any_seating_every_touch_is_asked_about() -> None:
    found = usual([], FLOOR, CHOICE, MM)
    assert (found.seating_id, found.reasons) == (None, ("no_value_yet",))
    assert verdict(0, found) == "ask"


@pytest.mark.parametrize(
    "history", [[seating("a", 0)], [seating("a", 0, 9000)], [seating("a", 0), seating("b", 9)]]
)
def test_below_two_degrees_of_freedom_the_floor_alone_rules(history: list[SeatingValues]) -> None:
    found = usual(history, FLOOR, CHOICE, MM)
    n = len(history[-1].values_nm)
    u_b = math.sqrt(1000**2 + 2000**2 + 1000**2 / 12)
    assert "floor_rules" in found.reasons
    for line, coverage in zip(lines(found), (0.99, 0.999), strict=True):
        expected = stats.norm.ppf((1 + coverage) / 2) * u_b * math.sqrt(1 + 1 / n)
        assert line == math.floor(expected / 1000) * 1000


def test_lines_are_never_below_the_floor() -> None:
    found = usual([seating("a", 0, 0, 0, 0, 0)], FLOOR, CHOICE, MM)
    alone = usual([seating("a", 0)], FLOOR, CHOICE, MM)
    assert "floor_widens" in found.reasons
    assert 0 < lines(found)[0] < lines(alone)[0]


def test_a_named_coverage_factor_is_the_ask_lines_and_scales_the_stop_line() -> None:
    wide = FloorInputs(u_probe_nm=10_000, u_axis_nm=20_000)
    found = usual([seating("a", 0)], wide, LinesChoice(coverage_factor=2.0), MM)
    ask = 2 * math.sqrt(10_000**2 + 20_000**2 + 1000**2 / 12) * math.sqrt(2)
    stop = ask * stats.norm.ppf(0.9995) / stats.norm.ppf(0.995)
    assert lines(found) == tuple(math.floor(one / 1000) * 1000 for one in (ask, stop))


def test_no_line_lies_beyond_the_ceiling() -> None:
    wide = seating("a", 0, 200_000, -300_000, 150_000)
    found = usual([wide], FLOOR, LinesChoice(ceiling_nm=123_456), MM)
    assert lines(found) == (123_000, 123_000)
    assert "ceiling_narrows" in found.reasons


def test_the_shipped_ceiling_is_half_a_millimetre_and_the_shipped_rates_one_in_100_and_1000() -> None:
    assert (CHOICE.ceiling_nm, CHOICE.ask_one_in, CHOICE.stop_one_in) == (500_000, 100, 1000)


def test_no_line_is_narrower_than_a_step_of_the_display_but_where_the_ceiling_is() -> None:
    still, coarse = seating("a", 0, 0, 0, 0, 0, 0), Display(Unit.MM, 1)
    assert lines(usual([still], NO_FLOOR, CHOICE, coarse)) == (100_000, 300_000)
    found = usual([still], NO_FLOOR, LinesChoice(ceiling_nm=60_000), coarse)
    assert lines(found)[0] == 0
    assert "narrower_than_display" in found.reasons


def test_a_display_that_moves_in_fives_is_known_by_its_values() -> None:
    steps = [0, 5, 0, 5, 5, 10, 0, 5]
    assert shown_step_nm([[5000 * step for step in steps]], MM) == 5000
    assert shown_step_nm([[*(5000 * step for step in steps), 123_000]], MM) == 5000
    assert shown_step_nm([[1000 * step for step in (0, 5, 1, 5, 5, 10, 3, 5)]], MM) == 1000
    assert shown_step_nm([[10_000] * 12], MM) == 1000
    found = usual([seating("a", *(1000 * step for step in steps))], NO_FLOOR, CHOICE, MM)
    assert lines(found)[0] % 5000 == 0


WILD = (0, 90_000, -80_000, 40_000, -60_000, 75_000, -20_000, 50_000)
TIGHT = (0, 1000, 2000, 1000, 0, 2000, 1000, 1000)


def test_a_seating_that_scatters_differently_stands_alone() -> None:
    found = usual([seating("tight", *TIGHT), seating("wild", *WILD)], FLOOR, CHOICE, MM)
    assert found.pooled_seating_ids == ("wild",)
    assert found.left_out_seating_ids == ("tight",)
    assert found.reasons[0] == "stands_alone"


def test_an_old_seating_that_scatters_differently_is_left_out() -> None:
    history = [seating("wild", *WILD), seating("tight", *TIGHT), seating("now", 5000)]
    found = usual(history, FLOOR, CHOICE, MM)
    assert found.pooled_seating_ids == ("tight",)
    assert found.left_out_seating_ids == ("wild",)
    assert found.reasons[0] == "seatings_left_out"


def test_two_values_make_a_seating_that_can_be_left_out_and_one_value_makes_none() -> None:
    pairs = [seating("one", 0, 1000), seating("two", 1000, 0)]
    found = usual([*pairs, seating("wild", *WILD)], FLOOR, CHOICE, MM)
    assert found.pooled_seating_ids == ("wild",)
    assert found.left_out_seating_ids == ("one", "two")
    assert found.reasons[0] == "stands_alone"
    assert usual([seating("one", 0), seating("now", *STEADY)], NO_FLOOR, CHOICE, MM).reasons == ()


def test_a_seating_with_two_values_of_one_setup_is_refused() -> None:
    with pytest.raises(errors.SetupCountedTwiceError) as refused:
        SeatingValues.of_setups("a", [SetupValue("s1", 1), SetupValue("s1", 2)])
    assert refused.value.fields == {"setup": "s1", "seating": "a"}


def test_a_seating_listed_twice_is_refused() -> None:
    with pytest.raises(errors.SeatingListedTwiceError):
        usual([seating("a", 0), seating("a", 5)], FLOOR, CHOICE, MM)


@pytest.mark.parametrize("one_in", [1, 0, -100])
def test_a_rate_of_false_asks_that_is_none_is_refused(one_in: int) -> None:
    with pytest.raises(errors.FalseAskTooOftenError):
        LinesChoice(ask_one_in=one_in)
    with pytest.raises(errors.FalseAskTooOftenError):
        LinesChoice(stop_one_in=one_in)


@pytest.mark.parametrize(("ask", "stop"), [(100, 100), (1000, 100)])
def test_a_stop_line_that_is_no_rarer_than_the_ask_line_is_refused(ask: int, stop: int) -> None:
    with pytest.raises(errors.StopNotRarerThanAskError):
        LinesChoice(ask_one_in=ask, stop_one_in=stop)


@pytest.mark.parametrize("ceiling", [0, -1])
def test_a_ceiling_that_is_none_is_refused(ceiling: int) -> None:
    with pytest.raises(errors.CeilingNotPositiveError):
        LinesChoice(ceiling_nm=ceiling)


@pytest.mark.parametrize("factor", [-0.1, math.inf, math.nan])
def test_a_coverage_factor_that_is_none_is_refused(factor: float) -> None:
    with pytest.raises(errors.UncertaintyNegativeError):
        LinesChoice(coverage_factor=factor)


@pytest.mark.parametrize(
    ("field", "part"),
    [
        ("u_probe_nm", "probe"),
        ("u_axis_nm", "axis"),
        ("u_seat_nm", "seat"),
        ("expansion_per_kelvin", "expansion"),
        ("length_nm", "length"),
        ("temperature_half_range_kelvin", "temperature"),
    ],
)
@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_an_uncertainty_that_is_none_is_refused_by_its_name(field: str, part: str, value: float) -> None:
    with pytest.raises(errors.UncertaintyNegativeError) as refused:
        FloorInputs(**{"u_probe_nm": 1.0, "u_axis_nm": 1.0, field: value})
    assert refused.value.fields["part_code"] == f"part.{part}"
    assert "{" not in say(refused.value.code, refused.value.fields)


def test_the_uncertainty_without_history_is_the_root_of_the_sum_of_squares() -> None:
    floor = FloorInputs(800, 1500, 600, 11.5e-6, 300e6, 2.0)
    thermal = 11.5e-6 * 300e6 * 2 / math.sqrt(3)
    expected = math.sqrt(800**2 + 1500**2 + 600**2 + thermal**2 + 2540**2 / 12)
    assert combined_uncertainty_nm(floor, INCH) == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(
    ("values", "centre"), [([0, 1000], 0), ([1000, 2000], 2000), ([0, 0, 1000], 0), ([-1000, 0], 0)]
)
def test_the_centre_is_the_middle_rounded_half_to_even(values: list[int], centre: int) -> None:
    assert centre_nm(values, MM) == centre


def test_a_value_on_a_line_is_inside() -> None:
    found = usual([seating("a", 0, 12_000, -9000, 4000, 21_000, -15_000)], FLOOR, CHOICE, MM)
    ask, stop = lines(found)
    assert found.centre_nm is not None
    for side in (1, -1):
        assert verdict(found.centre_nm + side * ask, found) == "agrees"
        assert verdict(found.centre_nm + side * (ask + 1), found) == "ask"
        assert verdict(found.centre_nm + side * stop, found) == "ask"
        assert verdict(found.centre_nm + side * (stop + 1), found) == "stop"


def test_a_suspect_is_pointed_at_and_not_left_out() -> None:
    values = (0, 1000, -1000, 0, 1000, 0, -1000, 90_000)
    found = usual([seating("a", *values)], FLOOR, CHOICE, MM)
    assert [(s.setup_id, s.value_nm) for s in found.suspects] == [("8", BASE + 90_000)]
    assert found.n_values == 8
    hint = found.suspects[0].finding(MM)
    assert "−412.215 mm of setup 8" in say(hint.code, hint.fields)


def test_every_reason_has_its_sentence() -> None:
    history = [
        [],
        [seating("a", 0)],
        [seating("a", 0, 0, 0, 0, 0)],
        [seating("a", *TIGHT), seating("b", *WILD)],
        [seating("a", *TIGHT), seating("b", *WILD), seating("c", 0)],
    ]
    choices = [LinesChoice(ceiling_nm=4000), CHOICE]
    floors = [FLOOR, NO_FLOOR]
    found = [
        usual(h, f, c, d) for h in history for f in floors for c in choices for d in (MM, Display(Unit.MM, 1))
    ]
    assert {reason for one in found for reason in one.reasons} == {
        "no_value_yet",
        "floor_rules",
        "floor_widens",
        "ceiling_narrows",
        "stands_alone",
        "seatings_left_out",
        "narrower_than_display",
        "too_few_to_compare",
    }
    for one in found:
        assert all(say(finding.code).endswith(".") for finding in one.findings)


@given(offsets_nm, offsets_nm, st.integers(-(10**5), 10**5), displays)
def test_moving_all_values_by_tens_of_steps_moves_the_centre_and_no_line(
    old: list[int], now: list[int], steps: int, display: Display
) -> None:
    # A display that moves in fives is told by its values, and a half is rounded to even.
    constant = 10 * steps * display.resolution_nm
    before = usual([seating("a", *old), seating("b", *now)], FLOOR, CHOICE, display)
    shifted = [seating("a", *(v + constant for v in old)), seating("b", *(v + constant for v in now))]
    after = usual(shifted, FLOOR, CHOICE, display)
    assert before.centre_nm is not None
    assert after.centre_nm == before.centre_nm + constant
    assert lines(after) == lines(before)
    assert verdict(BASE + constant, after) == verdict(BASE, before)


@given(offsets_nm, offsets_nm)
def test_a_history_read_backwards_has_the_same_usual(old: list[int], now: list[int]) -> None:
    before = usual([seating("a", *old), seating("b", *now)], FLOOR, CHOICE, MM)
    after = usual([seating("a", *old[::-1]), seating("b", *now[::-1])], FLOOR, CHOICE, MM)
    if any(map(set_aside, (old, now, old[::-1], now[::-1]))):
        return  # of two values as far off, the first is set aside
    assert (after.centre_nm, after.ask_nm, after.stop_nm) == (before.centre_nm, before.ask_nm, before.stop_nm)


@given(offsets_nm, st.randoms(use_true_random=False))
def test_the_order_of_values_does_not_move_the_centre(now: list[int], chance: object) -> None:
    shuffled = list(now)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    if set_aside(now) is None:
        before, after = (usual([seating("a", *one)], FLOOR, CHOICE, MM) for one in (now, shuffled))
        assert after.centre_nm == before.centre_nm


@given(offsets_nm, st.integers(2, 500), st.integers(1, 5000), st.integers(1, 10**6), displays)
def test_the_ask_line_lies_within_the_stop_line_and_that_within_the_ceiling(
    now: list[int], ask: int, more: int, ceiling: int, display: Display
) -> None:
    choice = LinesChoice(ask_one_in=ask, stop_one_in=ask + more, ceiling_nm=ceiling)
    found_ask, found_stop = lines(usual([seating("a", *now)], FLOOR, choice, display))
    assert 0 <= found_ask <= found_stop <= ceiling
    assert found_ask % display.resolution_nm == found_stop % display.resolution_nm == 0


@given(offsets_nm, st.integers(-(10**6), 10**6), st.integers(0, 10**6))
def test_going_farther_from_the_centre_never_makes_a_verdict_milder(
    now: list[int], offset: int, farther: int
) -> None:
    found = usual([seating("a", *now)], FLOOR, CHOICE, MM)
    assert found.centre_nm is not None
    order = ["agrees", "ask", "stop"]
    sense = 1 if offset >= 0 else -1
    near = verdict(found.centre_nm + offset, found)
    far = verdict(found.centre_nm + offset + sense * farther, found)
    assert order.index(near) <= order.index(far)


@pytest.mark.parametrize(("n", "one_in"), [(20, 100), (8, 100), (6, 20)])
def test_a_steady_fixture_is_asked_about_as_often_as_chosen(n: int, one_in: int) -> None:
    chance = np.random.default_rng(11)
    rounds = 4000
    fine = Display(Unit.MM, 6)
    choice = LinesChoice(ask_one_in=one_in, stop_one_in=one_in * 10, ceiling_nm=10**9)
    asked = 0
    for _ in range(rounds):
        values = chance.normal(0, 50_000, n + 1).round().astype(int).tolist()
        found = usual([SeatingValues.of("a", values[:n])], NO_FLOOR, choice, fine)
        asked += verdict(values[n], found) != "agrees"
    low, high = stats.binom.ppf([1e-5, 1 - 1e-5], rounds, 1 / one_in)
    assert low <= asked <= high


def test_the_centre_is_the_middle_of_the_last_twenty_values() -> None:
    values = [0] * 30 + [1000 * place for place in range(20)]
    found = usual([seating("a", *values)], NO_FLOOR, CHOICE, MM)
    assert found.centre_nm == BASE + 9_000  # 412 295.5 steps from zero, half to even
    assert (found.n_values, found.n_in_centre) == (50, 20)


def test_one_gross_value_hardly_moves_the_centre_and_widens_no_line() -> None:
    clean = usual([seating("a", *STEADY)], NO_FLOOR, CHOICE, MM)
    bent = usual([seating("a", *STEADY[:4], 25_000_000, *STEADY[4:])], NO_FLOOR, CHOICE, MM)
    assert bent.centre_nm == clean.centre_nm
    assert lines(bent)[0] <= 1.15 * lines(clean)[0]
    assert [one.value_nm for one in bent.suspects] == [BASE + 25_000_000]


def test_the_values_of_the_centre_are_the_latest_without_the_one_set_aside() -> None:
    assert in_centre([0, 1000, 900_000, 0, 1000, 500]) == [0, 1000, 0, 1000, 500]
    assert list(in_centre(tuple(range(50)))) == list(range(30, 50))


def test_a_creeping_vise_is_followed_at_a_distance_of_ten_setups() -> None:
    values = [1000 * place for place in range(200)]
    found = usual([seating("a", *values)], NO_FLOOR, CHOICE, Display(Unit.MM, 6))
    assert found.centre_nm == BASE + round(1000 * (199 - 9.5))
    # Nor does the creep widen the lines: neighbours differ by one step, whatever the way since.
    # A display of 1 nm that shows fives of them.
    assert found.s_nm == pytest.approx(spread_by_hand(values, 5)[0], rel=2e-5)


LENGTHS = LinesChoice(stop_length_nm=100_000, least_ask_nm=10_000, early_setups=5)


def days(name: str, values: list[int], first: str, last: str) -> SeatingValues:
    return SeatingValues(name, tuple(map(str, range(len(values)))), tuple(values), first, last)


def test_the_stop_line_is_the_lead_s_length_and_at_least_three_times_the_ask_line() -> None:
    tight, wide = ([1000 * step * size for step in (0, 2, -1, 1, -2, 0)] for size in (1, 12))
    found = usual([seating("a", *tight)], FLOOR, LENGTHS, MM)
    assert (found.ask_nm is not None and 3 * found.ask_nm < 100_000, found.stop_nm) == (True, 100_000)
    found = usual([seating("a", *wide)], FLOOR, replace(LENGTHS, ceiling_nm=10**9), MM)
    assert found.ask_nm is not None
    assert found.stop_nm is not None
    assert 3 * found.ask_nm <= found.stop_nm < 3 * (found.ask_nm + MM.resolution_nm)


def test_where_three_ask_lines_lie_beyond_the_ceiling_the_ceiling_wins_and_it_is_said() -> None:
    wide = seating("a", *(12_000 * step for step in (0, 2, -1, 1, -2, 0)))
    free = usual([wide], FLOOR, replace(LENGTHS, ceiling_nm=10**9), MM)
    assert free.ask_nm is not None
    between = replace(LENGTHS, ceiling_nm=2 * free.ask_nm)
    found = usual([wide], FLOOR, between, MM)
    assert (found.ask_nm, found.stop_nm) == (free.ask_nm, 2 * free.ask_nm)
    assert "ceiling_before_stop" in found.reasons
    inside = usual([wide], FLOOR, replace(LENGTHS, ceiling_nm=free.ask_nm // 2), MM)
    assert inside.ask_nm == inside.stop_nm == free.ask_nm // 2 // 1000 * 1000
    assert "ceiling_narrows" in inside.reasons


def test_no_ask_line_is_finer_than_the_least() -> None:
    exact = seating("a", 0, 0, 0, 0, 0, 0)
    found = usual([exact], FloorInputs(100, 100), LENGTHS, MM)
    assert found.ask_nm == 10_000
    assert "least_ask" in found.reasons
    assert (usual([exact], FloorInputs(100, 100), CHOICE, MM).ask_nm or 0) < 10_000


@pytest.mark.parametrize(
    ("history", "early"),
    [
        ([days("a", [0] * 4, "2026-11-01", "2026-11-04")], True),
        ([days("a", [0] * 5, "2026-11-01", "2026-11-04")], False),
        ([days("a", [0] * 9, "2026-11-01", "2026-11-01")], True),
        ([days("a", [0] * 4, "2026-11-01", "2026-11-01"), days("b", [0], "2026-11-02", "2026-11-02")], False),
    ],
)
def test_until_five_setups_over_two_days_the_stop_line_is_the_ceiling(
    history: list[SeatingValues], early: bool
) -> None:
    found = usual(history, FLOOR, LENGTHS, MM)
    assert found.is_early is early
    assert found.stop_nm == (500_000 if early else 100_000)
    assert ("early" in found.reasons) is early


def test_a_stop_line_of_no_length_is_refused() -> None:
    with pytest.raises(errors.StopLengthNotPositiveError) as refused:
        LinesChoice(stop_length_nm=0)
    assert refused.value.code == "usual.stop_length_not_positive"


def test_what_lines_share_is_added_to_the_square_of_what_they_come_to_alone() -> None:
    """JCGM 100:2008, 5.2.2: the mixed terms stand beside the squares, under one root."""
    alone = FloorInputs(u_probe_nm=3_000, u_axis_nm=4_000, u_seat_nm=0)
    square = combined_uncertainty_nm(alone, MM) ** 2
    for shared_nm2 in (11e6, -7e6):
        with_shared = combined_uncertainty_nm(replace(alone, shared_nm2=shared_nm2), MM)
        assert with_shared**2 == pytest.approx(square + shared_nm2)
