"""Where a fixture may be bolted: to one machine at a time, in a new seating once it was bolted elsewhere.

Rule: the values of a seating are coordinates of one machine and of one place on it. Those of another machine,
or of the place where it stood before it was taken off, say nothing here, and a window or a line that is drawn
from them can send a probe into the vise. A seating is of a machine where a sheet was made for it, where
values of it were kept, or where a setup began in its time that may yet bring some.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.shop import Machine
from webapp.services.errors import FixtureElsewhere, SeatingOfElsewhere
from webapp.services.numbers.seatings import AXES, machine_of
from webapp.services.setups.stored_setups import sheet_of
from webapp.services.sheets.fitted_machines import places

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SeatingRow

# Setups whose values may yet be kept.
UNDECIDED = ("running", "finished", "signed")


def faults(store: Store, machine: Machine, stayed: Collection[str]) -> Iterator[DomainError]:
    """What keeps the fixtures of a machine from being on it; those that `stayed` there go on in their
    seating, and nothing is said of them while the machine is in use: while it was not, they may have been on
    another. Inside the caller's transaction: FixtureElsewhere, SeatingOfElsewhere.
    """
    is_there = store.shop.item("machine", machine.id) is not None
    others = {place.fixture: place.machine for place in places(store) if place.machine != machine.id}
    names = {key: str(one["name"]) for key, one in store.shop.items("machine").items()}
    for fixture in machine.fixtures:
        called = str((store.shop.item("fixture", fixture) or {}).get("name", fixture))
        if fixture in stayed and is_there:
            continue
        own = {machine.id} if fixture in stayed else set()
        came_from = next((one for one in _seated_at(store, fixture) if one not in own), None)
        if fixture in others:
            yield FixtureElsewhere(fixture=called, machine=names[others[fixture]])
        elif came_from is not None:
            yield SeatingOfElsewhere(fixture=called, machine=names.get(came_from, came_from))


def _seated_at(store: Store, fixture: str) -> Iterator[str]:
    """The machines that the fixture's present seating is of."""
    now = store.shop.seating_now(fixture)
    if now is not None:
        yield from _of_sheets(store, fixture, now)
        yield from _of_values(store, fixture, now)
        yield from _of_setups(store, fixture, now)


def _of_sheets(store: Store, fixture: str, now: SeatingRow) -> Iterator[str]:
    for (machine, of_fixture), row in store.sheets.sheets_in_use().items():
        if of_fixture != fixture:
            continue
        sheet = store.sheets.sheet(row["hash"])
        if sheet is not None and json.loads(sheet["text"])["fixture"]["seating"]["id"] == now["id"]:
            yield machine


def _of_values(store: Store, fixture: str, now: SeatingRow) -> Iterator[str]:
    for axis in AXES:
        for kept in store.kept.kept_newest(fixture, axis, now["id"], 1, 0):
            if (machine := machine_of(store, kept["setup"])) is not None:
                yield machine


def _of_setups(store: Store, fixture: str, now: SeatingRow) -> Iterator[str]:
    """A seating may be begun back to a day: setups of that day bring their values into it."""
    for row in store.setups.setups(status=UNDECIDED, newest=None):
        is_of_it = row["started_at_utc"] >= now["since_utc"]
        if is_of_it and sheet_of(store, row["sheet"])["fixture"]["id"] == fixture:
            yield row["machine"]
