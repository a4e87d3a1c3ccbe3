"""Slots: how a control names them, who owns them, what stands in them.

Rules of this module:
- A slot family is what a lead types: labels and ranges, separated by commas. A label ends in a number; a
  range changes that last number only ("G54-G59", "G59.1-G59.3", "E1-E50"). Nothing is built around one
  maker's naming. The shipped default is the nine systems of RS-274/NGC (NISTIR 6556, section 3.2.2).
- Typed labels are compared without case, blanks and leading zeros; a comma counts as a point. A number alone
  is taken where it fits one label only.
- A slot has at most one row and at most one owner. An assignment runs up to, and not including, its end;
  afterwards, or when it was ended, the slot is held back under its owner's name until its last values are
  copied out.
- Times are given, and carry a time zone.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal

from webapp.domain.plain.axes import Axis
from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.shop.errors import (
    FamilyEmptyError,
    FamilyItemNotUnderstoodError,
    FamilyLabelTwiceError,
    FamilyRangeBackwardsError,
    FamilyRangeStemsDifferError,
    FamilyTooLongError,
    LabelAmbiguousError,
    LabelEmptyError,
    LabelNotInFamilyError,
    SlotHeldBackError,
    SlotKeptForShopError,
    SlotListedTwiceError,
    SlotNotAssignedError,
    SlotOwnerUnexpectedError,
    SlotTakenError,
    SlotWithoutOwnerError,
    TimeWithoutZoneError,
)

MOST_SLOTS = 500
DASHES = "-\u2010\u2011\u2012\u2013\u2014\u2212"
LABEL = re.compile(r"([^\W\d_][\w. ]*?|)(\d+)", re.ASCII)

SlotKind = Literal["person", "shop", "free"]
Outcome = Literal["own", "somebody_elses", "shop", "free", "expired", "unknown"]
NoSlot = Literal["out_of_use", "has_one"]
Copied = Literal["same", "changed", "not_seen_before"]


@dataclass(frozen=True)
class SlotFamily:
    """The labels of a machine's slots, in the control's order."""

    labels: tuple[str, ...]

    @classmethod
    def parse(cls, text: str) -> SlotFamily:
        """Return the family that the text names. Raises a `SlotError` that names the part at fault."""
        items = [" ".join(item.split()) for item in re.split(r"[,;\n]", text)]
        labels: list[str] = []
        for item in filter(None, items):
            labels.extend(_labels_of(item))
            if len(labels) > MOST_SLOTS:
                raise FamilyTooLongError(most=MOST_SLOTS)
        if not labels:
            raise FamilyEmptyError
        seen: set[str] = set()
        for label in labels:
            if _key(label) in seen:
                raise FamilyLabelTwiceError(label=label)
            seen.add(_key(label))
        return cls(tuple(labels))

    @property
    def ends(self) -> dict[str, str]:
        """Return the first and the last label, as the fields `first` and `last` of a sentence."""
        return {"first": self.labels[0], "last": self.labels[-1]}


def _labels_of(item: str) -> list[str]:
    ends = [end.strip().upper() for end in re.split(f"[{DASHES}]", item)]
    found = [LABEL.fullmatch(end) for end in ends]
    if len(ends) > 2 or not all(found):
        raise FamilyItemNotUnderstoodError(item=item)
    parts = [(match.group(1), match.group(2)) for match in found if match]
    if len(parts) == 1:
        return ends
    (stem, first), (last_stem, last) = parts
    if last_stem not in {stem, ""}:
        raise FamilyRangeStemsDifferError(item=item, first=ends[0], last=ends[1])
    if int(first) > int(last):
        raise FamilyRangeBackwardsError(item=item, first=ends[0], last=ends[1])
    if int(last) - int(first) >= MOST_SLOTS:
        raise FamilyTooLongError(most=MOST_SLOTS)
    width = len(first) if first.startswith("0") else 0
    return [f"{stem}{number:0{width}d}" for number in range(int(first), int(last) + 1)]


def _key(label: str) -> str:
    """Return the form in which labels are compared."""
    plain = "".join(label.split()).upper().replace(",", ".")
    return re.sub(r"\d+", lambda digits: digits.group().lstrip("0") or "0", plain)


def normalise_label(typed: str, family: SlotFamily) -> str:
    """Return the family's own spelling of the typed label.
    Raises a `SlotError` where there is none, or two.
    """
    key = _key(typed)
    if not key:
        raise LabelEmptyError
    for label in family.labels:
        if _key(label) == key:
            return label
    numbers = [label for label in family.labels if _number_of(label) == key]
    if len(numbers) > 1:
        raise LabelAmbiguousError(typed=typed.strip(), one=numbers[0], other=numbers[1])
    if not numbers:
        raise LabelNotInFamilyError(typed=typed.strip(), **family.ends)
    return numbers[0]


def _number_of(label: str) -> str:
    return _key(label).lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")


@dataclass(frozen=True)
class SlotRow:
    """One row of the register: the slot, whose it is until when (exclusive), and what was last seen in it.

    `last_fixture_name` says at which fixture, where that is told. `missing_axes` are those without a value
    where the last setup left the slot half set,
    `not_usable_axes` those that a stop kept from standing.
    """

    label: str
    kind: SlotKind
    owner_id: str | None = None
    owner_name: str | None = None
    until_utc: datetime | None = None
    last_values_nm: Mapping[Axis, int] | None = None
    last_seen_at_utc: datetime | None = None
    held_back: bool = False
    missing_axes: tuple[str, ...] = ()
    not_usable_axes: tuple[str, ...] = ()
    last_fixture_name: str | None = None

    def __post_init__(self) -> None:
        if self.kind == "person" and not (self.owner_id and self.owner_name):
            raise SlotWithoutOwnerError(label=self.label)
        if self.kind != "person" and (self.owner_id or self.owner_name or self.held_back):
            raise SlotOwnerUnexpectedError(label=self.label, owner=self.owner_name or self.owner_id or "?")
        for at_utc in (self.until_utc, self.last_seen_at_utc):
            _check_zone(at_utc, self.label)

    def has_ended(self, at_utc: datetime) -> bool:
        """Tell whether the assignment is over at that time, or was ended before."""
        return self.held_back or (self.until_utc is not None and at_utc >= self.until_utc)


def _check_zone(at_utc: datetime | None, label: str) -> None:
    if at_utc is not None and at_utc.tzinfo is None:
        raise TimeWithoutZoneError(label=label)


def check_register(family: SlotFamily, rows: Sequence[SlotRow]) -> dict[str, SlotRow]:
    """Return the rows by label. Raises a `SlotError` for two rows of one slot or a label that is no slot."""
    by_label: dict[str, SlotRow] = {}
    for row in rows:
        label = normalise_label(row.label, family)
        if label in by_label:
            raise SlotListedTwiceError(label=label)
        by_label[label] = row
    return by_label


@dataclass(frozen=True)
class SlotMatch:
    """What the selected slot is to the person: the outcome, the row, and the sentence that says so."""

    outcome: Outcome
    label: str | None
    row: SlotRow | None
    finding: Finding


def match_slot(
    typed: str, family: SlotFamily, rows: Sequence[SlotRow], person_id: str, at_utc: datetime
) -> SlotMatch:
    """Return whose the selected slot is. Raises `LabelEmptyError`, `LabelAmbiguousError` or a fault of the
    register.

    A slot without a row is free. Somebody else's slot stays theirs after its end, until it is set free.
    """
    _check_zone(at_utc, typed)
    by_label = check_register(family, rows)
    own = tuple(
        label
        for label in family.labels
        if label in by_label
        and by_label[label].owner_id == person_id
        and not by_label[label].has_ended(at_utc)
    )
    try:
        label = normalise_label(typed, family)
    except LabelNotInFamilyError as error:
        return SlotMatch("unknown", None, None, Finding("slots.match.unknown", error.fields))
    row = by_label.get(label)
    outcome = _outcome(row, person_id, at_utc)
    fields: Fields = {"label": label, "own": ", ".join(own) or "\u2013"}
    if outcome == "somebody_elses" and row is not None:
        fields["owner"] = row.owner_name or ""
    return SlotMatch(outcome, label, row, Finding(f"slots.match.{outcome}", fields))


def _outcome(row: SlotRow | None, person_id: str, at_utc: datetime) -> Outcome:
    if row is None or row.kind == "free":
        return "free"
    if row.kind == "shop":
        return "shop"
    if row.owner_id != person_id:
        return "somebody_elses"
    return "expired" if row.has_ended(at_utc) else "own"


def assign_slot(row: SlotRow, owner_id: str, owner_name: str, until_utc: datetime | None) -> SlotRow:
    """Return the row given to the owner, or extended for the same owner. Raises where it is not to be had."""
    if row.kind == "shop":
        raise SlotKeptForShopError(label=row.label)
    if row.held_back and row.owner_id != owner_id:
        raise SlotHeldBackError(label=row.label, owner=row.owner_name or "")
    if row.kind == "person" and row.owner_id != owner_id:
        raise SlotTakenError(label=row.label, owner=row.owner_name or "")
    until_utc = until_utc.astimezone(UTC) if until_utc is not None and until_utc.tzinfo else until_utc
    return replace(
        row, kind="person", owner_id=owner_id, owner_name=owner_name, until_utc=until_utc, held_back=False
    )


def why_no_slot(person_id: str, *, in_use: bool, owners: Collection[str]) -> NoSlot | None:
    """Return why somebody can be given no slot, None where they can; `in_use` says whether their account is,
    `owners` are the ids of all who have another slot of the same machine.

    Two slots of one person could be taken for each other at the control (the shop's own rule, no source).
    """
    if not in_use:
        return "out_of_use"
    return "has_one" if person_id in owners else None


def end_assignment(row: SlotRow) -> SlotRow:
    """Return the row held back under its owner's name, until its last values are copied out."""
    if row.kind != "person":
        raise SlotNotAssignedError(label=row.label)
    return replace(row, held_back=True)


def release_slot(row: SlotRow) -> SlotRow:
    """Return the row set free, once its last values are copied out.
    Only an ended assignment can be released.
    """
    if row.kind != "person":
        raise SlotNotAssignedError(label=row.label)
    if not row.held_back:
        raise SlotTakenError(label=row.label, owner=row.owner_name or "")
    return replace(row, kind="free", owner_id=None, owner_name=None, until_utc=None, held_back=False)
