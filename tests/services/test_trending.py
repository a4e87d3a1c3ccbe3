"""Reading how a fixture's axis behaves."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from tests.kit.house import House
from tests.kit.past import keep_past, rows_of, setup_id
from tests.kit.shop import CENTRES_NM
from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.usual.moved import begun_back
from webapp.domain.usual.trend import described, seating_trend, values_of
from webapp.domain.usual.usual import usual
from webapp.services.errors import NoSuchFixture, NoSuchSeating, NoSuchValue
from webapp.services.numbers import seatings, trending
from webapp.services.numbers.long_axis import STRETCH, Counting
from webapp.services.sheets import preparing
from webapp.words import say


def scattered(count: int, off_nm: int = 0) -> list[int]:
    chance = random.Random(11)
    return [CENTRES_NM["X"] + off_nm + round(chance.gauss(0, 6)) * 1000 for _ in range(count)]


def test_the_trend_of_the_present_seating_has_the_very_usual_of_the_sheet(house: House) -> None:
    keep_past(house, scattered(25))
    found = trending.trend(house.store, "vise-a", "X")
    assert found.chosen == "vise-a-1"
    assert found.now.usual == preparing.usuals(house.store, "mill-1")["X"]
    assert [point.row.value_nm for point in found.now.points] == scattered(25)
    assert found.now.points[0].row.person == "mara"
    assert found.now.points[0].row.has_page


def test_seatings_are_shown_each_by_itself_and_one_can_be_asked_for(house: House) -> None:
    keep_past(house, scattered(20))
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
    keep_past(house, scattered(10, 80_000), seating="vise-a-2", first=101)
    now = trending.trend(house.store, "vise-a", "X")
    assert (now.chosen, len(now.now.points), now.now.signal_count) == ("vise-a-2", 10, 0)
    before = trending.trend(house.store, "vise-a", "X", "vise-a-1")
    assert [len(one.points) for one in before.trends] == [20]
    both = trending.trend(house.store, "vise-a", "X", trending.EVERY_SEATING)
    assert [len(one.points) for one in both.trends] == [20, 10]
    assert both.trends[0] == before.now
    assert both.now == now.now


def test_what_is_not_there_is_refused_by_name(house: House) -> None:
    for fixture, axis in (("vise-z", "X"), ("vise-a", "W"), ("", "X")):
        with pytest.raises(NoSuchFixture):
            trending.trend(house.store, fixture, axis)
    with pytest.raises(NoSuchSeating):
        trending.trend(house.store, "vise-a", "X", "vise-b-1")
    with pytest.raises(NoSuchValue):
        trending.with_and_without(house.store, "vise-a", "X", setup_id(1))
    with pytest.raises(NoSuchFixture):
        trending.fixture_name(house.store, "vise-z")


def test_a_value_is_shown_with_the_usual_that_would_be_without_it_and_the_other_way_round(
    house: House,
) -> None:
    values = scattered(12)
    values[5] += 300_000
    ids = keep_past(house, values)
    both = trending.with_and_without(house.store, "vise-a", "X", ids[5])
    assert both.is_suspect
    assert (both.number, both.verdict, both.row.value_nm) == (6, "stop", values[5])
    assert (both.now.usual.n_values, both.other.usual.n_values) == (12, 11)
    seatings.leave_out(house.store, ids[5], "X", "A chip.", "ines", house.clock())
    gone = trending.with_and_without(house.store, "vise-a", "X", ids[5])
    assert gone.now.usual == both.other.usual
    assert gone.other == both.now
    assert gone.now == both.other
    assert (gone.number, gone.row.left_out_reason, gone.is_suspect) == (6, "A chip.", False)


def test_a_value_of_an_earlier_seating_is_weighed_as_the_whole_seating_read_row_by_row_is(
    house: House,
) -> None:
    values = [value + (90_000 if place >= 250 else 0) for place, value in enumerate(scattered(300))]
    ids = keep_past(house, values)
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
    keep_past(house, scattered(40, 500_000), seating="vise-a-2", first=401)
    seatings.leave_out(house.store, ids[3], "X", "A chip.", "ines", house.clock())
    for place, reason in ((280, None), (3, "A chip.")):
        one = trending.with_and_without(house.store, "vise-a", "X", ids[place])
        assert (one.number, one.seating["id"], one.row.left_out_reason) == (place + 1, "vise-a-1", reason)
        row = rows_of(house.store, "vise-a", "X")[0]
        turned = tuple(
            replace(kept, left_out_reason="Else." if reason is None else None) if kept == one.row else kept
            for kept in row.rows
        )
        for rows, counting in ((row.rows, one.now), (turned, one.other)):
            parts = one.parts.floor, one.parts.choice, one.parts.machine.display
            whole = seating_trend([replace(row, rows=rows)], *parts)
            assert counting == Counting(whole.usual, whole.signal_count)
            assert counting.signals > 0


def test_a_seating_begun_back_is_weighed_as_the_whole_seating_read_row_by_row_is(house: House) -> None:
    values = [value + (90_000 if place >= 60 else 0) for place, value in enumerate(scattered(90))]
    ids = keep_past(house, values)
    seatings.leave_out(house.store, ids[3], "X", "A chip.", "ines", house.clock())
    for one, reason in ((ids[70], STAYED_OUT), (ids[71], "A chip."), (ids[50], STAYED_OUT)):
        with house.store.writing():
            house.store.kept.leave_out(one, "X", reason)
    found = trending.begun_with(house.store, "vise-a", "X", ids[60])
    parts = found.parts.floor, found.parts.choice, found.parts.machine.display
    whole = rows_of(house.store, "vise-a", "X")
    assert (found.number, found.row) == (61, whole[0].rows[60])
    assert found.now == usual(list(map(values_of, whole)), *parts)
    assert found.other == usual(list(map(values_of, begun_back(whole, ids[60]))), *parts)
    assert (found.now.n_values, found.other.n_values) == (86, 29)
    for there in (ids[0], setup_id(500)):
        with pytest.raises(NoSuchValue):
            trending.begun_with(house.store, "vise-a", "X", there)


def test_the_words_of_a_chart_of_one_value_speak_of_one(house: House) -> None:
    keep_past(house, [CENTRES_NM["X"]])
    found = trending.trend(house.store, "vise-a", "X")
    (said,) = described(found.now, found.parts.machine.display)
    assert say(said.code, said.fields).startswith("1 value, ")


def test_the_overview_has_every_fixture_with_each_axis_that_is_touched(house: House) -> None:
    keep_past(house, scattered(12))
    found = {one["fixture"]: one for one in trending.overview(house.store)}
    assert set(found) == {"vise-a", "vise-b"}
    assert [row["axis"] for row in found["vise-a"]["axes"]] == ["X", "Y", "Z"]
    counted = {row["axis"]: row["glance"] and row["glance"].counted for row in found["vise-a"]["axes"]}
    assert (counted["X"], counted["Y"]) == (12, 0)
    assert found["vise-b"]["machine_name"] == "Dunlin"
    assert not any(row["own_choice"] for one in found.values() for row in one["axes"])


@pytest.mark.parametrize("count", [51, 53, 60, 130])
def test_every_page_of_a_seating_has_its_one_baseline_and_says_the_same_of_it(
    house: House, count: int
) -> None:
    keep_past(house, scattered(count))
    newest = trending.trend(house.store, "vise-a", "X").now
    seen = [point.number for point in newest.shown.points]
    assert newest.chart is not None
    for start in range(STRETCH, count, STRETCH):
        older = trending.trend(house.store, "vise-a", "X", start=start).now
        assert older.chart is not None
        assert (older.chart.baseline, older.chart.centre_nm, older.chart.sigma_nm) == (
            30, newest.chart.centre_nm, newest.chart.sigma_nm,
        )  # fmt: skip
        assert (older.notes, older.usual) == (newest.notes, newest.usual) == ((), newest.usual)
        seen = [point.number for point in older.shown.points] + seen
    assert seen == list(range(1, count + 1))


def test_a_suspect_is_listed_on_every_page_however_old_it_is(house: House) -> None:
    values = scattered(310)
    values[7] += 900_000
    ids = keep_past(house, values)
    for one in (ids[2], ids[9]):
        seatings.leave_out(house.store, one, "X", "A chip.", "ines", house.clock())
    for start in (0, 50, 300):
        found = trending.trend(house.store, "vise-a", "X", start=start)
        assert [(one.number, one.row.setup_id) for one in found.suspects] == [(8, ids[7])]
        assert (found.suspects[0].row.value_nm, found.suspects[0].row.person) == (values[7], "tomas")
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
    assert trending.trend(house.store, "vise-a", "X").suspects == ()
    assert trending.trend(house.store, "vise-a", "X", "vise-a-1").suspects == found.suspects
