"""What a lead changes about the shop: slots, authorisations, seatings, people, values of the usual.

Rules: each change needs a lead, is one transaction and stands on the ledger; a slot never has two owners, and
one that was somebody's is set free only after it was ended and its last values were copied out; a value is
left out of the usual with a reason and stays stored; the last active lead cannot be disabled; disabling
somebody ends their sessions at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.evidence.events import SHORT_ID
from webapp.domain.plain.errors import LabelNotInFamilyError
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import ROLES, Machine
from webapp.domain.shop.slots import (
    SlotFamily,
    SlotRow,
    assign_slot,
    end_assignment,
    normalise_label,
    release_slot,
)
from webapp.domain.usual.joining import STAYED_OUT
from webapp.services.errors import (
    LastLead,
    NameRefused,
    NoSuchFixture,
    NoSuchMachine,
    NoSuchPerson,
    NoSuchSlot,
    NoSuchValue,
    PersonKnownAlready,
    RoleUnknown,
    SeatingCannotBeginThere,
    SeatingJustStarted,
    TimeRefused,
)
from webapp.services.evidence.ledger import change
from webapp.services.people import names as people_names
from webapp.services.people.access import must_be_lead
from webapp.services.sheets.preparing import slot_row
from webapp.services.times import from_text, utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow

LONGEST_NAME = 80
SAME_PRESS_SECONDS = 60
AXES = ("X", "Y", "Z")


def give_slot(
    store: Store, machine: str, label: str, person: str, until_utc: str | None, by: str, now: datetime
) -> None:
    """Give a slot to a person until a time (exclusive; None: until ended), or extend it.

    Raises RoleMissing, NoSuchMachine, NoSuchSlot, NoSuchPerson, TimeRefused, and SlotTakenError and its like.
    """
    until = checked_time(until_utc)
    with store.writing():
        must_be_lead(store, by)
        owner = _person(store, person)
        row = _slot(store, machine, label)
        _put(
            store, machine, assign_slot(row, owner["id"], owner["name"], from_text(until) if until else None)
        )
        data = {"slot": row.label, "person": person, "until_utc": until}
        change(store, "slot.given", by, machine, None, data, now)


def end_slot(store: Store, machine: str, label: str, by: str, now: datetime) -> None:
    """End an assignment: the slot is held back until its last values are copied out.
    Raises as give_slot does.
    """
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label)
        _put(store, machine, end_assignment(row))
        change(store, "slot.ended", by, machine, None, {"slot": row.label, "person": row.owner_id}, now)


def release(store: Store, machine: str, label: str, by: str, now: datetime) -> None:
    """Set a slot free that was ended and whose values are copied out. Raises as give_slot does."""
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label)
        _put(store, machine, release_slot(row))
        change(store, "slot.released", by, machine, None, {"slot": row.label, "person": row.owner_id}, now)


def keep_slot(store: Store, machine: str, label: str, by: str, now: datetime) -> None:
    """Keep a free slot for the shop. Raises SlotTakenError for one that is somebody's."""
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label)
        if row.kind == "person":
            release_slot(row)  # says why it is not to be had; a held-back one has to be released first
        store.shop.put_slot(machine, row.label, "shop", None, None)
        change(store, "slot.kept_for_shop", by, machine, None, {"slot": row.label}, now)


def authorise(store: Store, person: str, machine: str, until_utc: str | None, by: str, now: datetime) -> None:
    """Let a person run a machine from now until a time (exclusive; None: until withdrawn).

    Raises RoleMissing, NoSuchPerson, NoSuchMachine, TimeRefused.
    """
    until = checked_time(until_utc)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person)
        _machine(store, machine)
        _withdraw_running(store, person, machine, now)
        store.people.authorise(person, machine, utc_text(now), until)
        data = {"machine": machine, "until_utc": until}
        change(store, "person.authorised", by, person, None, data, now)


