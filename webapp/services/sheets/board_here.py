"""How a machine was left, as the sheet of one of its fixtures says it.

Rule: what is odd about the machine and its probe is told at each of its fixtures; what is odd about another
vise is told at that one and on the board, and keeps nobody from this one.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.written_sheet import RedoOnSheet, WorryOnSheet
from webapp.domain.sheet.sheet import Board, Waiting
from webapp.domain.shop.fitted_machine import Place
from webapp.services.setups.board import machine_state, unsigned_at
from webapp.services.setups.closing import Closed, closed
from webapp.services.setups.to_redo import SlotToRedo, slots_to_redo
from webapp.services.setups.worrying import OpenWorry

if TYPE_CHECKING:
    from webapp.store import Store

MACHINE_CLOSED = "machine_closed"


def board_at(store: Store, place: Place, now: datetime, names: dict[str, str]) -> Board:
    """The board as it is told at one fixture, inside the caller's transaction."""
    machine_id = place.machine
    state = machine_state(store, machine_id, now, names, place.fixture)
    # A tablet of an earlier version knows no state of this name, and shows the nearest that is not clear.
    known = "unknown" if state["state"] == "worry" else state["state"]
    shut = closed(store, machine_id)
    worries = (
        *((_closed(store, shut, names),) if shut else ()),
        *(_worry(one) for one in state["worries"]),
    )
    left = (state["since_utc"], state["by_name"], state["open_questions"])
    redo = tuple(_redo(one) for one in slots_to_redo(store, machine_id, names))
    unsigned = tuple(
        Waiting(one["person_name"], one["tablet"], one["since_utc"])
        for one in unsigned_at(store, machine_id, names)
    )
    return Board(known, *left, worries, left=state["state"], redo=redo, unsigned=unsigned)


def _closed(store: Store, shut: Closed, names: Mapping[str, str]) -> WorryOnSheet:
    """A closed machine in the words that keep a machine from use: tablets of every version know those."""
    name = str((store.shop.item("machine", shut.machine) or {}).get("name", shut.machine))
    return {
        "event": f"closed:{shut.machine}",
        "worry": MACHINE_CLOSED,
        "about": "machine",
        "blocks": True,
        "text": shut.reason,
        "at_utc": shut.at_utc,
        "by_name": names.get(shut.by, shut.by),
        "thing_name": name,
        "machine_name": name,
    }


def _worry(one: OpenWorry) -> WorryOnSheet:
    row = one.row
    return {
        "event": row.event,
        "worry": row.kind,
        "about": row.about,
        "blocks": row.blocks,
        "text": row.text,
        "at_utc": row.at_utc,
        "by_name": one.by_name,
        "thing_name": one.thing_name,
        "machine_name": one.machine_name,
    }


def _redo(one: SlotToRedo) -> RedoOnSheet:
    return {
        "label": one.label,
        "person": one.person,
        "why": one.why,
        "axis": one.axis,
        "reason": one.reason,
        "by_name": one.by_name,
        "at_utc": one.at_utc,
    }
