"""When a difference matters: false asks, caught shifts, and the curve of choices."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual import limits
from webapp.domain.usual.false_asks import false_asks
from webapp.domain.usual.limits import (
    CHOICES_ONE_IN,
    ChanceNotBetweenError,
    LimitsWithoutValueError,
    _above,
    ask_rate,
    caught_shift_nm,
    curve,
    in_words,
    line,
    line_nm,
    not_around,
)
from webapp.domain.usual.usual import (
    FloorInputs,
    LinesChoice,
    SeatingValues,
    Usual,
    usual,
)
from webapp.words import say

MM = Display(Unit.MM, 3)
FINE = Display(Unit.MM, 6)
INCH = Display(Unit.INCH, 4)
BASE = -412_305_000
NO_FLOOR = FloorInputs(0, 0)
CHOICE = LinesChoice()
TEN = [0, 12_000, -9_000, 4_000, 21_000, -15_000, 6_000, -2_000, 9_000, -11_000]


def found(
    values: list[int], floor: FloorInputs = NO_FLOOR, display: Display = MM, choice: LinesChoice = CHOICE
) -> Usual:
    return usual([SeatingValues.of("a", [BASE + value for value in values])], floor, choice, display)


@pytest.mark.parametrize("values", [[0], [0, 7_000], TEN, [0] * 6], ids=["one", "two", "ten", "equal"])
@pytest.mark.parametrize("floor", [NO_FLOOR, FloorInputs(3_000, 4_000)], ids=["no floor", "floor"])
@pytest.mark.parametrize("display", [MM, INCH, FINE], ids=["mm", "inch", "fine"])
@pytest.mark.parametrize("ceiling_nm", [500_000, 20_000])
def test_the_line_is_the_one_on_the_sheet(
    values: list[int], floor: FloorInputs, display: Display, ceiling_nm: int
) -> None:
    for one_in in (20, 100, 900):
        choice = LinesChoice(one_in, 1000, ceiling_nm)
        sheet = found(values, floor, display, choice)
        assert line_nm(sheet, one_in, choice, display) == sheet.ask_nm


def test_the_false_asks_of_a_line_are_those_that_were_chosen() -> None:
    sheet = found(TEN, display=FINE)
    for one in curve(sheet, CHOICE, FINE):
        # Less what a step of the display is beside the narrowest lines that such a history can draw.
        assert one.false_asks_per_100 == pytest.approx(100 / one.one_in, rel=2e-3)


def test_the_half_step_of_the_display_is_counted() -> None:
    sheet = found(TEN)
    s = (sheet.s_nm or 0) * math.sqrt(1.106)
    by_hand = 2 * stats.t.sf((30_000 + 500) / s, 0.57 * 9 + 0.3)
    assert ask_rate(30_000, sheet, MM) == pytest.approx(by_hand, rel=1e-3)


def test_a_wide_floor_asks_less_and_a_ceiling_more_than_was_chosen() -> None:
    wide = line(found(TEN, FloorInputs(30_000, 0)), 100, CHOICE, MM)
    assert wide.false_asks_per_100 < 0.3
    choice = LinesChoice(ceiling_nm=10_000)
    low = line(found(TEN, choice=choice), 100, choice, MM)
    assert low.false_asks_per_100 > 30


@pytest.mark.parametrize("n", [6, 10, 30])
def test_the_caught_shift_is_caught_nine_times_in_ten(n: int) -> None:
    chance = np.random.default_rng(n)
    sheet = found([round(value) for value in chance.normal(0, 10_000, n)], display=FINE)
    assert sheet.s_nm is not None
    shift = caught_shift_nm(sheet.ask_nm or 0, sheet, FINE)
    # A shop whose true spread is s, seen through other values each time, with the line that those give.
    caught, rounds = 0.0, 1500
    for _ in range(rounds):
        seen = found([round(value) for value in chance.normal(0, sheet.s_nm, n)], display=FINE)
        assert seen.centre_nm is not None
        assert seen.ask_nm is not None
        high = (seen.centre_nm - BASE + seen.ask_nm - shift) / sheet.s_nm
        low = (seen.centre_nm - BASE - seen.ask_nm - shift) / sheet.s_nm
        caught += float(stats.norm.sf(high) + stats.norm.cdf(low)) / rounds
    assert caught == pytest.approx(0.9, abs=0.035)


def test_without_a_spread_the_floor_is_taken_as_known() -> None:
    sheet = found([0], FloorInputs(3_000, 4_000), FINE)
    error = 5_000 * math.sqrt(2)
    assert ask_rate(error * 2, sheet, FINE) == pytest.approx(2 * stats.norm.sf(2), rel=1e-3)
    assert caught_shift_nm(2 * error, sheet, FINE) == pytest.approx(
        error * (2 + stats.norm.ppf(0.9)), rel=1e-3
    )


@pytest.mark.parametrize("degrees", [2, 4, 10, 60, 500])
@pytest.mark.parametrize("shift", [0.1, 2.0, 6.0, 40.0])
@pytest.mark.parametrize("at", [-40.0, -9.0, -1.0, 0.5, 3.0, 12.0, 60.0])
def test_the_noncentral_t_is_right_in_the_tails_too(degrees: int, shift: float, at: float) -> None:
    def density(w: float) -> float:
        """Of the ratio of s and sigma, times the normal below."""
        return float(
            stats.norm.cdf(at * w - shift) * 2 * degrees * w * stats.chi2.pdf(degrees * w * w, degrees)
        )

    by_hand, _ = integrate.quad(density, 0, 8, points=[0.5, 1, 2, abs(shift / at)], limit=200)
    assert 1 - _above(np.array([at]), shift, degrees)[0] == pytest.approx(by_hand, abs=1e-7)


def test_a_rarer_question_catches_only_larger_shifts() -> None:
    points = curve(found(TEN), CHOICE, MM)
    assert [point.one_in for point in points] == list(CHOICES_ONE_IN)
    for narrow, wide in pairwise(points):
        assert narrow.ask_nm <= wide.ask_nm
        assert narrow.false_asks_per_100 >= wide.false_asks_per_100
        assert narrow.caught_nm <= wide.caught_nm


def test_a_line_so_narrow_that_chance_crosses_it_catches_every_shift() -> None:
    assert caught_shift_nm(0, found(TEN), MM, chance=0.5) == 0


def test_equal_values_are_given_what_the_display_hides() -> None:
    sheet = found([0] * 6)
    one = line(sheet, 100, CHOICE, MM)
    assert sheet.s_nm == 0
    assert one.said == "fewer than 0.1"
    assert math.isfinite(one.caught_nm)


def test_equal_values_under_a_coarse_display_have_a_range_however_wide_the_floor() -> None:
    assert line(found([0] * 6, FloorInputs(6_000, 0)), 100, CHOICE, MM).range_per_100 is not None


@pytest.mark.parametrize(("scatter_nm", "step_nm"), [(1_000.0, 1_000), (10_000.0, 10_000), (2_540.0, None)])
def test_a_range_is_told_below_one_step_of_spread_and_not_from_there_on(
    scatter_nm: float, step_nm: int | None
) -> None:
    sheet = replace(found(TEN), s_nm=scatter_nm, step_nm=step_nm)
    below = replace(sheet, s_nm=(step_nm or 1_000) - 1.0)
    assert line(sheet, 100, CHOICE, MM).range_per_100 is None
    assert line(below, 100, CHOICE, MM).range_per_100 is not None


def test_a_range_is_told_of_a_hundred_setups() -> None:
    coarse, choice = replace(found(TEN), s_nm=900.0), LinesChoice(2, 1000)
    asked = false_asks(coarse, 2, choice, MM)
    assert 0 < asked.least < asked.most < 1
    assert line(coarse, 2, choice, MM).range_per_100 == (100 * asked.least, 100 * asked.most)


@pytest.mark.parametrize(
    ("asks", "ends", "said"),
    [
        (15.0, (10.0, 20.0), "15 (10 to 20)"),
        (1.0, (0.9, 1.1), "1 (0.9 to 1.1)"),
        (15.0, (15.2, 15.4), "15"),
        (10.0, None, "10"),
    ],
)
def test_false_asks_are_said_of_a_hundred_setups_with_their_range(
    asks: float, ends: tuple[float, float] | None, said: str
) -> None:
    assert limits.Line(100, 41_000, asks, 52_000.0, ends).said == said


def test_the_choices_are_round_numbers_the_rarest_last() -> None:
    assert {str(one).rstrip("0") for one in CHOICES_ONE_IN} <= {"1", "15", "2", "3", "5", "75"}
    assert sorted(set(CHOICES_ONE_IN)) == list(CHOICES_ONE_IN)


def test_what_a_named_factor_does_is_told_in_widths_without_a_sign() -> None:
    sheet = found([0], FloorInputs(3_000, 4_000))
    (told,) = limits.factor_in_words(sheet, LinesChoice(coverage_factor=2.0), MM)
    assert told.code == "limits.factor_rules"
    assert told.fields["ask"] == f"{2 * sheet.u_b_nm * sheet.root / 1e6:.3f}"
    assert not {"+", "−"} & set(f"{told.fields['ask']}{told.fields['stop']}")


def test_no_value_has_no_line() -> None:
    with pytest.raises(LimitsWithoutValueError):
        line(usual([SeatingValues("a")], NO_FLOOR, CHOICE, MM), 100, CHOICE, MM)


@pytest.mark.parametrize("chance", [0.0, 1.0, -1.0, 2.0, math.nan])
def test_a_chance_of_nothing_or_certainty_is_refused(chance: float) -> None:
    with pytest.raises(ChanceNotBetweenError):
        caught_shift_nm(10_000, found(TEN), MM, chance)


def test_touches_that_do_not_lie_around_the_usual_are_told_of() -> None:
    one = line(found(TEN), 100, CHOICE, MM)
    assert not_around(0, 20, one) == not_around(1, 20, one) == not_around(2, 20, one) == ()
    (told,) = not_around(6, 20, one)
    assert told.fields == {"beyond": 6, "count": 20}
    assert "does not lie still" in say(told.code, told.fields)


@pytest.mark.parametrize(
    ("one_in", "false_asks_per_100", "told"),
    [(1_000, 0.05, False), (1_001, 0.05, True), (2_000, 0.1001, False), (2_000, 0.0999, True)],
)
def test_one_touch_beyond_tells_where_chance_alone_gives_fewer_than_one_in_a_thousand(
    one_in: int, false_asks_per_100: float, told: bool
) -> None:
    """Of one touch the binomial chance is the chance itself: what was chosen, or what is had if more."""
    chosen = limits.Line(one_in, 41_000, false_asks_per_100, 52_000.0)
    assert bool(not_around(1, 1, chosen)) == told


def test_words_come_first() -> None:
    sheet = found(TEN)
    said = [say(one.code, one.fields) for one in in_words(sheet, line(sheet, 100, CHOICE, MM), MM)]
    assert said[0] == (
        "Here a difference of more than 0.057 mm is asked about. By chance that happens in 0.9 of 100 setups."
    )
    assert "nine times in ten" in said[1]
    assert "10 values" in said[2]
    few = found([0], FloorInputs(3_000, 4_000))
    assert in_words(few, line(few, 100, CHOICE, MM), MM)[-1].code == "limits.spread_not_known"


@given(
    st.lists(st.integers(-40, 40), min_size=3, max_size=12),
    st.integers(-10_000, 10_000),
    st.sampled_from([10, 100, 700]),
)
def test_adding_a_constant_changes_no_line_no_rate_and_no_caught_shift(
    steps: list[int], constant: int, one_in: int
) -> None:
    here, there = (
        line(found([(step + shift) * 1000 for step in steps]), one_in, CHOICE, MM) for shift in (0, constant)
    )
    assert here == there


@given(st.lists(st.integers(-40, 40), min_size=3, max_size=12), st.sampled_from([10, 100, 700]))
def test_an_inch_shop_and_a_metric_shop_with_the_same_steps_get_the_same_rates(
    steps: list[int], one_in: int
) -> None:
    metric = line(found([step * 1_000 for step in steps]), one_in, LinesChoice(ceiling_nm=10**9), MM)
    inch = line(
        found([step * 2_540 for step in steps], display=INCH), one_in, LinesChoice(ceiling_nm=10**9), INCH
    )
    assert inch.ask_nm / 2_540 == metric.ask_nm / 1_000
    assert inch.false_asks_per_100 == pytest.approx(metric.false_asks_per_100, rel=1e-9)
    assert inch.caught_nm / 2_540 == pytest.approx(metric.caught_nm / 1_000, rel=1e-9)


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.0004, "fewer than 0.1"),
        (0.0005, "0.1"),
        (0.05, "5"),
        (0.9, "90"),
        (0.994, "99"),
        (0.995, "more than 99"),
    ],
)
def test_a_chance_is_said_of_a_hundred(chance: float, said: str) -> None:
    assert limits.of_100(chance) == said
