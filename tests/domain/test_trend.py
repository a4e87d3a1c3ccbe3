"""The trend of a seating: what is said of its values,
with few of them, with equal ones, with two seatings in one.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.trend import SeatingRows, SeatingTrend, Stretch, TrendRow, described, seating_trend
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, SetupValue
from webapp.words import say

MM, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
FLOOR, CHOICE = FloorInputs(1_500, 2_000, 4_000), LinesChoice()
CENTRE_NM = -381_250_000


def rows(
    values_nm: Sequence[int], people: Sequence[str] = ("mara", "ivo"), first: int = 0
) -> tuple[TrendRow, ...]:
    return tuple(
        TrendRow(f"s{first + n:05d}", f"2026-{1 + n // 28 % 12:02d}-{1 + n % 28:02d}T08:00:00.000Z", value,
                 people[n % len(people)], None)
        for n, value in enumerate(values_nm)
    )  # fmt: skip


def trend(*seatings: tuple[TrendRow, ...], display: Display = MM) -> SeatingTrend:
    named = [SeatingRows(f"seating-{n}", "2026-01-01", None, "Moved.", one) for n, one in enumerate(seatings)]
    return seating_trend(named, FLOOR, CHOICE, display)


def scattered(count: int, spread_steps: float = 6, seed: int = 1) -> list[int]:
    chance = random.Random(seed)
    return [CENTRE_NM + round(chance.gauss(0, spread_steps)) * 1000 for _ in range(count)]


def counted(kept: Sequence[TrendRow]) -> SeatingValues:
    found = [SetupValue(row.setup_id, row.value_nm) for row in kept if row.left_out_reason is None]
    return SeatingValues.of_setups("seating-0", found)


def codes(findings: Sequence[object]) -> list[str]:
    return [one.code for one in findings]  # type: ignore[attr-defined]


def test_no_value_is_said_so_and_has_no_lines_no_chart_and_no_words_about_one() -> None:
    found = trend(())
    assert codes(found.notes) == ["trend.no_value"]
    assert (found.points, found.chart, found.usual.centre_nm) == ((), None, None)
    assert described(found, MM) == ()


def test_one_value_makes_lines_from_the_floor_and_no_chart() -> None:
    found = trend(rows([CENTRE_NM]))
    assert codes(found.notes) == ["trend.one_value"]
    assert found.chart is None
    assert found.points[0].verdict == "agrees"
    assert found.points[0].moving_range_nm is None


def test_below_five_values_the_chart_is_said_to_be_missing() -> None:
    assert "drift.too_few" in codes(trend(rows(scattered(4))).notes)
    assert trend(rows(scattered(5))).chart is not None


def test_equal_values_have_limits_from_the_display_and_no_signal() -> None:
    found = trend(rows([CENTRE_NM] * 12))
    assert "trend.no_spread" in codes(found.notes)
    assert found.usual.s_nm == 0
    assert found.chart is not None
    assert found.chart.sigma_nm > 0
    assert found.signal_count == 0
    assert {point.verdict for point in found.points} == {"agrees"}


def test_values_of_one_person_alone_are_said_to_be_that() -> None:
    assert "trend.one_person" in codes(trend(rows(scattered(8), ["mara"])).notes)
    assert "trend.one_person" not in codes(trend(rows(scattered(8), ["mara", "ivo"])).notes)


def test_a_signal_of_one_setup_is_not_told_as_a_row() -> None:
    values = scattered(40)
    found = trend(rows([*values[:39], values[39] + 60_000]))
    said = [say(one.code, one.fields) for one in found.signals]
    assert {one.code for one in found.signals} >= {"drift.individual", "drift.moving_range"}
    assert not any("in a row" in one.lower() for one in said)


def test_two_seatings_mixed_in_one_show_as_a_signal_since_the_move_with_what_it_does_to_the_ask_rate() -> (
    None
):
    values = scattered(40)
    moved = [value + (60_000 if place >= 30 else 0) for place, value in enumerate(values)]
    found = trend(rows(moved))
    assert found.signal_count > 0
    last = found.points[-1]
    assert "individuals" in last.signals
    assert "ewma" in last.signals
    individuals = next(one for one in found.signals if one.code == "drift.individuals")
    assert individuals.fields["first_setup"] == 31
    sentence = say(individuals.code, individuals.fields)
    assert "Setup 31" in sentence
    assert "+0.06" in sentence
    apart = trend(rows(moved[:30]), rows(moved[30:], first=30))
    assert apart.signal_count == 0
    assert apart.usual.n_seatings == 2


def test_a_value_left_out_keeps_its_number_and_counts_nowhere() -> None:
    kept = list(rows(scattered(20)))
    kept[7] = replace(kept[7], value_nm=CENTRE_NM + 400_000)
    before = trend(tuple(kept))
    assert [point.number for point in before.points if point.is_suspect] == [8]
    kept[7] = replace(kept[7], left_out_reason="A chip.")
    after = trend(tuple(kept))
    assert not any(point.is_suspect for point in after.points)
    assert [point.number for point in after.points] == list(range(1, 21))
    assert len(after.counted) == 19
    assert after.points[7].ewma_nm is None
    assert after.points[7].verdict in {"ask", "stop"}
    assert after.points[8].moving_range_nm == abs(kept[8].value_nm - kept[6].value_nm)
    assert "trend.left_out" in codes(after.notes)


def test_the_words_say_the_numbers_of_the_chart() -> None:
    found = trend(rows(scattered(30)))
    text = " ".join(say(one.code, one.fields) for one in described(found, MM))
    assert found.chart is not None
    for shown in ("30 values", "2026-01-01", "−381.2", f"Signals: {found.signal_count}."):
        assert shown in text, shown


@given(
    steps=st.lists(st.integers(-40, 40), min_size=1, max_size=60),
    moved=st.integers(0, 60), jump=st.integers(-60, 60),
)  # fmt: skip
def test_an_inch_shop_and_a_metric_shop_with_the_same_vise_get_the_same_verdicts_and_signals(
    steps: list[int], moved: int, jump: int
) -> None:
    # Whole steps of 0.0001 in, shown by an inch control and by a metric one fine enough to show them exactly.
    values = [
        10_000_000 * 254 // 10 + 2540 * (step + (jump if place >= moved else 0))
        for place, step in enumerate(steps)
    ]
    inch = trend(rows(values), display=INCH)
    metric = trend(rows(values), display=Display(Unit.MM, 5))
    near = 2540 + 10
    for one, other in zip(inch.points, metric.points, strict=True):
        assert one.distance_nm is not None
        assert other.distance_nm is not None
        edge = min(
            abs(abs(other.distance_nm) - line)
            for line in (metric.usual.ask_nm or 0, metric.usual.stop_nm or 0)
        )
        assert one.verdict == other.verdict or edge <= near
    if inch.chart is not None and metric.chart is not None and inch.chart.sigma_nm > 2540:
        assert inch.chart.signals == metric.chart.signals


@given(values=st.lists(st.integers(-50, 50), min_size=5, max_size=40), shift=st.integers(-400, 400))
def test_adding_a_constant_and_the_order_of_arrival_change_no_verdict_and_no_signal(
    values: list[int], shift: int
) -> None:
    kept = rows([CENTRE_NM + 1000 * value for value in values])
    before = trend(kept)
    moved = trend(tuple(replace(row, value_nm=row.value_nm + 1_000_000 * shift) for row in reversed(kept)))
    assert [point.verdict for point in before.points] == [point.verdict for point in moved.points]
    assert [point.signals for point in before.points] == [point.signals for point in moved.points]


def test_a_stretch_says_of_its_values_what_the_whole_seating_says_of_them() -> None:
    values = scattered(400, seed=7)
    values[350] += 200_000
    kept = tuple(
        replace(row, at_utc=f"2026-01-01T{n // 60:02d}:{n % 60:02d}:00.000Z", left_out_reason=out)
        for n, row in enumerate(rows(values))
        for out in ["A chip." if n in {20, 320} else None]
    )
    whole, shown, leading = trend(kept), 100, 200
    first = len(kept) - shown - leading
    stretch = Stretch(counted(kept[:first]), counted(kept), first + 1, leading, len(kept))
    some = [SeatingRows("seating-0", "2026-01-01", None, "Moved.", kept[first:], stretch)]
    found = seating_trend(some, FLOOR, CHOICE, MM)
    assert found.usual == whole.usual
    tail = whole.points[-shown:]
    for one, other in zip(found.shown.points, tail, strict=True):
        assert one.ewma_nm == pytest.approx(other.ewma_nm, abs=1e-3)
        assert replace(one, ewma_nm=None) == replace(other, ewma_nm=None)
    assert found.shown.first_number == tail[0].number == 301
    assert found.signal_numbers == tuple(n for n in whole.signal_numbers if n > 300)
    assert found.signal_numbers
    assert found.at(351).row.setup_id == "s00350"
    assert codes(found.notes) == codes(whole.notes)


@pytest.mark.parametrize(("count", "shown"), [(300, 100), (53, 3), (51, 1), (60, 10), (4, 2)])
def test_the_oldest_values_of_a_seating_are_charted_from_the_very_baseline_of_the_newest(
    count: int, shown: int
) -> None:
    kept = rows(scattered(count, seed=3), ["mara"])
    whole = trend(kept)
    stretch = Stretch(counted(()), counted(kept), 1, 0, count)
    some = [SeatingRows("seating-0", "2026-01-01", None, "Moved.", kept[:shown], stretch)]
    found = seating_trend(some, FLOOR, CHOICE, MM, known=whole.usual)
    assert set(codes(found.notes)) == set(codes(whole.notes)) - {"trend.one_person"}
    assert (found.chart is None) == (whole.chart is None) == (count < 5)
    if found.chart and whole.chart:
        for name in ("baseline", "centre_nm", "sigma_nm", "limit_nm", "ewma_limit_nm"):
            assert getattr(found.chart, name) == getattr(whole.chart, name), name
        assert found.points == tuple(
            replace(one, signals=other.signals, ewma_nm=other.ewma_nm)
            for one, other in zip(whole.points[:shown], found.points, strict=True)
        )
        said = [say(one.code, one.fields) for one in described(found, MM)]
        assert any("largest step" in sentence for sentence in said) == (shown > 1)


def test_a_stretch_of_which_every_value_was_left_out_is_charted_empty() -> None:
    kept = tuple(replace(row, left_out_reason="A chip." if n < 3 else None)
                 for n, row in enumerate(rows(scattered(53))))  # fmt: skip
    stretch = Stretch(counted(()), counted(kept), 1, 0, len(kept))
    some = [SeatingRows("seating-0", "2026-01-01", None, "Moved.", kept[:3], stretch)]
    found = seating_trend(some, FLOOR, CHOICE, MM, known=trend(kept).usual)
    assert found.chart is not None
    assert (found.chart.points, found.signals, described(found, MM)) == ((), (), ())
    assert [(one.code, one.fields.get("count")) for one in found.notes] == [("trend.left_out", 3)]
