"""The board: what state every machine was left in, as far as it was told.

Rules: the board repeats what the last setup of a machine said and when; it knows nothing of what nobody told it. A
setup that was last heard of long ago and never ended leaves the state "unknown", or the probe in the spindle if it
was there. A machine with an open worry about it, its vise or its probe was not left clear, and the worry stands on the
board in its own words until a lead closes it. A slot that a setup left half set stays on the board until somebody
sets it whole.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from webapp.services.setups.half_set import IN_USE_HOURS, half_set_slots
from webapp.services.setups.to_redo import slots_to_redo
from webapp.services.setups.worrying import about_machine
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store


def board(store: Store, now: datetime) -> list[dict[str, Any]]:
    """For each machine: machine, name, state (clear, worry, in_use, probe_in_spindle, unknown), since_utc, by, by_name,
    setup, open_questions, worries (open ones, newest first), half_set (axes without a value, by slot), to_redo (slots
    that a lead wants set again).
    """
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


def machine_state(store: Store, machine: str, now: datetime, names: dict[str, str]) -> dict[str, Any]:
    """The same of one machine, without its name and its slots, inside the caller's transaction."""
    rows = store.setups.setups(machine=machine, newest=1)
    setups = {row["id"] for row in store.setups.setups(machine=machine)}
    open_questions = sum(question["setup"] in setups for question in store.setups.questions())
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
        "open_questions": open_questions,
        "worries": worries,
    }


def _state(last: dict[str, Any] | None, recent_utc: str) -> str:
    if last is None:
        return "unknown"
    if last["status"] == "running" and last["last_at_utc"] >= recent_utc:
        return "in_use"
    if last["probe_in_spindle"]:
        return "probe_in_spindle"
    return "unknown" if last["status"] == "running" else "clear"
