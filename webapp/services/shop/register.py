"""What a lead changes about the shop: slots, authorisations, seatings, people, values of the usual.

Rules: each change needs a lead, is one transaction and stands on the ledger; a slot never has two owners, and
one that was somebody's is set free only after it was ended and its last values were copied out; a value is
left out of the usual with a reason and stays stored; the last active lead cannot be disabled; disabling
somebody ends their sessions at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.evidence.events import SHORT_ID
from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.plain.levels import ALONE, LEVELS
from webapp.domain.plain.zones import UTC_NAME, day_begins_utc
from webapp.domain.shop.errors import LabelNotInFamilyError, SlotNotAssignedError
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.levels import Held, held
from webapp.domain.shop.shop import ROLES, Machine
from webapp.domain.shop.slots import (
    SlotFamily,
    SlotRow,
    assign_slot,
    end_assignment,
    normalise_label,
    release_slot,
    why_no_slot,
)
from webapp.services.errors import (
    ChangedMeanwhile,
    DayNotBegun,
    LastLead,
    LevelMissing,
    LevelUnknown,
    NameRefused,
    NoSuchFixture,
    NoSuchMachine,
    NoSuchPerson,
    NoSuchSlot,
    NoSuchValue,
    OwnerHasOne,
    OwnerOutOfUse,
    PersonKnownAlready,
    RoleUnknown,
    SeatingCannotBeginThere,
    SeatingJustStarted,
    SeatingNotNewest,
    SlotChangedMeanwhile,
    TimeRefused,
)
from webapp.services.evidence.ledger import change
from webapp.services.people import names as people_names
from webapp.services.people.access import must_be_lead
from webapp.services.sheets.stored_rows import slot_row
from webapp.services.times import from_text, utc_text
from webapp.services.typed_reasons import note_text, reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow, SeatingRow

SAME_PRESS_SECONDS = 60
AXES = ("X", "Y", "Z")


def give_slot(
    store: Store,
    machine: str,
    label: str,
    person: str,
    until_utc: str | None,
    by: str,
    now: datetime,
    seen: str | None = None,
) -> None:
    """Give a slot to a person until a time (exclusive; None: until ended), or extend it. Where just that
    stands already nothing is stored.

    `seen` is the version of the row that somebody decided by; another one meanwhile raises
    SlotChangedMeanwhile. Raises RoleMissing, NoSuchMachine, NoSuchSlot, NoSuchPerson, TimeRefused,
    OwnerOutOfUse, OwnerHasOne, and SlotTakenError and its like.
    """
    until = checked_time(until_utc)
    with store.writing():
        must_be_lead(store, by)
        owner = _person(store, person)
        _give(store, machine, _slot(store, machine, label, seen), owner, until, by, now)


def give_first_slot(
    store: Store, machine: str, label: str, until_utc: str | None, by: str, now: datetime
) -> None:
    """Give a lead a slot of their own and the right to set its machine up, both until one time.
    Where they have both already, nothing changes.

    Raises as give_slot does.
    """
    until = checked_time(until_utc)
    with store.writing():
        owner = must_be_lead(store, by)
        row = _slot(store, machine, label)
        rights = {(one["machine"], one["until_utc"]) for one in store.people.running([by])}
        stands = assign_slot(row, owner["id"], owner["name"], from_text(until) if until else None) == row
        if stands and (machine, until) in rights:
            return
        _give(store, machine, row, owner, until, by, now)
        how = held_here(store, by, machine) or Held(ALONE)
        authorise_here(store, by, machine, until, by, now, how)


def _give(
    store: Store, machine: str, row: SlotRow, owner: PersonRow, until: str | None, by: str, now: datetime
) -> None:
    given = assign_slot(row, owner["id"], owner["name"], from_text(until) if until else None)
    if given == row:
        return
    if row.owner_id != owner["id"] or row.held_back:
        _check_may_have(store, machine, row.label, owner)
    _put(store, machine, given)
    data = {"slot": row.label, "person": owner["id"], "until_utc": until}
    change(store, "slot.given", by, machine, None, data, now)


def _check_may_have(store: Store, machine: str, label: str, owner: PersonRow) -> None:
    others = [row["owner"] for row in store.shop.slots(machine) if row["owner"] and row["label"] != label]
    why = why_no_slot(owner["id"], in_use=owner["active"], owners=others)
    if why is not None:
        raise {"out_of_use": OwnerOutOfUse, "has_one": OwnerHasOne}[why](person=owner["name"])


def end_slot(store: Store, machine: str, label: str, by: str, now: datetime, seen: str | None = None) -> None:
    """End an assignment: the slot is held back until its last values are copied out.
    Raises as give_slot does.
    """
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label, seen)
        _put(store, machine, end_assignment(row))
        change(store, "slot.ended", by, machine, None, {"slot": row.label, "person": row.owner_id}, now)


def release(store: Store, machine: str, label: str, by: str, now: datetime, seen: str | None = None) -> None:
    """Set a slot free that was ended and whose values are copied out. Raises as give_slot does."""
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label, seen)
        _put(store, machine, release_slot(row))
        change(store, "slot.released", by, machine, None, {"slot": row.label, "person": row.owner_id}, now)


def free_kept_slot(
    store: Store, machine: str, label: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Keep a slot for the shop no longer. Raises SlotNotAssignedError for one that is not kept."""
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label, seen)
        if row.kind != "shop":
            raise SlotNotAssignedError(label=row.label)
        store.shop.put_slot(machine, row.label, "free", None, None)
        change(store, "slot.no_longer_kept", by, machine, None, {"slot": row.label}, now)


