"""Machines, fixtures, probes and the shop's rules changed at the desk, each looked at before it is kept.

Rules:
- a look works everything out as it would be and leaves nothing: the sheets of all machines that the change
  reaches, before and after;
- a change is kept only over the value that was looked at: of two leads at once one wins, the other is told;
- and only where it still does what was shown: the sheets, and the machine, fixture, probe and rules that they
  rest on, are held against the look once more in the transaction that keeps it;
- a machine names a fixture and a probe that are in use, and keeps the name of every slot that is somebody's;
- what people choose by its name at a tablet is called as nothing else there (`told_apart`);
- the same change, sent a second time by the same person within two minutes, changes nothing more;
- the ledger has the new value, each changed field as it was, by whom, when and why;
- a change after which a machine's sheet would not hold what a record proves is refused, at the look already;
- a fixture comes with its first seating, which begins with a day of the shop's zone that has begun.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, cast

from webapp.domain.evidence.written_sheet import Said, WrittenSheet
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.taken_words import TAKEN_WORDS
from webapp.domain.shop.asked import Kind
from webapp.domain.shop.errors import SlotError
from webapp.domain.shop.fields import as_plain, from_plain
from webapp.domain.shop.fitted_machine import Place, fixtures_of
from webapp.domain.shop.shop import Machine, ShopRules
from webapp.domain.shop.slots import SlotFamily, normalise_label
from webapp.domain.shop.typed_item import CLASSES, Item
from webapp.services.errors import (
    ChangedMeanwhile,
    LookChangedMeanwhile,
    NoSuchItem,
    NoSuchPerson,
    SlotOutsideFamily,
)
from webapp.services.evidence.ledger import change, on_ledger, said_by
from webapp.services.numbers.seatings import day_that_began
from webapp.services.people.access import must_be_lead
from webapp.services.sheets import preparing
from webapp.services.sheets.fitted_machines import places_on
from webapp.services.sheets.holding_here import must_hold, short_now
from webapp.services.shop import bolted, told_apart
from webapp.services.shop.loading import as_stored
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

RULES_ID = "shop"
LONGEST_ID = 24
FIRST_SEATING = "First seating on record"
SAME_PRESS = timedelta(minutes=2)
NEWEST = 20
# What of a sheet a change is looked at for; its people, slots and board go on beside it.
LOOKED_AT = ("shop", "machine", "fixture", "probe", "axes", "square", "procedure")


@dataclass(frozen=True)
class Found:
    """An item as it is kept, and a digest of it: what a change is kept over."""

    item: Item
    version: str


@dataclass(frozen=True)
class Wanted:
    """What an item is to be. `over` is the version that was looked at, None for a new item.
    `seating`: id, day and why of a new fixture's first seating.
    """

    kind: Kind
    id: str
    item: Item
    over: str | None
    seating: tuple[str, date] | None = None


@dataclass(frozen=True)
class SheetLook:
    """The sheet of a machine with one of its fixtures before and after, None where there is none; why there
    would be none. `fixture_name`: where the machine has several.
    """

    machine: Machine
    fixture: str
    fixture_name: str
    before: WrittenSheet | None
    after: WrittenSheet | None
    error: Said | None


@dataclass(frozen=True)
class Look:
    """What keeping something would do to the sheets, and a digest (32 hex digits) of that and of what it
    rests on.
    """

    sheets: tuple[SheetLook, ...]
    version: str


def found(store: Store, kind: Kind, item_id: str) -> Found:
    """An item in use. Raises NoSuchItem."""
    with store.reading():
        return _found(store, kind, item_id)


def all_of(store: Store, kind: Kind) -> dict[str, Item]:
    """Every item of a kind in use, by id."""
    with store.reading():
        return {key: _item(kind, value) for key, value in store.shop.items(kind).items()}


def new_id(store: Store, kind: Kind, name: str) -> str:
    """A short id for a new item, out of its name, that no item ever had and no page uses."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:LONGEST_ID].strip("-")
    stem = plain if plain[:1].isalpha() else f"{kind}-{plain}".strip("-")
    with store.reading():
        number = 1
        while (id_ := _numbered(stem, number)) in TAKEN_WORDS or store.shop.is_known(kind, id_):
            number += 1
    return _numbered(stem, number)


def _numbered(stem: str, number: int) -> str:
    return stem if number == 1 else f"{stem}-{number}"


