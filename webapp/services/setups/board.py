"""The board: what state every machine was left in, as far as it was told.

Rules: the board repeats what the last setup of a machine said and when; it knows nothing of what nobody told
it. A setup that was last heard of long ago and never ended leaves the state "unknown", or the probe in the
spindle if it was there. A machine with an open worry about it, its vise or its probe was not left clear, and
the worry stands on the board in its own words until a lead closes it. A slot that a setup left half set stays
on the board until somebody sets it whole.

Decision: the board is public on the shop's network, because the next person has to see how a machine was
left before anybody signs in. It names the person who left it and no value.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypedDict

from webapp.services.setups.half_set import IN_USE_HOURS, left_slots
from webapp.services.setups.to_redo import SlotToRedo, slots_to_redo
from webapp.services.setups.worrying import OpenWorry, about_machine
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow


# A setup that was left before anything was done says nothing of the machine.
LEFT = "left"
LATEST = 20


class MachineState(TypedDict):
    """How a machine was left. `state` is clear, worry, in_use, probe_in_spindle or unknown;
    `worries` the open ones, newest first.
    """

    machine: str
    state: str
    since_utc: str | None
    by: str | None
    by_name: str | None
    setup: str | None
    open_questions: int
    worries: list[OpenWorry]


class SlotsLeft(TypedDict):
    """Slots that were left without all their values, by label: half set, or kept from standing by a stop."""

    half_set: dict[str, tuple[str, ...]]
    not_usable: dict[str, tuple[str, ...]]


class MachineOnBoard(MachineState, SlotsLeft):
    """The same with the machine's name, the slots that were left without all their values,
    those that a lead wants set again, and the setups that wait for their signer.
    """

    name: str
    to_redo: tuple[SlotToRedo, ...]
    unsigned: list[Unsigned]


class Unsigned(TypedDict):
    """A finished setup that waits for its signer: who, since when, and on which tablet."""

    setup: str
    person_name: str
    tablet: str
    since_utc: str


def board(store: Store, now: datetime) -> list[MachineOnBoard]:
    """Every machine, how it was left and what is to be known of its slots."""
    with store.reading():
        names = {person["id"]: person["name"] for person in store.people.everybody()}
        return [
            {
                "name": value["name"],
                **machine_state(store, machine, now, names),
                **_left(store, machine, now),
                "unsigned": unsigned_at(store, machine, names),
                "to_redo": slots_to_redo(store, machine, names),
            }
            for machine, value in store.shop.items("machine").items()
        ]


def _left(store: Store, machine: str, now: datetime) -> SlotsLeft:
    left = left_slots(store, machine, now)
    return {
        "half_set": {label: one.missing for label, one in left.items() if not one.not_usable},
        "not_usable": {label: one.not_usable for label, one in left.items() if one.not_usable},
    }


def unsigned_at(store: Store, machine: str, names: dict[str, str]) -> list[Unsigned]:
    """Finished setups of a machine that wait for their signer, inside the caller's transaction."""
    found: list[Unsigned] = []
    for row in store.setups.setups(status=("finished",), machine=machine):
        tablet = store.devices.device(row["device"])
        found.append({
            "setup": row["id"],
            "person_name": names.get(row["person"], row["person"]),
            "tablet": tablet["name"] if tablet else row["device"],
            "since_utc": row["last_at_utc"],
        })  # fmt: skip
    return found


def machine_state(store: Store, machine: str, now: datetime, names: dict[str, str]) -> MachineState:
    """The same of one machine, without its name and its slots, inside the caller's transaction."""
    last = next(
        (row for row in store.setups.setups(machine=machine, newest=LATEST) if row["status"] != LEFT), None
    )
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