def keep_slot(
    store: Store, machine: str, label: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Keep a free slot for the shop. Raises SlotTakenError for one that is somebody's."""
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label, seen)
        if row.kind == "person":
            release_slot(row)  # says why it is not to be had; a held-back one has to be released first
        store.shop.put_slot(machine, row.label, "shop", None, None)
        change(store, "slot.kept_for_shop", by, machine, None, {"slot": row.label}, now)


def authorise(
    store: Store,
    person: str,
    machine: str,
    until_utc: str | None,
    by: str,
    now: datetime,
    level: str | None = None,
    training: str | None = None,
    seen: str | None = None,
) -> None:
    """Let a person run a machine from now until a time (exclusive; None: until withdrawn), at a level.

    A level or a training that is None stays what it is; a first right has to be given a level. Where just
    that stands already nothing is stored. Raises
    RoleMissing, NoSuchPerson, NoSuchMachine, TimeRefused, LevelUnknown, LevelMissing, ReasonMissing.
    """
    until = checked_time(until_utc)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person, seen)
        _machine(store, machine)
        how = _held_as_asked(held_here(store, person, machine), level, training)
        if _stands(store, person, machine, until, how):
            return
        authorise_here(store, person, machine, until, by, now, how)


def held_here(store: Store, person: str, machine: str) -> Held | None:
    """How a person's rights to a machine are held that were not withdrawn, ended ones too, inside a
    transaction; None without any.
    """
    rows = store.people.authorisations(person=person, machine=machine)
    return held((row["level"], row["training"]) for row in rows if row["withdrawn_at_utc"] is None)


def _stands(store: Store, person: str, machine: str, until: str | None, how: Held) -> bool:
    rows = store.people.authorisations(person=person, machine=machine)
    return [
        (row["until_utc"], row["level"] or ALONE, row["training"] or "")
        for row in rows
        if row["withdrawn_at_utc"] is None
    ] == [(until, how.level, how.training)]


def checked_level(level: str | None) -> str:
    """A level that somebody chose. Raises LevelMissing, LevelUnknown."""
    if not level:
        raise LevelMissing
    if level not in LEVELS:
        raise LevelUnknown(level=level[:40])
    return level


def _held_as_asked(stands: Held | None, level: str | None, training: str | None) -> Held:
    noted = note_text(training) if training is not None else stands.training if stands else ""
    return Held(stands.level if stands and level is None else checked_level(level), noted)


def authorise_here(
    store: Store,
    person: str,
    machine: str,
    until: str | None,
    by: str,
    now: datetime,
    how: Held,
) -> None:
    """Give a right in the place of the one that runs, inside the caller's transaction."""
    _withdraw_running(store, person, machine, now)
    noted = {"level": how.level, "training": how.training or None}
    store.people.authorise(person, machine, utc_text(now), until, given_by=by, **noted)
    data = {"machine": machine, "until_utc": until, "level": how.level, "training": how.training}
    change(store, "person.authorised", by, person, None, data, now)


def withdraw(
    store: Store, person: str, machine: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Take an authorisation back, with a reason.
    Raises RoleMissing, ReasonMissing, NoSuchPerson, NoSuchMachine.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person, seen)
        _machine(store, machine)
        _withdraw_running(store, person, machine, now)
        data = {"machine": machine, "reason": reason}
        change(store, "person.authorisation_withdrawn", by, person, None, data, now)