def look(store: Store, wanted: Wanted, by: str, now: datetime) -> Look:
    """What keeping this would do to the sheets; nothing is kept.
    Raises RoleMissing, ChangedMeanwhile, NoSuchItem, FixtureElsewhere, SeatingOfElsewhere, MachineNameTaken,
    FixtureNameTaken, ProcedureFallsShort, DayNotBegun, DayOutsideCalendar.
    """
    found = Look((), "")
    with suppress(_OnlyLooked), store.writing():
        must_be_lead(store, by)
        found, _, _ = _worked_out(store, wanted, by, now)
        raise _OnlyLooked
    return found


def keep(store: Store, wanted: Wanted, reason: str, by: str, now: datetime, looked: str) -> str:
    """Keep it as it was looked at (`looked`: the look's version); the id that it is kept under.
    A change needs a reason; a new item does not.

    Raises RoleMissing, ReasonMissing, ChangedMeanwhile, LookChangedMeanwhile, NoSuchItem,
    ProcedureFallsShort, DayNotBegun, DayOutsideCalendar.
    """
    why = reason_text(reason) if wanted.over is not None else ""
    with store.writing():
        must_be_lead(store, by)
        if (known := _kept_by_an_earlier_press(store, wanted, why, by, now)) is not None:
            return known
        found, before, value = _worked_out(store, wanted, by, now)
        if found.version != looked:
            raise LookChangedMeanwhile
        if before == value:
            return wanted.id
        data: dict[str, object] = {"value": on_ledger(value)}
        if before is not None:
            old = {name: one for name, one in before.items() if value.get(name) != one}
            data |= {"before": on_ledger(old), "reason": why}
        verb = "added" if before is None else "changed"
        change(store, f"{wanted.kind}.{verb}", by, wanted.id, None, data, now)
    return wanted.id


def _kept_by_an_earlier_press(store: Store, wanted: Wanted, why: str, by: str, now: datetime) -> str | None:
    """The id under which this very form was kept a moment ago and still is; None for any other."""
    value = on_ledger(_without_id(as_stored(as_plain(wanted.item))))
    verb, since = ("added" if wanted.over is None else "changed"), utc_text(now - SAME_PRESS)
    for row in store.ledger.changes(kind=f"{wanted.kind}.{verb}", newest=NEWEST):
        data, kept = said_by(row["text"]), store.shop.item(wanted.kind, row["subject"])
        is_same = (row["by"], data.get("reason", "")) == (by, why) and row["at_utc"] >= since
        is_it = wanted.over is None or (row["subject"] == wanted.id and _version(kept or {}) != wanted.over)
        if is_same and is_it and kept is not None and on_ledger(_without_id(kept)) == value:
            return row["subject"]
    return None


def _without_id(value: Mapping[str, object]) -> dict[str, object]:
    return {name: one for name, one in value.items() if name != "id"}


def _worked_out(
    store: Store, wanted: Wanted, by: str, now: datetime
) -> tuple[Look, dict[str, object] | None, dict[str, object]]:
    """Put the item, inside the caller's transaction: what that does, and its value before and after."""
    reached = _reached(store, wanted)
    before = {place: _sheet(store, place, now) for place in _places(store, reached)}
    old, value = _put(store, wanted, by, now)
    machines, fixtures = store.shop.items("machine"), store.shop.items("fixture")
    sheets = tuple(
        SheetLook(
            (machine := cast("Machine", _item("machine", machines[place.machine]))),
            place.fixture,
            str(fixtures.get(place.fixture, {}).get("name", place.fixture)) if machine.more_fixtures else "",
            before.get(place, (None, None))[0],
            *_sheet(store, place, now),
        )
        for place in _places(store, _reached(store, wanted))
        if wanted.kind != "fixture" or place.fixture == wanted.id
    )
    return Look(sheets, _look_version(store, wanted, sheets)), old, value


def _look_version(store: Store, wanted: Wanted, looks: Sequence[SheetLook]) -> str:
    shown = [
        [
            *(one.machine.id, one.fixture, one.error),
            *({part: sheet.get(part) for part in LOOKED_AT} if sheet else None
              for sheet in (one.before, one.after)),
        ]
        for one in looks
    ]  # fmt: skip
    machines = [one.machine for one in looks]
    named = {("shop", RULES_ID)} | {("machine", one.id) for one in machines}
    named |= {("probe", one.probe) for one in machines}
    named |= {("fixture", fixture) for one in machines for fixture in one.fixtures}
    rests_on = {f"{kind} {name}": store.shop.item(kind, name) for kind, name in named}
    rests_on.pop(f"{wanted.kind} {wanted.id}", None)
    return _version({"shown": shown, "rests_on": rests_on})[:32]


