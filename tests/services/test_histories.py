"""What is kept in memory of an axis' past is never anything but what the store says."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from contextlib import suppress

import pytest

from tests.kit.house import House
from tests.kit.past import keep_past, setup_id
from tests.kit.shop import CENTRES_NM
from webapp.domain.usual.usual import LinesChoice, Usual, usual
from webapp.services.numbers import choosing, histories, seatings, trending
from webapp.services.sheets import fitted_machines, preparing
from webapp.store import Store


class TakenBack(Exception):
    """Ends a transaction so that nothing of it stays."""


def worked_out_anew(house: House, axis: str = "X") -> Usual:
    """The usual from a store that was opened just now, by the domain alone."""
    other = Store.open(house.folder / "zerokeep.db")
    try:
        with other.reading():
            parts = fitted_machines.axis_parts(other, "vise-a", axis)
            history = histories.seating_history(other, "vise-a", axis)
            return usual(history, parts.floor, parts.choice, parts.machine.display)
    finally:
        other.close()


def keep(house: House, count: int = 20, first: int = 1) -> list[str]:
    chance = random.Random(first)
    values = [CENTRES_NM["X"] + round(chance.gauss(0, 15)) * 1000 for _ in range(count)]
    return keep_past(house, values, first=first)


CHANGES: dict[str, Callable[[House], object]] = {
    "a value more": lambda house: keep(house, 1, first=50),
    "an older value": lambda house: keep_past(house, [CENTRES_NM["X"] + 90_000], first=0),
    "more changes than are followed": lambda house: keep(house, histories.MOST_CHANGES + 1, first=50),
    "a value left out": lambda house: seatings.leave_out(
        house.store, setup_id(3), "X", "A chip.", "ines", house.clock()
    ),
    "a new seating": lambda house: seatings.start_seating(
        house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock()
    ),
    "another choice": lambda house: choosing.choose(
        house.store, "vise-a", "X", LinesChoice(5, 50), "More asks.", "ines", house.clock()
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_every_change_is_seen_by_the_next_sheet(house: House, name: str) -> None:
    keep(house)
    before = preparing.usuals(house.store, "mill-1")["X"]
    CHANGES[name](house)
    after = preparing.usuals(house.store, "mill-1")["X"]
    assert after != before
    assert after == worked_out_anew(house)


def test_any_row_of_changes_ends_where_reading_anew_ends(house: House) -> None:
    keep(house)
    chance, out = random.Random(5), set()
    for turn in range(40):
        number = chance.randint(1, 20)
        if number in out:
            seatings.take_in(house.store, setup_id(number), "X", "Back.", "ines", house.clock())
            out.remove(number)
        else:
            seatings.leave_out(house.store, setup_id(number), "X", "A chip.", "ines", house.clock())
            out.add(number)
        if turn == 20:
            seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
        if turn % 3 == 0:
            keep_past(house, [CENTRES_NM["X"] + turn * 1000], first=100 + turn)
        if turn % 2:
            assert preparing.usuals(house.store, "mill-1")["X"] == worked_out_anew(house)


def test_a_value_that_is_gone_from_the_store_is_gone_from_the_usual(house: House) -> None:
    keep(house)
    before = preparing.usuals(house.store, "mill-1")["X"]
    other = sqlite3.connect(house.folder / "zerokeep.db")
    other.execute("DELETE FROM kept_value WHERE setup = ?", (setup_id(7),))
    other.commit()
    other.close()
    after = preparing.usuals(house.store, "mill-1")["X"]
    assert after.n_values == before.n_values - 1
    assert after == worked_out_anew(house)


def test_a_change_that_was_taken_back_leaves_no_trace(house: House) -> None:
    keep(house)
    before = preparing.usuals(house.store, "mill-1")["X"]
    with suppress(TakenBack), house.store.writing():
        house.store.kept.leave_out(setup_id(1), "X", "A chip.")
        inside = histories.seating_history(house.store, "vise-a", "X")
        assert sum(len(one.values_nm) for one in inside) == 19
        raise TakenBack
    assert preparing.usuals(house.store, "mill-1")["X"] == before
    seatings.leave_out(house.store, setup_id(2), "X", "Another chip.", "ines", house.clock())
    assert preparing.usuals(house.store, "mill-1")["X"] == worked_out_anew(house)


def test_a_change_by_another_process_is_seen(house: House) -> None:
    keep(house)
    before = preparing.usuals(house.store, "mill-1")["X"]
    other = Store.open(house.folder / "zerokeep.db")
    seatings.leave_out(other, setup_id(4), "X", "A chip.", "ines", house.clock())
    other.close()
    after = preparing.usuals(house.store, "mill-1")["X"]
    assert after.n_values == before.n_values - 1
    assert after == worked_out_anew(house)


def test_with_nothing_changed_nothing_is_read_or_worked_out_again(house: House) -> None:
    keep(house)
    with house.store.reading():
        first = histories.seating_history(house.store, "vise-a", "X")
        assert histories.seating_history(house.store, "vise-a", "X") is first
        parts = fitted_machines.axis_parts(house.store, "vise-a", "X")
        inputs = parts.floor, parts.choice, parts.machine.display
        one = histories.usual_of(house.store, "vise-a", "X", first, *inputs)
        assert histories.usual_of(house.store, "vise-a", "X", first, *inputs) is one
        assert histories.usual_of(house.store, "vise-a", "X", tuple(first), *inputs) is one
        assert histories.usual_of(house.store, "vise-a", "X", list(first), *inputs) == one
        assert one == usual(first, *inputs)


def test_the_store_counts_each_axis_by_itself(house: House) -> None:
    with house.store.reading():
        assert house.store.kept.changes_of_values("vise-a", "X") == 0
    keep(house, 3)
    with house.store.reading():
        assert house.store.kept.changes_of_values("vise-a", "X") == 3
        assert house.store.kept.changes_of_values("vise-a", "Y") == 0


def test_what_is_kept_is_followed_inside_a_transaction_that_writes_and_forgotten_with_it(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(house)
    with house.store.reading():
        before = histories.seating_history(house.store, "vise-a", "X")
    monkeypatch.setattr(histories, "_read", lambda *_: pytest.fail("all values were read again"))
    with suppress(TakenBack), house.store.writing():
        assert histories.seating_history(house.store, "vise-a", "X") is before
        house.store.kept.leave_out(setup_id(3), "X", "A chip.")
        (inside,) = histories.seating_history(house.store, "vise-a", "X")
        assert set(before[0].setup_ids) - set(inside.setup_ids) == {setup_id(3)}
        raise TakenBack
    with house.store.reading():
        assert histories.seating_history(house.store, "vise-a", "X") is before


def test_what_is_kept_is_bounded_by_the_values_held_and_not_by_how_many_axes_there_are(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Thirty machines with three axes each are asked for one after the other, again and again."""
    places = [(f"vise-{number}", axis) for number in range(30) for axis in "XYZ"]

    def read_again() -> int:
        statements: list[str] = []
        house.store._database._connection().set_trace_callback(statements.append)
        with house.store.reading():
            for place in places:
                histories.seating_history(house.store, *place)
        house.store._database._connection().set_trace_callback(None)
        return sum("FROM kept_value" in one for one in statements)

    assert (read_again(), read_again()) == (90, 0)
    keep(house, 20)
    keep_past(house, [CENTRES_NM["Y"]] * 20, first=60, axis="Y")
    places[:] = [("vise-a", "X"), ("vise-a", "Y")]
    assert read_again() == 0  # followed by the sheet that was compiled meanwhile
    monkeypatch.setattr(histories, "MOST_VALUES", 30)
    assert (read_again(), read_again()) == (1, 2)  # of two with twenty values each one has to go


def test_the_fixtures_page_says_what_the_trend_itself_says(house: House) -> None:
    """At a glance and value by value are worked out on two ways."""
    keep(house, 40)
    seatings.leave_out(house.store, setup_id(3), "X", "A chip.", "ines", house.clock())
    keep_past(house, [CENTRES_NM["X"] + 900_000], first=90)
    for again in range(2):
        (glance,) = [
            axis["glance"]
            for one in trending.overview(house.store)
            for axis in one["axes"]
            if (one["fixture"], axis["axis"]) == ("vise-a", "X")
        ]
        found = trending.trend(house.store, "vise-a", "X")
        now = found.now
        assert glance is not None
        assert now.signal_count > 0
        assert found.suspects
        assert (glance.usual, glance.counted, glance.signals, glance.suspects) == (
            now.usual, len(now.counted), now.signal_count, len(found.suspects),
        )  # fmt: skip
        seatings.leave_out(house.store, setup_id(10 + again), "X", "A chip.", "ines", house.clock())