def start_seating(
    store: Store, fixture: str, seating: str, reason: str, by: str, now: datetime, since: date | None = None
) -> None:
    """Say that a fixture was moved or trammed anew: from now, or from the beginning of a day in the shop's
    zone, its usual starts again. `seating` is a new id. The newest that has begun holds.

    What was touched since that day goes with it, as in `begin_seating_back`. One that was started less than a
    minute ago is taken for the same press sent twice: nobody moves a vise and trams it in that time. Raises
    RoleMissing, ReasonMissing, NoSuchFixture, SeatingJustStarted, DayNotBegun, SeatingNotNewest.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if store.shop.item("fixture", fixture) is None:
            raise NoSuchFixture(fixture=fixture)
        since_utc = utc_text(now) if since is None else day_that_began(store, since, now)
        present = store.shop.seating_now(fixture)
        if present and abs(now - from_text(present["since_utc"])) < timedelta(seconds=SAME_PRESS_SECONDS):
            raise SeatingJustStarted(at_utc=present["since_utc"], seconds=SAME_PRESS_SECONDS)
        if present and since_utc <= present["since_utc"]:
            raise SeatingNotNewest(at_utc=present["since_utc"])
        store.shop.start_seating(seating, fixture, since_utc, reason)
        data: dict[str, object] = {"seating": seating, "reason": reason, "since_utc": since_utc}
        if since is not None:
            before = present["id"] if present else ""
            let_in = _values_with_seating(store, fixture, before, seating, since_utc)
            data |= {"begun_back": True, "let_in": let_in}
        change(store, "seating.started", by, fixture, None, data, now)


def day_that_began(store: Store, day: date, now: datetime) -> str:
    """When a day began in the shop's zone, inside a transaction. Raises DayNotBegun for one to come."""
    shop = store.shop.item("shop", "shop") or {}
    since_utc = day_begins_utc(day, str(shop.get("time_zone", UTC_NAME)))
    if since_utc > utc_text(now):
        raise DayNotBegun(day=day.isoformat())
    return since_utc


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
        since = _kept_since(store, fixture, setup, present) if present else ""
        if present is None or not since:
            raise SeatingCannotBeginThere
        store.shop.start_seating(seating, fixture, since, reason)
        data = {
            "seating": seating,
            "reason": reason,
            "since_utc": since,
            "from_setup": setup,
            "let_in": _values_with_seating(store, fixture, present["id"], seating, since),
        }
        change(store, "seating.started", by, fixture, None, data, now)


def _values_with_seating(store: Store, fixture: str, before: str, seating: str, since_utc: str) -> list[str]:
    """Let the values since a time go from one seating to the next; those that it lets in, "setup axis" each:
    they had stayed out because they lay beyond the ask line of the old place.
    """
    stayed_out = [
        (row["setup"], axis)
        for axis in AXES
        for row in store.kept.kept_left_out(fixture, axis, before)
        if row["at_utc"] >= since_utc and row["left_out_reason"] == STAYED_OUT
    ]
    store.kept.move_values(fixture=fixture, from_seating=before, to_seating=seating, since_utc=since_utc)
    for setup, axis in stayed_out:
        store.kept.leave_out(setup, axis, None)
    return [f"{setup} {axis}" for setup, axis in stayed_out]


def _kept_since(store: Store, fixture: str, setup: str, present: SeatingRow) -> str:
    """When the first value of a setup was touched in the present seating; empty where no other begins there:
    it has none, or the seating's own first values are its.
    """
    kept = [row for axis in AXES for row in store.kept.kept_of(fixture, axis, setup)]
    since = min((row["at_utc"] for row in kept if row["seating"] == present["id"]), default="")
    if not present["since_utc"] < since:
        return ""
    here = present["id"], since
    return since if any(store.kept.is_kept_before(fixture, axis, *here) for axis in AXES) else ""


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


def change_roles(
    store: Store, person: str, roles: Sequence[str], by: str, now: datetime, seen: str | None = None
) -> None:
    """Set a person's roles. Raises RoleMissing, RoleUnknown, NoSuchPerson, LastLead."""
    wanted = checked_roles(roles)
    with store.writing():
        must_be_lead(store, by)
        before = _person(store, person, seen)
        if "lead" not in wanted:
            _must_not_be_last_lead(store, person)
        store.people.change(person, roles=wanted)
        data = {"roles": wanted, "before": before["roles"]}
        change(store, "person.changed", by, person, None, data, now)


