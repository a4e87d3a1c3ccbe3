"""Slots of the register that something fits, a page at a time, whichever machine they are of.

Rules: the database filters and pages; what a slot's last setup left is folded for the machines of the page
alone; a label that nobody ever had or used stands in no row and is listed as free beside its machine.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Machine
from webapp.services.setups.half_set import half_set_slots
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SlotRow

A_PAGE = 200
LONGEST = 120
ONLY = ("person", "shop", "ended", "held_back", "used")
BETWEEN = " "


@dataclass(frozen=True)
class WantedSlots:
    """What is asked for, as it was typed; what cannot be read asks for nothing. `only` is one of ONLY,
    `words` stands in a label or in the owner's name; `after` is "machine label" of the last row before.
    """

    machine: str = ""
    person: str = ""
    only: str = ""
    words: str = ""
    after: str = ""


@dataclass(frozen=True)
class FoundSlot:
    """A row of the register, its machine, and the axes without a value where it was left half set."""

    machine: Machine
    row: SlotRow
    missing: tuple[str, ...]


@dataclass(frozen=True)
class FoundSlots:
    """A page of slots, by machine and label, and what the next page is asked with (None: there is none)."""

    rows: tuple[FoundSlot, ...]
    more: str | None


def slots(store: Store, wanted: WantedSlots, now: datetime) -> FoundSlots:
    """The slots that fit."""
    machine, _, label = wanted.after[:LONGEST].partition(BETWEEN)
    with store.reading():
        rows = store.shop.slots_found(
            machine=wanted.machine or None,
            owner=wanted.person or None,
            only=wanted.only if wanted.only in ONLY else None,
            now_utc=utc_text(now),
            words=wanted.words[:LONGEST] or None,
            after=(machine, label) if machine and label else None,
            most=A_PAGE + 1,
        )
        shown = rows[:A_PAGE]
        items = store.shop.items("machine")
        machines = {one: from_plain(Machine, items[one]) for one in {row["machine"] for row in shown}}
        half_set = {one: half_set_slots(store, one, now) for one in sorted(machines)}
        found = tuple(
            FoundSlot(machines[row["machine"]], row, half_set[row["machine"]].get(row["label"], ()))
            for row in shown
        )
    last = shown[-1] if len(rows) > A_PAGE else None
    return FoundSlots(found, f"{last['machine']}{BETWEEN}{last['label']}" if last else None)
