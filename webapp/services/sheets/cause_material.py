"""What likely causes are drawn from: earlier seatings, and everybody's last touches on a fixture.

Rules:
- touches count from the moment they were sent, accepted or not: a vise that was moved shows there first;
- a touch's value is read again from what was typed; what is no length of that axis is passed over;
- an earlier seating counts that was on this machine: where the vise sat on another says nothing here;
- only setups of the present seating count, and of those the last ones of the machine:
  there are never more than MOST_SETUPS to look at, however long the past.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from webapp.domain.causes.of_sheet import earlier_seatings, measures_of, sheet_causes
from webapp.domain.causes.reading import OtherSeating, RecentTouch
from webapp.domain.evidence.event_kinds import Event, TouchEntered
from webapp.domain.evidence.written_sheet import CausesOnSheet, FixtureOnSheet, MachineOnSheet
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.domain.shop.slots import SlotRow
from webapp.domain.touch.compare import touch_length_nm
from webapp.domain.usual.usual import LinesChoice, SeatingValues, Usual
from webapp.services.evidence.stored_events import stored_event
from webapp.services.numbers.seatings import machine_of
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SeatingRow

MOST_SETUPS = 30


def causes_now(
    store: Store,
    machine: Machine,
    fixture: Fixture,
    probe: Probe,
    usuals: Mapping[str, Usual],
    choices: Mapping[str, LinesChoice],
    slots: Sequence[SlotRow],
    histories: Mapping[str, Sequence[SeatingValues]],
) -> dict[str, CausesOnSheet]:
    """The part `causes` of each axis, inside the caller's transaction.
    The mappings have one entry for each axis.
    """
    probes = [from_plain(Probe, value) for value in store.shop.items("probe").values()]
    return sheet_causes(
        machine,
        fixture,
        measures_of(fixture, probe, probes),
        usuals,
        choices,
        slots=slots,
        seatings=_seatings(store, machine, fixture, histories),
        recent=recent_touches(store, machine.id, fixture.id),
    )


def _seatings(
    store: Store, machine: Machine, fixture: Fixture, histories: Mapping[str, Sequence[SeatingValues]]
) -> dict[str, tuple[OtherSeating, ...]]:
    until_utc = {row["id"]: row["until_utc"] for row in store.shop.seatings(fixture.id) if row["until_utc"]}
    return {
        axis: earlier_seatings(_on_machine(store, machine.id, history), until_utc, machine)
        for axis, history in histories.items()
    }


def _on_machine(store: Store, machine_id: str, history: Sequence[SeatingValues]) -> tuple[SeatingValues, ...]:
    """The history without the earlier seatings that were on another machine: all values of one were touched
    at one machine.
    """
    last = {one.seating_id: one.setup_ids[-1] for one in history[:-1] if one.setup_ids}
    walked = store.setups.setups_by_id(last.values())
    here = {
        seating
        for seating, setup in last.items()
        if (walked[setup]["machine"] if setup in walked else machine_of(store, setup)) == machine_id
    }
    return tuple(one for one in history if one is history[-1] or one.seating_id in here)


def recent_touches(store: Store, machine_id: str, fixture_id: str) -> dict[str, list[RecentTouch]]:
    """The last touch of each axis in each of the machine's last setups on the fixture in its present seating,
    oldest first, inside the caller's transaction.
    """
    rows = store.setups.setups(machine=machine_id, newest=MOST_SETUPS)
    now = store.shop.seating_now(fixture_id)
    sheets = {row["id"]: stored_setups.sheet_of(store, row["sheet"]) for row in rows}
    sheets = {setup: sheet for setup, sheet in sheets.items() if _is_in(sheet["fixture"], fixture_id, now)}
    last: dict[tuple[str, str], RecentTouch] = {}
    for setup, event_id, jws in store.events.touches_of(sheets):
        event = stored_event(event_id, jws)
        touch = _read(event, sheets[setup]["machine"])
        if touch is not None:
            last[setup, event["data"]["axis"]] = touch
    found: dict[str, list[RecentTouch]] = {}
    for (_, axis), touch in sorted(last.items(), key=lambda one: (one[1].at_utc, one[0])):
        found.setdefault(axis, []).append(touch)
    return found


def _is_in(fixture: FixtureOnSheet, fixture_id: str, seating: SeatingRow | None) -> bool:
    """Whether a sheet's fixture is this one in this seating."""
    return seating is not None and (fixture["id"], fixture["seating"]["id"]) == (fixture_id, seating["id"])


def _read(event: Event[TouchEntered], machine: MachineOnSheet) -> RecentTouch | None:
    try:
        value_nm = touch_length_nm(event["data"]["typed"], machine, event["data"]["axis"])
    except DomainError:
        return None
    return RecentTouch(event["person"], event["at_utc"], value_nm)