def withdraw(store: Store, person: str, machine: str, reason: str, by: str, now: datetime) -> None:
    """Take an authorisation back, with a reason.
    Raises RoleMissing, ReasonMissing, NoSuchPerson, NoSuchMachine.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person)
        _machine(store, machine)
        _withdraw_running(store, person, machine, now)
        data = {"machine": machine, "reason": reason}
        change(store, "person.authorisation_withdrawn", by, person, None, data, now)


def start_seating(store: Store, fixture: str, seating: str, reason: str, by: str, now: datetime) -> None:
    """Say that a fixture was moved or trammed anew: from now on its usual starts again.
    `seating` is a new id.

    One that was started less than a minute ago is taken for the same press sent twice: nobody moves a vise
    and trams it in that time. Raises RoleMissing, ReasonMissing, NoSuchFixture, SeatingJustStarted.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if store.shop.item("fixture", fixture) is None:
            raise NoSuchFixture(fixture=fixture)
        present = store.shop.seating_now(fixture)
        if present and abs(now - from_text(present["since_utc"])) < timedelta(seconds=SAME_PRESS_SECONDS):
            raise SeatingJustStarted(at_utc=present["since_utc"], seconds=SAME_PRESS_SECONDS)
        store.shop.start_seating(seating, fixture, utc_text(now), reason)
        data = {"seating": seating, "reason": reason}
        change(store, "seating.started", by, fixture, None, data, now)


def begin_seating_back(
    store: Store, fixture: str, setup: str, seating: str, reason: str, by: str, now: datetime
) -> None:
    """Say that a fixture was moved before a past setup:
    a new seating begins with that setup's first kept value.

    All that was touched since goes with it. Values that were not let in because they lay beyond the ask line
    of the old place count in the new one; what a lead left out for another reason stays out. The ledger has
    all of it. Raises RoleMissing, ReasonMissing, NoSuchFixture, SeatingCannotBeginThere.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if store.shop.item("fixture", fixture) is None:
            raise NoSuchFixture(fixture=fixture)
        present = store.shop.seating_now(fixture)
        rows = [
            (axis, row)
            for axis in AXES
            for row in store.setups.kept_with_people(fixture, axis)
            if present is not None and row["seating"] == present["id"]
        ]
        since = min((row["at_utc"] for _, row in rows if row["setup"] == setup), default="")
        if (
            present is None
            or not present["since_utc"] < since
            or min(row["at_utc"] for _, row in rows) >= since
        ):
            raise SeatingCannotBeginThere
        store.shop.start_seating(seating, fixture, since, reason)
        store.setups.move_values(
            fixture=fixture, from_seating=present["id"], to_seating=seating, since_utc=since
        )
        let_in = [
            (row["setup"], axis)
            for axis, row in rows
            if row["at_utc"] >= since and row["left_out_reason"] == STAYED_OUT
        ]
        for one, axis in let_in:
            store.setups.leave_out(one, axis, None)
        data = {
            "seating": seating,
            "reason": reason,
            "since_utc": since,
            "from_setup": setup,
            "let_in": [f"{one} {axis}" for one, axis in let_in],
        }
        change(store, "seating.started", by, fixture, None, data, now)


def seating_id(fixture: str, now: datetime, token: str) -> str:
    """A short id that says what it is of and since when; the chance in it parts two of one second."""
    chance = sha256(token.encode()).hexdigest()[:8]
    return f"{fixture[:22].rstrip('-')}-{now:%Y%m%d-%H%M%S}-{chance}"


def leave_out(store: Store, setup: str, axis: str, reason: str, by: str, now: datetime) -> None:
    """Leave a value out of the usual, with a reason. Raises RoleMissing, ReasonMissing, NoSuchValue."""
    _set_left_out(store, "value.left_out", setup, axis, reason, by, now)


def take_in(store: Store, setup: str, axis: str, reason: str, by: str, now: datetime) -> None:
    """Take a value that was left out back into the usual, with a reason. Raises as leave_out does."""
    _set_left_out(store, "value.taken_in", setup, axis, reason, by, now)


def add_person(store: Store, person: str, name: str, roles: Sequence[str], by: str, now: datetime) -> None:
    """A new account without secrets (see access.set_first_secrets).

    Raises RoleMissing, NameRefused, RoleUnknown, PersonKnownAlready.
    """
    name = _checked_name(person, name)
    wanted = checked_roles(roles)
    with store.writing():
        must_be_lead(store, by)
        if store.people.person(person) is not None:
            raise PersonKnownAlready(person=person)
        change(store, "person.added", by, person, None, people_names.add(store, person, name, wanted), now)


def change_roles(store: Store, person: str, roles: Sequence[str], by: str, now: datetime) -> None:
    """Set a person's roles. Raises RoleMissing, RoleUnknown, NoSuchPerson, LastLead."""
    wanted = checked_roles(roles)
    with store.writing():
        must_be_lead(store, by)
        before = _person(store, person)
        if "lead" not in wanted:
            _must_not_be_last_lead(store, person)
        store.people.change(person, roles=wanted)
        data = {"roles": wanted, "before": before["roles"]}
        change(store, "person.changed", by, person, None, data, now)


