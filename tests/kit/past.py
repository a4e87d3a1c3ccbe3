"""A long past without walking through it:
setups and the values that they brought into the usual, put into the store.

Only for tests of what is worked out from kept values: there are no events behind these setups.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from uuid import UUID

from tests.kit.house import House
from webapp.domain.usual.trend import SeatingRows, TrendRow
from webapp.services.times import utc_text
from webapp.store import Store

FIRST = datetime(2020, 1, 6, 8, 0, tzinfo=UTC)
SETUP = (
    "INSERT INTO setup (id, device, sheet, machine, person, status, outcome, signature, probe_in_spindle, "
    "started_at_utc, last_at_utc) VALUES (?, ?, ?, ?, ?, 'signed_off', 'complete', 'verified', FALSE, ?, ?) "
    "ON CONFLICT DO NOTHING"
)


def setup_id(number: int) -> str:
    """The id of one of these setups, counted from 1."""
    return str(UUID(int=(0xA0 << 120) | number))


def keep_past(
    house: House,
    values_nm: Sequence[int],
    axis: str = "X",
    *,
    fixture: str = "vise-a",
    machine: str = "mill-1",
    seating: str = "vise-a-1",
    people: Sequence[str] = ("mara", "tomas", "ivo"),
    first: int = 1,
    each: timedelta = timedelta(hours=2),
) -> list[str]:
    """Keep these values of one axis, one a setup, `each` apart, people taking turns;
    the ids of their setups.
    """
    sheet, _ = house.sheet(machine)
    ids = [setup_id(number) for number in range(first, first + len(values_nm))]
    times = [utc_text(FIRST + each * number) for number in range(first, first + len(values_nm))]
    with house.store.writing():
        house.store._database.run_many(SETUP, [
            (one, house.device.id, sheet, machine, people[place % len(people)], at, at)
            for place, (one, at) in enumerate(zip(ids, times, strict=True))
        ])  # fmt: skip
        house.store.kept.keep_values([
            {"setup": one, "axis": axis, "fixture": fixture, "seating": seating, "value_nm": value,
             "at_utc": at}
            for one, value, at in zip(ids, values_nm, times, strict=True)
        ])  # fmt: skip
    return ids


def rows_of(store: Store, fixture: str, axis: str) -> list[SeatingRows]:
    """Every kept value of an axis by seating, oldest first, read row by row: what is at hand in columns in
    the program is held against this.
    """
    with store.reading():
        seatings, kept = store.shop.seatings(fixture), store.kept.kept_with_people(fixture, axis)
    names = "setup", "at_utc", "value_nm", "person", "left_out_reason", "has_page"
    return [
        SeatingRows(
            seating["id"],
            seating["since_utc"],
            seating["until_utc"],
            seating["reason"],
            tuple(
                TrendRow(*(row[name] for name in names)) for row in kept if row["seating"] == seating["id"]
            ),
        )
        for seating in seatings
    ]