def disable_person(
    store: Store, person: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Close an account: its sessions end at once, its signatures are refused from now on;
    everything stays stored.

    Raises RoleMissing, ReasonMissing, NoSuchPerson, LastLead.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _person(store, person, seen)
        _must_not_be_last_lead(store, person)
        close_account(store, person, reason, by, now)


def enable_person(
    store: Store, person: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Open an account again. Raises RoleMissing, ReasonMissing, NoSuchPerson, NameErased."""
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        people_names.hash_of(_person(store, person, seen))
        store.people.change(person, active=True, disabled_at_utc=None)
        change(store, "person.enabled", by, person, None, {"reason": reason}, now)


def close_account(store: Store, person: str, reason: str, by: str, now: datetime) -> None:
    """Disable somebody and end their sessions, inside the caller's transaction."""
    store.people.change(person, active=False, disabled_at_utc=utc_text(now))
    store.access.end_sessions_of(person, utc_text(now), "person_disabled")
    change(store, "person.disabled", by, person, None, {"reason": reason}, now)


def version_of(row: SlotRow) -> str:
    """What tells a row of the register from the same row after a change of whose it is."""
    said = (row.kind, row.owner_id, utc_text(row.until_utc) if row.until_utc else None, row.held_back)
    return sha256(repr(said).encode()).hexdigest()


def slot_now(store: Store, machine: str, label: str) -> SlotRow:
    """A row of the register, inside the caller's transaction; a free one where the register has none.
    Raises NoSuchMachine, NoSuchSlot.
    """
    return _slot(store, machine, label)


def _slot(store: Store, machine: str, label: str, seen: str | None = None) -> SlotRow:
    """The row of a slot, a free one if the register has none, and the one that was seen.
    Raises NoSuchMachine, NoSuchSlot, SlotChangedMeanwhile.
    """
    family = SlotFamily(_machine(store, machine).labels)
    try:
        own_label = normalise_label(label, family)
    except LabelNotInFamilyError:
        raise NoSuchSlot(machine=machine, slot=label[:40]) from None
    row = store.shop.slot(machine, own_label)
    found = slot_row(row, store.people.names()) if row else SlotRow(own_label, "free")
    if seen is not None and seen != version_of(found):
        owner = found.owner_name or ("kept for the shop" if found.kind == "shop" else "free")
        raise SlotChangedMeanwhile(slot=own_label, owner=owner)
    return found


def _put(store: Store, machine: str, row: SlotRow) -> None:
    until = utc_text(row.until_utc) if row.until_utc else None
    store.shop.put_slot(machine, row.label, row.kind, row.owner_id, until, held_back=row.held_back)


def _set_left_out(
    store: Store, kind: str, setup: str, axis: str, reason: str, by: str, now: datetime
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        before = {row["axis"]: row["left_out_reason"] for row in store.numbers.kept_of(setup)}
        if not store.kept.leave_out(setup, axis, reason if kind == "value.left_out" else None):
            raise NoSuchValue(setup=setup, axis=axis)
        # About a value of the usual, not about the setup: a sealed record does not change with it.
        data = {"axis": axis, "reason": reason, "before": before[axis]}
        change(store, kind, by, setup, None, data, now)


def _withdraw_running(store: Store, person: str, machine: str, now: datetime) -> None:
    for row in store.people.authorisations(person=person, machine=machine):
        if row["withdrawn_at_utc"] is None:
            store.people.withdraw(row["number"], utc_text(now))


def _must_not_be_last_lead(store: Store, person: str) -> None:
    leads = {one["id"] for one in store.people.everybody() if one["active"] and "lead" in one["roles"]}
    if leads == {person}:
        raise LastLead


def version_of_person(store: Store, row: PersonRow) -> str:
    """What tells a person's account and rights from the same after a change, inside a transaction."""
    rights = [one["number"] for one in store.people.running([row["id"]])]
    return sha256(repr((row["roles"], row["active"], rights)).encode()).hexdigest()


def _person(store: Store, person: str, seen: str | None = None) -> PersonRow:
    """An account as it was seen. Raises NoSuchPerson, ChangedMeanwhile."""
    row = store.people.person(person)
    if row is None:
        raise NoSuchPerson(person=person[:LONGEST_NAME])
    if seen and seen != version_of_person(store, row):
        raise ChangedMeanwhile
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
