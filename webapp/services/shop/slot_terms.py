"""Many slots at once, as at the end of a term: ended, their last day moved, set free, or given to a class.

Rules: what is about to happen is worked out first and shown; it is carried out as it was shown or not at all,
in one transaction, each slot with its own entry on the ledger. A slot that was ended keeps its last values
until it is set free; nobody gets a second slot of one machine. A right that comes with a slot is held as the
one that stands; how a first right is held is asked, and all of it is shown before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Literal

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.levels import Held
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.slots import SlotRow, assign_slot, end_assignment, release_slot, why_no_slot
from webapp.services.errors import NoSuchMachine, SlotsChangedMeanwhile
from webapp.services.evidence.ledger import change
from webapp.services.people import rights
from webapp.services.people.access import must_be_lead
from webapp.services.shop import slots
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store

What = Literal["end", "move", "free", "give"]
KINDS: dict[What, str] = {
    "end": "slot.ended",
    "move": "slot.given",
    "free": "slot.released",
    "give": "slot.given",
}


@dataclass(frozen=True)
class Asked:
    """What is asked for: these slots (machine, label), or free slots of a machine for these people, where
    asked with the right to set it up; `level` is how those hold it who had none.
    """

    what: What
    slots: tuple[tuple[str, str], ...] = ()
    machine: str = ""
    people: tuple[str, ...] = ()
    until_utc: str | None = None
    authorise: bool = False
    level: str | None = None


@dataclass(frozen=True)
class Line:
    """One slot before and after; where the right to the machine comes with it, how that was held and will
    be.
    """

    machine: str
    label: str
    before: SlotRow
    after: SlotRow
    held_before: Held | None = None
    held_after: Held | None = None


@dataclass(frozen=True)
class Plan:
    """All that would happen, and every reason why it cannot. `version` names exactly this."""

    lines: tuple[Line, ...]
    faults: tuple[Finding, ...]

    @property
    def version(self) -> str:
        """A digest of every row, and of how every right is held, before and after."""
        said = [(one.machine, one.label, slots.version_of(one.before), slots.version_of(one.after),
                 one.held_before, one.held_after) for one in self.lines]  # fmt: skip
        return sha256(repr(said).encode()).hexdigest()


def plan(store: Store, asked: Asked) -> Plan:
    """What would happen now. Raises NoSuchMachine, NoSuchSlot."""
    with store.reading():
        return _plan(store, asked)


def carry_out(store: Store, asked: Asked, version: str, by: str, now: datetime) -> int:
    """Do all of it; how many slots. Raises RoleMissing, SlotsChangedMeanwhile."""
    with store.writing():
        must_be_lead(store, by)
        planned = _plan(store, asked)
        if planned.faults or planned.version != version:
            raise SlotsChangedMeanwhile
        for line in planned.lines:
            row, owner = line.after, line.after.owner_id or line.before.owner_id
            until = utc_text(row.until_utc) if row.until_utc else None
            store.shop.put_slot(
                line.machine, row.label, row.kind, row.owner_id, until, held_back=row.held_back
            )
            data: dict[str, object] = {"slot": row.label, "person": owner}
            if KINDS[asked.what] == "slot.given":
                data["until_utc"] = until
            change(store, KINDS[asked.what], by, line.machine, None, data, now)
            if line.held_after is not None and owner:
                rights.authorise_here(store, owner, line.machine, until, by, now, line.held_after)
    return len(planned.lines)


def _plan(store: Store, asked: Asked) -> Plan:
    faults: list[Finding] = []
    lines = list(_given(store, asked, faults) if asked.what == "give" else _changed(store, asked, faults))
    if not lines and not faults:
        faults.append(Finding("slot_terms.nothing_chosen"))
    return Plan(tuple(lines), tuple(faults))


def _changed(store: Store, asked: Asked, faults: list[Finding]) -> Iterator[Line]:
    for machine, label in asked.slots:
        row = slots.slot_now(store, machine, label)
        if asked.what == "move" and row.held_back and not _is_in_use(store, row.owner_id):
            faults.append(Finding("slot_terms.out_of_use", {"person": row.owner_name or ""}))
            continue
        try:
            yield Line(machine, row.label, row, _after(row, asked))
        except DomainError as error:
            faults.append(Finding(error.code, error.fields))


def _is_in_use(store: Store, person: str | None) -> bool:
    row = store.people.person(person or "")
    return row is not None and row["active"]


def _after(row: SlotRow, asked: Asked) -> SlotRow:
    if asked.what == "end":
        return end_assignment(row)
    if asked.what == "free":
        return release_slot(row)
    until = from_text(asked.until_utc) if asked.until_utc else None
    return assign_slot(row, row.owner_id or "", row.owner_name or "", until)


def _given(store: Store, asked: Asked, faults: list[Finding]) -> Iterator[Line]:
    value = store.shop.item("machine", asked.machine)
    if value is None:
        raise NoSuchMachine(machine=asked.machine[:80])
    rows = store.shop.slots(asked.machine)
    taken = {row["label"] for row in rows if row["kind"] != "free"}
    owners = {row["owner"] for row in rows if row["owner"]}
    free = iter([label for label in from_plain(Machine, value).labels if label not in taken])
    until = from_text(asked.until_utc) if asked.until_utc else None
    for person in dict.fromkeys(asked.people):
        name, fault = _may_have(store, person, owners)
        stands, will_be = _held(store, person, asked)
        if fault is None and asked.authorise and will_be is None:
            fault = "level_missing"
        label = next(free, None) if fault is None else None
        if fault is None and label is None:
            fault = "none_free"
        if fault is not None or label is None:
            faults.append(Finding(f"slot_terms.{fault}", {"person": name}))
            continue
        before = slots.slot_now(store, asked.machine, label)
        after = assign_slot(before, person, name, until)
        yield Line(asked.machine, label, before, after, stands, will_be)


def _held(store: Store, person: str, asked: Asked) -> tuple[Held | None, Held | None]:
    """How the right that comes with a slot is held now and will be: as now, or a first one as it is asked."""
    if not asked.authorise:
        return None, None
    stands = rights.held_here(store, person, asked.machine)
    return stands, stands or (Held(rights.checked_level(asked.level)) if asked.level else None)


def _may_have(store: Store, person: str, owners: set[str]) -> tuple[str, str | None]:
    """The person's name, and why they cannot have a slot here."""
    row = store.people.person(person)
    if row is None:
        return person[:80], "nobody"
    return row["name"], why_no_slot(person, in_use=row["active"], owners=owners)


def chosen(typed: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Slots as a form sends them, "machine label" each; what has no label is left out."""
    parts = [one.partition(" ") for one in typed]
    return tuple((machine, label) for machine, _, label in parts if label)
