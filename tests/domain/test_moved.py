"""Several values that moved together are one question; anything else is none."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.moved import Move, begun_back, moved_together, say_move
from webapp.domain.usual.trend import SeatingRows, TrendRow
from webapp.domain.usual.usual import FloorInputs, LinesChoice
from webapp.words import say

MM = Display(Unit.MM, 3)
FLOOR, CHOICE = FloorInputs(1500, 2000), LinesChoice()


def seating(*values_um: int, out: dict[int, str] | None = None) -> SeatingRows:
    """A seating of these values, one a day; by place, why a value was left out."""
    rows = tuple(
        TrendRow(
            f"s{place}", f"2026-10-{1 + place:02}T08:00:00.000Z", 1000 * value, "mara", (out or {}).get(place)
        )
        for place, value in enumerate(values_um)
    )
    return SeatingRows("a", "2026-09-30T00:00:00.000Z", None, "Bolted.", rows)


def scattered(count: int, seed: int = 3) -> list[int]:
    chance = random.Random(seed)
    return [round(chance.gauss(0, 6)) for _ in range(count)]


def found(one: SeatingRows) -> Move | None:
    return moved_together([one], FLOOR, CHOICE, MM)


@pytest.mark.parametrize("count", [3, 4, 7])
@pytest.mark.parametrize("by", [300, -90])
def test_values_that_lie_together_apart_from_those_before_are_one_question(count: int, by: int) -> None:
    values = scattered(12)
    move = found(seating(*values, *(by + value for value in scattered(count, 4))))
    assert move is not None
    assert (move.setup_id, move.number, move.count) == ("s12", 13, count)
    assert move.distance_nm == pytest.approx(1000 * by, abs=8000)
    assert move.before.n_values == 12 + count
    assert move.after.n_values == count
    assert move.after.centre_nm is not None
    assert abs(move.after.centre_nm - 1000 * by) < 10_000
    asked, reason = (say(one.code, one.fields) for one in say_move(move, MM))
    assert asked.startswith(f"The last {count} values lie together, ")
    assert asked.endswith("Was the fixture moved before setup 13?")
    assert reason.startswith("Moved before setup 13")


def test_values_that_stayed_out_because_they_lay_beyond_the_line_count_and_others_left_out_do_not() -> None:
    values = [*scattered(12), 300, 305, 298]
    move = found(seating(*values, out={12: STAYED_OUT, 13: STAYED_OUT, 14: STAYED_OUT}))
    assert move is not None
    assert (move.count, move.before.n_values, move.after.n_values) == (3, 12, 3)
    assert found(seating(*values, out={14: "A chip."})) is None


@pytest.mark.parametrize(
    "last",
    [[300, 305], [300, -300, 305], [300, 305, 0], [300, 900, 305], [4, -2, 6]],
    ids=["two only", "two sides", "back again", "not together", "nothing"],
)
def test_anything_less_is_no_question(last: list[int]) -> None:
    assert found(seating(*scattered(12), *last)) is None


def test_a_steady_vise_is_hardly_ever_asked_about() -> None:
    asked = sum(found(seating(*scattered(20, seed))) is not None for seed in range(300))
    assert asked <= 1


def test_nothing_before_makes_no_move() -> None:
    assert found(seating()) is None
    assert found(seating(0, 1, 300, 301, 302)) is None


def test_a_seating_begun_back_takes_what_came_since_and_lets_in_what_had_stayed_out() -> None:
    one = seating(1, 2, 3, 300, 301, 302, out={3: STAYED_OUT, 4: "A chip."})
    before, after = begun_back([one], "s3")
    assert [row.setup_id for row in before.rows] == ["s0", "s1", "s2"]
    assert [row.left_out_reason for row in after.rows] == [None, "A chip.", None]
    assert after.seating_id != before.seating_id
    assert replace(before, rows=one.rows) == one