class _OnlyLooked(Exception):
    """Ends the transaction of a look, so that nothing of it stays."""


def _put(
    store: Store, wanted: Wanted, by: str, now: datetime
) -> tuple[dict[str, object] | None, dict[str, object]]:
    """Put the item over the version that was looked at; its value before and after."""
    before, short = store.shop.item(wanted.kind, wanted.id), short_now(store, _reached(store, wanted))
    called_so = told_apart.called_the_same(store)
    if (_version(before) if before is not None else None) != wanted.over:
        raise ChangedMeanwhile
    if isinstance(wanted.item, Machine):
        _found(store, "probe", wanted.item.probe)
        for fixture in wanted.item.fixtures:
            _found(store, "fixture", fixture)
        for fault in bolted.faults(store, wanted.item, fixtures_of(before) if before else ()):
            raise fault
    _check_names(store, wanted, before)
    whole = as_stored(as_plain(_item(wanted.kind, before))) if before is not None else None
    value: dict[str, object] = as_stored(as_plain(wanted.item))
    if value != whole:  # a field that came with this version alone is no change: no entry tells of it
        store.shop.put(wanted.kind, wanted.id, value)
    must_hold(short_now(store, _reached(store, wanted)), short)
    for fault in told_apart.faults(store, called_so):
        raise fault
    if wanted.seating is not None:
        seating, day = wanted.seating
        since_utc = day_that_began(store, day, now)
        store.shop.start_seating(seating, wanted.id, since_utc, FIRST_SEATING)
        data = {"seating": seating, "reason": FIRST_SEATING, "since_utc": since_utc}
        change(store, "seating.started", by, wanted.id, None, data, now)
    return whole, value


def _check_names(store: Store, wanted: Wanted, before: Mapping[str, object] | None) -> None:
    """Look whether what an item names is there. Raises SlotOutsideFamily, NoSuchPerson."""
    if isinstance(wanted.item, Machine):
        spelled_so = cast("Machine", _item("machine", before)).labels if before else ()
        for row in store.shop.slots(wanted.id):
            label = row["label"]
            spelled_anew = label in spelled_so and label not in wanted.item.labels
            if row["kind"] != "free" and (spelled_anew or not _has_slot(wanted.item, label)):
                raise SlotOutsideFamily(slot=label)
    if isinstance(wanted.item, ShopRules):
        known = {*store.people.names(), *cast("list[str]", (before or {}).get("cautions_once_a_shift", []))}
        for person in wanted.item.cautions_once_a_shift:
            if person not in known:
                raise NoSuchPerson(person=person[:80])


def _has_slot(machine: Machine, label: str) -> bool:
    try:
        return bool(normalise_label(label, SlotFamily(machine.labels)))
    except SlotError:
        return False


def _reached(store: Store, wanted: Wanted) -> list[str]:
    """The machines whose sheets hang on the item, by id."""
    machines = store.shop.items("machine")
    if wanted.kind == "machine":
        return [wanted.id] if wanted.id in machines else []
    if wanted.kind == "shop":
        return list(machines)
    if wanted.kind == "fixture":
        return [machine for machine, value in machines.items() if wanted.id in fixtures_of(value)]
    return [machine for machine, value in machines.items() if value["probe"] == wanted.id]


def _places(store: Store, machines: Sequence[str]) -> list[Place]:
    return [place for machine in machines for place in places_on(store, machine)]


def _sheet(store: Store, place: Place, now: datetime) -> tuple[WrittenSheet | None, Said | None]:
    try:
        return preparing.sheet_unkept(store, place, now), None
    except DomainError as error:
        return None, {"code": error.code, "fields": error.fields}


def _found(store: Store, kind: Kind, item_id: str) -> Found:
    value = store.shop.item(kind, item_id)
    if value is None:
        raise NoSuchItem(kind=kind, id=item_id[:80])
    return Found(_item(kind, value), _version(value))


def _item(kind: Kind, value: Mapping[str, object]) -> Item:
    return cast("Item", from_plain(CLASSES[kind], value))


def _version(value: Mapping[str, object]) -> str:
    return sha256(json.dumps(value, sort_keys=True).encode("utf-8", "surrogatepass")).hexdigest()