def disable_person(store: Store, person: str, reason: str, by: str, now: datetime) -> None:
    """Close an account: its sessions end at once, its signatures are refused from now on;
    everything stays stored.

    Raises RoleMissing, ReasonMissing, NoSuchPerson, LastLead.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person)
        _must_not_be_last_lead(store, person)
        close_account(store, person, reason, by, now)


def enable_person(store: Store, person: str, reason: str, by: str, now: datetime) -> None:
    """Open an account again. Raises RoleMissing, ReasonMissing, NoSuchPerson, NameErased."""
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        people_names.hash_of(_person(store, person))
        store.people.change(person, active=True, disabled_at_utc=None)
        change(store, "person.enabled", by, person, None, {"reason": reason}, now)


def close_account(store: Store, person: str, reason: str, by: str, now: datetime) -> None:
    """Disable somebody and end their sessions, inside the caller's transaction."""
    store.people.change(person, active=False, disabled_at_utc=utc_text(now))
    store.access.end_sessions_of(person, utc_text(now), "person_disabled")
    change(store, "person.disabled", by, person, None, {"reason": reason}, now)


def _slot(store: Store, machine: str, label: str) -> SlotRow:
    """The row of a slot, a free one if the register has none. Raises NoSuchMachine, NoSuchSlot."""
    family = SlotFamily(_machine(store, machine).labels)
    try:
        own_label = normalise_label(label, family)
    except LabelNotInFamilyError:
        raise NoSuchSlot(machine=machine, slot=label[:40]) from None
    row = store.shop.slot(machine, own_label)
    names = {person["id"]: person["name"] for person in store.people.everybody()}
    return slot_row(row, names) if row else SlotRow(own_label, "free")


def _put(store: Store, machine: str, row: SlotRow) -> None:
    until = utc_text(row.until_utc) if row.until_utc else None
    store.shop.put_slot(machine, row.label, row.kind, row.owner_id, until, held_back=row.held_back)


def _set_left_out(
    store: Store, kind: str, setup: str, axis: str, reason: str, by: str, now: datetime
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if not store.setups.leave_out(setup, axis, reason if kind == "value.left_out" else None):
            raise NoSuchValue(setup=setup, axis=axis)
        # About a value of the usual, not about the setup: a sealed record does not change with it.
        change(store, kind, by, setup, None, {"axis": axis, "reason": reason}, now)


def _withdraw_running(store: Store, person: str, machine: str, now: datetime) -> None:
    for row in store.people.authorisations(person=person, machine=machine):
        if row["withdrawn_at_utc"] is None:
            store.people.withdraw(row["number"], utc_text(now))


def _must_not_be_last_lead(store: Store, person: str) -> None:
    leads = {one["id"] for one in store.people.everybody() if one["active"] and "lead" in one["roles"]}
    if leads == {person}:
        raise LastLead


def _person(store: Store, person: str) -> PersonRow:
    row = store.people.person(person)
    if row is None:
        raise NoSuchPerson(person=person[:LONGEST_NAME])
    return row


def _machine(store: Store, machine: str) -> Machine:
    value = store.shop.item("machine", machine)
    if value is None:
        raise NoSuchMachine(machine=machine[:LONGEST_NAME])
    return from_plain(Machine, value)


def checked_time(typed: str | None) -> str | None:
    """A time as the store keeps it, or None. Raises TimeRefused."""
    if typed is None:
        return None
    try:
        return utc_text(from_text(typed))
    except ValueError:
        raise TimeRefused(typed=typed[:40]) from None


def _checked_name(person: str, name: str) -> str:
    name = name.strip()
    if not SHORT_ID.passes(person) or not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise NameRefused(longest=LONGEST_NAME)
    return name


def checked_roles(roles: Sequence[str]) -> list[str]:
    """Roles in their order, each once. Raises RoleUnknown."""
    for role in roles:
        if role not in ROLES:
            raise RoleUnknown(role=role[:40])
    if not roles:
        raise RoleUnknown(role="")
    return [role for role in ROLES if role in roles]
