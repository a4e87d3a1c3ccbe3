"""The board: what state every machine was left in, as far as it was told.

Rules: the board repeats what the last setup of a machine said and when; it knows nothing of what nobody told
it. A setup that was last heard of long ago and never ended leaves the state "unknown", or the probe in the
spindle if it was there. A machine with an open worry about it, its vise or its probe was not left clear, and
the worry stands on the board in its own words until a lead closes it. A slot that a setup left half set stays
on the board until somebody sets it whole.

Decision: the board is public on the shop's network, because the next person has to see how a machine was
left before anybody signs in. It names the person who left it and no value, and nobody's rights: whose right
ends when is told to leads (`next_ends`).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypedDict

from webapp.domain.probe.probe_health import CheckState, state_of
from webapp.services.setups.closing import Closed, closed
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
    those that a lead wants set again, the setups that wait for their signer, whether it is closed, and when
    its probe's check is due (None: nobody asked for checks).
    """

    name: str
    to_redo: tuple[SlotToRedo, ...]
    unsigned: list[Unsigned]
    closed: Closed | None
    probe_name: str
    calibration: CheckState | None


class NextEnd(TypedDict):
    """Whose right to set a machine up ends next, and when."""

    machine_name: str
    name: str
    until_utc: str


class Unsigned(TypedDict):
    """A finished setup that waits for its signer: who, since when, and on which tablet."""

    setup: str
    person_name: str
    tablet: str
    since_utc: str


def board(store: Store, now: datetime) -> list[MachineOnBoard]:
    """Every machine, how it was left and what is to be known of its slots; each read in a view of its own,
    so that nobody who writes waits for all of them.
    """
    with store.reading():
        names, probes = store.people.names(), store.shop.items("probe")
        machines = store.shop.items("machine")
    found: list[MachineOnBoard] = []
    for machine, value in machines.items():
        with store.reading():
            found.append({
                "name": value["name"],
                **machine_state(store, machine, now, names),
                **_left(store, machine, now),
                "unsigned": unsigned_at(store, machine, names),
                "to_redo": slots_to_redo(store, machine, names),
                "closed": closed(store, machine),
                "probe_name": str(probes.get(value["probe"], {}).get("name", value["probe"])),
                "calibration": _check_state(store, value["probe"], now),
            })  # fmt: skip
    return found


def _check_state(store: Store, probe: str, now: datetime) -> CheckState | None:
    care = store.numbers.care(probe)
    return state_of(store.numbers.last_check_at(probe), care["every_days"], now) if care else None


def next_ends(store: Store, now: datetime) -> list[NextEnd]:
    """Whose right ends next at each machine where one does, soonest first: for a lead, and no part of the
    board.
    """
    found: list[NextEnd] = []
    with store.reading():
        names = store.people.names()
        for machine, value in store.shop.items("machine").items():
            row = store.people.next_to_end(machine, utc_text(now))
            if row is not None and row["until_utc"] is not None:
                name = names.get(row["person"], row["person"])
                found.append({"machine_name": value["name"], "name": name, "until_utc": row["until_utc"]})
    return sorted(found, key=lambda one: (one["until_utc"], one["machine_name"]))


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


def machine_state(
    store: Store, machine: str, now: datetime, names: dict[str, str], fixture: str | None = None
) -> MachineState:
    """The same of one machine, without its name and its slots, inside the caller's transaction; of its vises
    only the one that is named, if any.
    """
    last = next(
        (row for row in store.setups.setups(machine=machine, newest=LATEST) if row["status"] != LEFT), None
    )
    worries = about_machine(store, machine, fixture)
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
