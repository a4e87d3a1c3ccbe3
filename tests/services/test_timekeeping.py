"""Jumps of the server's clock:
found against a clock that only runs forward, and written down with both times.
"""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.kit.house import House
from webapp.services.evidence import timekeeping
from webapp.services.evidence.timekeeping import Jump, Timekeeper

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


def jumps(house: House) -> list[Any]:
    with house.store.reading():
        rows = house.store.ledger.changes(kind="clock.jumped")
    return [json.loads(row["text"])["data"] for row in rows]


@pytest.mark.parametrize(
    ("wall_s", "elapsed_s", "moved_ms"),
    [
        (60, 60, None),
        (65, 60, None),
        (65.001, 60, 5_001),
        (55, 60, None),
        (54.999, 60, -5_001),
        (365 * 86400, 1, 31_535_999_000),
        (86_400, 86_400, None),
    ],
)
def test_a_move_of_more_than_five_seconds_against_the_other_clock_is_a_jump(
    wall_s: float, elapsed_s: float, moved_ms: int | None
) -> None:
    clock = iter([1000.0, 1000.0 + elapsed_s])
    keeper = Timekeeper(lambda: next(clock))
    assert keeper.look(NOW) is None
    jump = keeper.look(NOW + timedelta(seconds=wall_s))
    assert (jump.moved_ms if jump else None) == moved_ms


def test_a_jump_is_found_once() -> None:
    clock = iter([0.0, 1.0, 2.0])
    keeper = Timekeeper(lambda: next(clock))
    keeper.look(NOW)
    assert keeper.look(NOW + timedelta(hours=1))
    assert keeper.look(NOW + timedelta(hours=1, seconds=1)) is None


def test_a_clock_that_is_drawn_along_slowly_makes_no_jump() -> None:
    elapsed = iter(float(minute * 60) for minute in range(200))
    keeper = Timekeeper(lambda: next(elapsed))
    for minute in range(200):
        assert keeper.look(NOW + timedelta(seconds=minute * 61)) is None


def test_a_start_before_the_newest_entry_of_the_ledger_is_noted_once_with_both_times(house: House) -> None:
    newest = house.clock.text
    assert timekeeping.look_at_start(house.store, house.clock()) is None
    house.clock.forward(days=-3)
    jump = timekeeping.look_at_start(house.store, house.clock())
    assert jump
    assert jump.moved_ms == -3 * 86_400_000
    assert jumps(house) == [
        {
            "expected_at_utc": newest,
            "found_at_utc": house.clock.text,
            "moved_ms": -259_200_000,
            "when": "start",
        }
    ]
    assert timekeeping.look_at_start(house.store, house.clock()) is None


def test_an_event_is_the_newest_entry_by_when_it_came(house: House) -> None:
    walk = house.walk().start()
    house.clock.forward(hours=2)
    house.accept(walk.parts)
    came = house.clock.text
    house.clock.forward(hours=-1)
    timekeeping.look_at_start(house.store, house.clock())
    assert [one["expected_at_utc"] for one in jumps(house)] == [came]


def test_a_jump_is_shown_for_two_weeks_by_either_time(house: House) -> None:
    now = house.clock()
    timekeeping.note(house.store, Jump(now, now - timedelta(days=400)), "running")
    assert len(timekeeping.recent_jumps(house.store, now + timedelta(days=14))) == 1
    assert timekeeping.recent_jumps(house.store, now + timedelta(days=14, seconds=1)) == []
    assert len(timekeeping.recent_jumps(house.store, now - timedelta(days=400))) == 1


@pytest.mark.parametrize(("seconds", "shown"), [(7, 0), (-120, 0), (-121, 1), (121, 1)])
def test_a_small_jump_stands_on_the_ledger_and_leads_are_shown_a_large_one(
    house: House, seconds: int, shown: int
) -> None:
    now = house.clock()
    timekeeping.note(house.store, Jump(now, now + timedelta(seconds=seconds)), "running")
    assert [one["moved_ms"] for one in jumps(house)] == [seconds * 1000]
    assert len(timekeeping.recent_jumps(house.store, now)) == shown


def test_a_clock_that_was_years_ahead_is_shown_for_two_weeks_and_not_for_years(house: House) -> None:
    now = house.clock()
    timekeeping.note(house.store, Jump(now, now + timedelta(days=3650)), "running")
    timekeeping.note(house.store, Jump(now + timedelta(days=3650), now), "running")
    assert len(timekeeping.recent_jumps(house.store, now)) == 2
    assert timekeeping.recent_jumps(house.store, now + timedelta(days=15)) == []
