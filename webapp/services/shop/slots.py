"""Whose slot is whose: given, ended, set free, kept for the shop.

Rules: each change needs a lead, is one transaction and stands on the ledger; a slot never has two owners, and
one that was somebody's is set free only after it was ended and its last values were copied out.
"""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.plain.levels import ALONE
from webapp.domain.shop.errors import (
    LabelNotInFamilyError,
    SlotHeldBackError,
    SlotNotAssignedError,
    SlotTakenError,
)
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.levels import Held
from webapp.domain.shop.shop import Machine
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
    NoSuchMachine,
    NoSuchSlot,
    OwnerHasOne,
    OwnerOutOfUse,
    SlotChangedMeanwhile,
)
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.people.accounts import person_as_seen
from webapp.services.people.rights import authorise_here, checked_time, held_here
from webapp.services.sheets.stored_rows import slot_row
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow


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
        owner = person_as_seen(store, person)
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
    """Keep a free slot for the shop. Raises SlotTakenError for one that is somebody's, SlotHeldBackError for
    one whose last values are still to be copied out.
    """
    with store.writing():
        must_be_lead(store, by)
        row = _slot(store, machine, label, seen)
        if row.kind == "person":
            refusal = SlotHeldBackError if row.held_back else SlotTakenError
            raise refusal(label=row.label, owner=row.owner_name or "")
        store.shop.put_slot(machine, row.label, "shop", None, None)
        change(store, "slot.kept_for_shop", by, machine, None, {"slot": row.label}, now)


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


def _machine(store: Store, machine: str) -> Machine:
    value = store.shop.item("machine", machine)
    if value is None:
        raise NoSuchMachine(machine=machine[:LONGEST_NAME])
    return from_plain(Machine, value)


def _put(store: Store, machine: str, row: SlotRow) -> None:
    until = utc_text(row.until_utc) if row.until_utc else None
    store.shop.put_slot(machine, row.label, row.kind, row.owner_id, until, held_back=row.held_back)
