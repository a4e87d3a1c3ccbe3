"""Where a fixture may be bolted: to one machine at a time, in a new seating once it was bolted elsewhere.

Rule: the values of a seating are coordinates of one machine and of one place on it. Those of another machine,
or of the place where it stood before it was taken off, say nothing here, and a window or a line that is drawn
from them can send a probe into the vise.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.shop import Machine
from webapp.services.errors import FixtureElsewhere, SeatingOfElsewhere
from webapp.services.sheets.fitted_machines import places

if TYPE_CHECKING:
    from webapp.store import Store


def faults(store: Store, machine: Machine, stayed: Collection[str]) -> Iterator[DomainError]:
    """What keeps the fixtures of a machine from being on it; those that `stayed` there go on in their
    seating, and nothing is said of them while the machine is in use. Inside the caller's transaction:
    FixtureElsewhere, SeatingOfElsewhere.
    """
    is_there = store.shop.item("machine", machine.id) is not None
    others = {place.fixture: place.machine for place in places(store) if place.machine != machine.id}
    names = {key: str(one["name"]) for key, one in store.shop.items("machine").items()}
    for fixture in machine.fixtures:
        called = str((store.shop.item("fixture", fixture) or {}).get("name", fixture))
        if fixture in stayed and is_there:
            continue
        if fixture in others:
            yield FixtureElsewhere(fixture=called, machine=names[others[fixture]])
        elif fixture not in stayed and (came_from := _seated_at(store, fixture)) is not None:
            yield SeatingOfElsewhere(fixture=called, machine=names.get(came_from, came_from))


def _seated_at(store: Store, fixture: str) -> str | None:
    """The machine for which a sheet of the fixture's present seating was made, None for none: no setup begins
    without one.
    """
    now = store.shop.seating_now(fixture)
    for (machine, of_fixture), row in store.sheets.sheets_in_use().items():
        if now is None or of_fixture != fixture:
            continue
        sheet = store.sheets.sheet(row["hash"])
        if sheet is not None and json.loads(sheet["text"])["fixture"]["seating"]["id"] == now["id"]:
            return machine
    return None
