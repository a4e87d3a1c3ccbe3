"""The quality command's parts at small counts:
each target that must hold, and that the measuring itself can fail.

The tables with tight intervals come from `python -m tests.quality`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.kit import more
from tests.quality import false_asks, mistakes, shifts, worlds
from tests.quality.__main__ import main
from webapp.domain.usual.drift import SHOWN, chart
from webapp.domain.usual.usual import SeatingValues, Usual

SEED = 20261125
# The whole table comes from the command; here its corners, and all of it when asked for.
COUNTS, EARLIER = ((1, 2, 3, 5, 10, 30, 100), (0, 1, 4)) if more.ALL else ((1, 2, 10, 100), (0, 4))


@pytest.mark.parametrize("n", COUNTS)
@pytest.mark.parametrize("earlier", EARLIER)
def test_clean_touches_are_asked_about_as_often_as_chosen(n: int, earlier: int) -> None:
    found = false_asks.measure(n, earlier, 250, SEED)
    low, high = found.interval
    assert low <= found.rate <= high


@pytest.mark.parametrize(("n", "earlier"), [(2, 1), (2, 4)])
def test_two_values_that_agree_by_chance_do_not_ask_about_everything(n: int, earlier: int) -> None:
    # Judged by an F test with one degree of freedom these asked in 1.8 of 100.
    assert false_asks.measure(n, earlier, 600, SEED).rate < 0.014


@pytest.mark.parametrize(("n", "earlier"), [(3, 4), (30, 0), (100, 4)])
def test_heavy_tails_stay_below_two_and_a_half_times_the_chosen_rate(n: int, earlier: int) -> None:
    found = false_asks.measure(n, earlier, 400, SEED, "t5")
    assert found.rate - 3 * found.error < 0.025
    assert found.rate > 0.012


@pytest.mark.parametrize("creep", [0.02, 0.05])
def test_a_slow_creep_stays_below_two_and_a_half_times_the_chosen_rate(creep: float) -> None:
    found = false_asks.measure(100, 4, 200, SEED, creep=creep)
    assert found.rate < 0.025


def test_the_measure_sees_a_vise_that_moved() -> None:
    chance, display = np.random.default_rng(SEED), false_asks.DISPLAYS[0]
    floor = false_asks.FloorInputs(0, 0)
    clean, moved = [], []
    for _ in range(40):
        seatings, place = false_asks.history(chance, 30, 0, display, 10, "normal", 0)
        clean.append(false_asks.ask_chance(seatings, place, 10, display, floor, "normal"))
        moved.append(false_asks.ask_chance(seatings, place + 50, 10, display, floor, "normal"))
        assert isinstance(seatings[0], SeatingValues)
    assert np.mean(clean) < 0.05
    assert np.mean(moved) > 0.9


@pytest.fixture(scope="module")
def scores() -> dict[str, mistakes.Score]:
    return mistakes.run(25, SEED)


def test_every_kind_of_mistake_was_planted(scores: dict[str, mistakes.Score]) -> None:
    assert set(scores) == set(mistakes.PLANTS)
    assert all(score.planted == 25 for score in scores.values())


def test_planted_mistakes_are_caught(scores: dict[str, mistakes.Score]) -> None:
    agrees = sum(score.agrees for score in scores.values())
    planted = sum(score.planted for score in scores.values())
    # Allowed is one in a thousand; of about a thousand, more than five would show that it is not so.
    assert planted > 900
    assert agrees <= 5


@pytest.mark.parametrize("times", [1, 2])
def test_the_table_of_mistakes_says_so_where_lines_are_twice_too_wide(
    monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    real = worlds.usual

    def drawn(*history: Any) -> Usual:
        found = real(*history)
        return replace(found, ask_nm=times * (found.ask_nm or 0))

    monkeypatch.setattr(worlds, "usual", drawn)
    small = mistakes._small_chips(30, SEED)
    caught = mistakes._share("", [small], "agrees", 95)
    assert small.planted > 250
    assert caught.holds == (times == 1)


def test_planted_mistakes_are_named_first(scores: dict[str, mistakes.Score]) -> None:
    told = sum(score.told for score in scores.values())
    first = sum(score.first for score in scores.values())
    assert first / told > 0.97
    for name, score in scores.items():
        assert score.first / score.told > 0.8, name


def test_causes_that_give_the_same_value_are_both_named(scores: dict[str, mistakes.Score]) -> None:
    pairs = sum(scores[name].alike_pairs for name in scores if name.startswith("alike"))
    both = sum(scores[name].alike_both for name in scores if name.startswith("alike"))
    assert pairs > 30
    assert both / pairs > 0.95


def test_chance_is_left_to_chance() -> None:
    share, error, _ = mistakes.chance_asks(600, SEED)
    assert share - 3 * error < 0.1
    assert share < 0.2


def test_a_shift_of_two_spreads_is_signalled_within_eight_setups() -> None:
    seen = shifts.detection(2.0, 150, SEED)
    assert seen.share["either"] > 0.9
    assert shifts.detection(0.2, 60, SEED).share["either"] < 0.4


def test_the_arrays_signal_where_the_programs_charts_do() -> None:
    chance = np.random.default_rng(SEED)
    for _ in range(30):
        values = np.rint(chance.standard_normal(90) * 10_000) / 10_000
        values[60:] += 1.0
        found = chart(shifts.dated(values), hidden_nm=1000 / math.sqrt(12))
        centre = np.array([found.centre_nm / 10_000])
        sigma = np.array([found.sigma_nm / 10_000])
        first = shifts.first_signals(values[None, :], centre, sigma, SHOWN)
        for kind in ("individuals", "ewma"):
            programs = [one.first + 1 for one in found.signals if one.kind == kind]
            assert first[kind][0] == (programs[0] if programs else 90)


def test_false_signals_come_at_the_published_run_length() -> None:
    for row in shifts.run_lengths(200, SEED, known=True):
        assert abs(row.mean - shifts.published()[row.kind]) < 4 * row.error


def test_the_command_prints_its_tables(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--table", "shifts", "--count", "20"])
    assert "| 2.0 |" in capsys.readouterr().out
