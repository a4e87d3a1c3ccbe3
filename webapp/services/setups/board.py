"""The board: what state every machine was left in, as far as it was told.

Rules: the board repeats what the last setup of a machine said and when; it knows nothing of what nobody told it. A
setup that was last heard of long ago and never ended leaves the state "unknown", or the probe in the spindle if it
was there. A machine with an open worry about it, its vise or its probe was not left clear, and the worry stands on the
board in its own words until a lead closes it. A slot that a setup left half set stays on the board until somebody
sets it whole.

Decision: the board is public on the shop's network, because the next person has to see how a machine was
left before anybody signs in. It names the person who left it and no value.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypedDict

from webapp.services.setups.half_set import IN_USE_HOURS, half_set_slots
from webapp.services.setups.to_redo import SlotToRedo, slots_to_redo
from webapp.services.setups.worrying import OpenWorry, about_machine
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow


class MachineState(TypedDict):
    """How a machine was left. `state` is clear, worry, in_use, probe_in_spindle or unknown; `worries` the open ones,
    newest first.
    """

    machine: str
    state: str
    since_utc: str | None
    by: str | None
    by_name: str | None
    setup: str | None
    open_questions: int
    worries: list[OpenWorry]


class MachineOnBoard(MachineState):
    """The same with the machine's name, the axes without a value in its half set slots, by label, and the slots that a
    lead wants set again.
    """

    name: str
    half_set: dict[str, tuple[str, ...]]
    to_redo: tuple[SlotToRedo, ...]


def board(store: Store, now: datetime) -> list[MachineOnBoard]:
    """Every machine, how it was left and what is to be known of its slots."""
    with store.reading():
        names = {person["id"]: person["name"] for person in store.people.everybody()}
        return [
            {
                "name": value["name"],
                **machine_state(store, machine, now, names),
                "half_set": half_set_slots(store, machine, now),
                "to_redo": slots_to_redo(store, machine, names),
            }
            for machine, value in store.shop.items("machine").items()
        ]


def machine_state(store: Store, machine: str, now: datetime, names: dict[str, str]) -> MachineState:
    """The same of one machine, without its name and its slots, inside the caller's transaction."""
    rows = store.setups.setups(machine=machine, newest=1)
    last = rows[0] if rows else None
    worries = about_machine(store, machine)
    state = _state(last, utc_text(now - timedelta(hours=IN_USE_HOURS)))
    return {
        "machine": machine,
        "state": "worry" if worries and state == "clear" else state,
        "since_utc": last["last_at_utc"] if last else None,
        "by": last["person"] if last else None,
        "by_name": names.get(last["person"], last["person"]) if last else None,
        "setup": last["id"] if last else None,
        "open_questions": store.setups.open_questions_at(machine),
        "worries": worries,
    }


def _state(last: SetupRow | None, recent_utc: str) -> str:
    if last is None:
        return "unknown"
    if last["status"] == "running" and last["last_at_utc"] >= recent_utc:
        return "in_use"
    if last["probe_in_spindle"]:
        return "probe_in_spindle"
    return "unknown" if last["status"] == "running" else "clear"
