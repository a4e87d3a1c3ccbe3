"""Is the vise creeping: what the charts signal, since when, how far; and what leaves them alone."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.drift import (
    Chart,
    DatedValue,
    DriftTooFewError,
    change_point,
    chart,
    say_hints,
    say_signal,
)
from webapp.words import say

MM = Display(Unit.MM, 3)
HIDDEN = 1000 / 12**0.5
BASE = -381_250_000


def dated(values_nm: list[float]) -> list[DatedValue]:
    return [
        DatedValue(
            f"setup-{place:04}",
            f"2026-{1 + place // 28:02}-{1 + place % 28:02}T09:00:00.000Z",
            BASE + round(value),
        )
        for place, value in enumerate(values_nm)
    ]


def noise(n: int, seed: int, sigma: float = 8_000) -> list[float]:
    return [float(value) for value in np.random.default_rng(seed).normal(0, sigma, n)]


def kinds(found: Chart) -> set[str]:
    return {signal.kind for signal in found.signals}


def test_a_shift_is_signalled_with_its_day_and_its_size() -> None:
    values = noise(30, 1) + [value + 24_000 for value in noise(12, 2)]
    found = chart(dated(values), HIDDEN)
    assert "ewma" in kinds(found)
    signal = next(one for one in found.signals if one.kind == "ewma")
    assert 30 <= signal.since <= 32
    assert signal.first <= 30 + 8
    assert signal.shift_nm == pytest.approx(24_000, abs=8_000)
    assert found.baseline == 30


def test_quiet_values_signal_nothing() -> None:
    found = chart(dated(noise(40, 7)), HIDDEN)
    assert found.signals == ()


def test_a_slow_creep_does_not_hide_itself_by_widening_its_limits() -> None:
    values = [value + 400 * place for place, value in enumerate(noise(120, 3))]
    found = chart(dated(values), HIDDEN)
    s_nm = float(np.std(values, ddof=1))
    assert found.sigma_nm < 0.7 * s_nm
    assert "ewma" in kinds(found)
    assert min(signal.first for signal in found.signals if signal.kind == "ewma") < 80


def test_one_wild_value_is_an_individual_and_a_jump_and_not_a_lasting_shift() -> None:
    values = noise(45, 11)
    values[38] = 60_000
    found = chart(dated(values), HIDDEN)
    single = next(one for one in found.signals if one.kind == "individuals")
    assert (single.first, single.last, single.since) == (38, 38, 38)
    assert "moving_range" in kinds(found)


def test_both_sides_of_a_run_are_signals_of_their_own() -> None:
    values = [*noise(30, 5), 50_000, 52_000, -51_000]
    found = [one for one in chart(dated(values), HIDDEN).signals if one.kind == "individuals"]
    assert [(one.first, one.last) for one in found] == [(30, 31), (32, 32)]
    assert found[0].shift_nm > 0 > found[1].shift_nm


def test_the_most_likely_start_of_a_step_is_found() -> None:
    assert change_point([0, 1, -1, 0, 9, 10, 11], 0, 1) == 4
    assert change_point([0, 1, -1, 0, -9, -10], 0, -1) == 4
    assert change_point([5], 0, 1) == 0


def test_earlier_seatings_help_to_know_the_spread() -> None:
    few = dated([0, 1_000, 0, 1_000, 0])
    alone = chart(few, HIDDEN)
    helped = chart(few, HIDDEN, [[0, 20_000, 0, 20_000]])
    assert helped.sigma_nm > 5 * alone.sigma_nm


def test_equal_values_have_the_spread_that_the_display_hides() -> None:
    found = chart(dated([0.0] * 40), HIDDEN)
    assert found.sigma_nm == pytest.approx(HIDDEN)
    assert found.signals == ()


def test_fewer_than_five_values_have_no_chart() -> None:
    with pytest.raises(DriftTooFewError) as refused:
        chart(dated([0.0] * 4), HIDDEN)
    assert refused.value.fields == {"n": 4, "least": 5}
    assert chart(dated([0.0] * 5), HIDDEN).baseline == 5


def test_a_signal_and_a_hint_are_told_in_words() -> None:
    values = noise(30, 1) + [value + 30_000 for value in noise(12, 2)]
    found = chart(dated(values), HIDDEN)
    for signal in found.signals:
        sentence = say_signal(signal, found, MM, round(found.centre_nm), "42")
        assert "42 of 100" in say(sentence.code, sentence.fields)
    assert [one.code for one in say_hints(found)] != []
    for hint in say_hints(found):
        assert say(hint.code, hint.fields).startswith("A hint")
    assert all(say(f"drift.rule_{number}", {"setup": "s"}) for number in range(1, 9))


series = st.lists(st.integers(-60, 60), min_size=5, max_size=45)


def shape(found: Chart) -> list[Any]:
    return [(one.kind, one.first, one.last, one.since) for one in found.signals]


@given(series, st.integers(-(10**6), 10**6))
def test_adding_a_constant_moves_the_chart_and_changes_no_signal(steps: list[int], constant: int) -> None:
    here = chart(dated([step * 1000 for step in steps]), HIDDEN)
    there = chart(dated([(step + constant) * 1000 for step in steps]), HIDDEN)
    assert shape(here) == shape(there)
    assert there.centre_nm - here.centre_nm == pytest.approx(constant * 1000, abs=1e-3)


@given(series)
def test_changing_the_unit_changes_no_signal(steps: list[int]) -> None:
    metric = chart(dated([step * 1_000 for step in steps]), HIDDEN)
    inch = chart(dated([step * 2_540 for step in steps]), HIDDEN * 2.54)
    assert shape(metric) == shape(inch)


@given(series, st.randoms(use_true_random=False))
def test_values_of_the_same_time_may_arrive_in_any_order(steps: list[int], chance: random.Random) -> None:
    values = [
        DatedValue(f"setup-{place:03}", f"2026-11-{1 + place // 4:02}T09:00:00.000Z", step * 1000)
        for place, step in enumerate(steps)
    ]
    shuffled = list(values)
    chance.shuffle(shuffled)
    assert chart(values, HIDDEN) == chart(shuffled, HIDDEN)
