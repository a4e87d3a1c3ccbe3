"""A slice of the figures at small counts, and that each of them can get worse."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from itertools import islice

import numpy as np
import pytest
from scipy import special

from tests.quality import __main__ as command
from tests.quality import arrays, coarse, factors, resisting, signals
from tests.quality.histories import THOUSANDTH, ask_chance, earlier, lines, place_nm, seating
from tests.quality.rows import Part, Row, per_cent_of
from tests.quality.run_length import PUBLISHED
from webapp.domain.figures import alike, neighbours
from webapp.domain.usual import drift, usual

SEED = 20261129


def holding(rows: Iterator[Row]) -> list[Row]:
    """Return the rows whose figure lies outside its bound by more than four standard errors."""
    return [row for row in rows if not _low(row) - 4 * row.error <= row.figure <= _high(row) + 4 * row.error]


def _low(row: Row) -> float:
    return -math.inf if row.low is None else row.low


def _high(row: Row) -> float:
    return math.inf if row.high is None else row.high


def test_one_gross_value_hardly_moves_the_centre() -> None:
    assert holding(resisting.centre(150, SEED)) == []


@pytest.mark.parametrize(("n", "before"), [(8, 0), (20, 0), (1, 3), (10, 3), (50, 3)])
def test_clean_touches_are_asked_about_once_in_a_hundred(n: int, before: int) -> None:
    rate, error, _ = resisting.asks(900, [SEED, n, before], n, before, 1)
    assert 0.7 - 3 * error < rate < 1.25 + 3 * error


@pytest.mark.parametrize("times", [0.9, 1.1, 2.0])
def test_a_line_a_tenth_off_would_be_seen(times: float) -> None:
    # The same histories, the line as it is and moved:
    # what is asked by chance changes by far more than its error.
    chance = np.random.default_rng(SEED)
    shares: list[float] = []
    moved: list[float] = []
    for _ in range(400):
        at = place_nm(chance)
        now = seating("now", at + 20_000 * chance.standard_normal(20), THOUSANDTH)
        found = lines([*earlier(chance, 3, 20_000, THOUSANDTH), now], THOUSANDTH)
        shares.append(100 * ask_chance(found, at, 20_000, THOUSANDTH))
        other = usual.Usual(**{**vars(found), "ask_nm": round((found.ask_nm or 0) * times)})
        moved.append(100 * ask_chance(other, at, 20_000, THOUSANDTH))
    assert 0.7 < np.mean(shares) < 1.25
    assert not 0.7 < np.mean(moved) < 1.25


def verdicts(rows: Iterator[Row]) -> set[str]:
    return {row.verdict for row in rows}


@pytest.mark.parametrize("times", [0.9, 1.1, 2.0])
def test_the_table_says_so_where_lines_are_a_tenth_off_or_twice_too_wide(
    monkeypatch: pytest.MonkeyPatch, times: float
) -> None:
    whole = special.stdtrit
    assert verdicts(islice(resisting.clean(4_000, SEED), 6)) == {"holds"}
    monkeypatch.setattr(arrays.special, "stdtrit", lambda degrees, share: times * whole(degrees, share))
    assert "DOES NOT HOLD" in verdicts(islice(resisting.clean(4_000, SEED), 6))


@pytest.mark.parametrize(
    ("room", "name", "value", "rows"),
    [
        (alike, "SCATTERS_MORE_LEVEL", 0.0, resisting.changed),
        (neighbours, "MOST_FOR_SETTING_ASIDE", 0, resisting.centre),
        (neighbours, "LEAST_CUT_DEVIATIONS", 50.0, resisting.spread),
        (drift, "LEAST_STEPS", drift.ChartLimits(0, 0, 0), signals.new_signals),
    ],
)
def test_the_table_says_so_where_a_check_is_taken_out(
    monkeypatch: pytest.MonkeyPatch, room: object, name: str, value: object, rows: Part
) -> None:
    monkeypatch.setattr(room, name, value)
    assert "DOES NOT HOLD" in verdicts(rows(400, SEED))


def test_a_scatter_that_grew_is_seen() -> None:
    for (times, n), bound in {(2, 10): 2.5, (4, 8): 2.0}.items():
        rate, error, _ = resisting.asks(300, [SEED, times, n], n, 3, times)
        assert rate < bound + 3 * error
    assert resisting.asks(60, [SEED], 1, 3, 4)[2] == 100


def test_a_move_widens_no_line_and_depends_on_no_stretch() -> None:
    assert holding(resisting.places(150, SEED)) == []


def test_without_the_cut_a_move_would_widen_the_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(neighbours, "LEAST_CUT_DEVIATIONS", 1000.0)
    assert holding(resisting.places(60, SEED)) != []


def test_new_signals_are_few_and_a_move_is_signalled() -> None:
    assert holding(signals.new_signals(120, SEED)) == []
    assert holding(signals.caught(150, SEED)) == []


def test_the_published_limits_would_signal_too_often(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = drift.chart.__defaults__
    published = tuple(PUBLISHED if one is drift.SHOWN else one for one in shown or ())
    assert published != shown
    monkeypatch.setattr(drift.chart, "__defaults__", published)
    assert holding(signals.new_signals(120, SEED)) != []


def test_what_is_said_of_a_signal_is_true() -> None:
    assert holding(signals.said(300, SEED)) == []


def test_what_the_page_says_of_coarse_displays_is_near_the_truth() -> None:
    for spread, n, before in ((0.3, 5, 3), (0.7, 30, 0), (1.0, 5, 3), (2.0, 8, 0)):
        pages, truths, found = coarse.said(400, [SEED, n, before], spread, n, before)
        (page, page_error), (truth, true_error) = per_cent_of(pages), per_cent_of(truths)
        assert abs(page - truth) < max(0.25 * truth, 0.2) + 3 * math.hypot(page_error, true_error)
        assert all(one.ask_nm and one.stop_nm and one.ask_nm < one.stop_nm for one in found)


def test_a_typed_factor_keeps_the_lines_apart() -> None:
    assert holding(factors.rows(100, SEED)) == []


def test_the_command_ends_with_1_where_a_bound_does_not_hold(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["--part", "factors", "--count", "20"]) == 0
    assert "holds" in capsys.readouterr().out
    monkeypatch.setattr(
        command, "parts", lambda: {"bad": lambda _c, _s: iter([Row(8, "a ratio", 1.0, 1.15)])}
    )
    assert command.measure(["bad"], 20, 1, keep=False) == 1
    assert "DOES NOT HOLD" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("before", "cell"),
    [({}, "–"), ({"a ratio": 1.2345}, "1.23"), ({"a ratio": "– (no such answer)"}, "– (no such answer)")],
)
def test_a_figure_stands_beside_what_it_was_before_in_a_number_or_in_words(
    before: dict[str, float | str], cell: str
) -> None:
    assert command.line(Row(8, "a ratio, true 2", 1.5, 1.15), before).split(" | ")[2] == cell


def test_what_is_kept_says_before_what_before_json_says() -> None:
    before = json.loads(command.BEFORE.read_text(encoding="utf-8"))
    lines_kept = command.KEPT.read_text(encoding="utf-8").splitlines()
    kept = [cells for text in lines_kept if len(cells := text.split(" | ")) == 7 and cells[0][2:].isdigit()]
    said = {cells[1].split(", true ")[0]: cells[2] for cells in kept}
    meant = {what: command.line(Row(0, what, 0.0), before).split(" | ")[2] for what in said}
    assert len(said) > 200
    assert said == meant
    assert set(before) <= set(said)


@pytest.mark.parametrize(("times", "least", "most"), [(1.0, 0.0, 0.5), (2.0, 20.0, 100.0)])
def test_a_mistake_chosen_by_its_size_before_noise_is_caught_and_a_line_twice_too_wide_would_be_seen(
    times: float, least: float, most: float
) -> None:
    # Six spreads: the right line of 2.6 spreads and three more,
    # chosen without asking the program for its line.
    chance = np.random.default_rng(SEED)
    agrees = []
    for _ in range(200):
        at = place_nm(chance)
        now = seating("now", at + 20_000 * chance.standard_normal(30), THOUSANDTH)
        found = lines([*earlier(chance, 3, 20_000, THOUSANDTH), now], THOUSANDTH)
        drawn = usual.Usual(**{**vars(found), "ask_nm": round((found.ask_nm or 0) * times)})
        agrees.append(100 - 100 * ask_chance(drawn, at + 6 * 20_000, 20_000, THOUSANDTH))
    assert least <= np.mean(agrees) <= most
