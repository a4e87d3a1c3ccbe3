"""Setup sheets, compiled from what is stored;
the same sheet is handed out for as long as nothing on it changes.

Rules:
- a sheet is worked out by the domain alone; here its inputs are read, in one view of the store;
- a sheet is used again while its content, times aside, is the same and it is younger than half of its life;
  so a tablet always gets one that lasts, and does not get a new one at each question;
- the store counts the changes of what a sheet is compiled from, for the shop, each machine and each fixture;
  while those numbers stand, only the clock can have changed anything, and it is looked at again every few
  minutes;
- one thread compiles a machine's sheet at a time, and those that waited for it take the same;
- every sheet that is handed out is kept by its hash for ever: events name it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from threading import Lock
from typing import TYPE_CHECKING, Any, TypedDict, cast

from webapp.domain.evidence.written_sheet import RedoOnSheet, Said, WorryOnSheet
from webapp.domain.plain.axes import Axis
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.procedure.procedure import Revision
from webapp.domain.sheet.sheet import (
    AxisPlan,
    Board,
    Sheet,
    SheetPerson,
    Waiting,
    compile_sheet,
    lines_choice,
    plan_axes,
)
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, Seating, ShopRules
from webapp.domain.shop.slots import SlotFamily, SlotKind, SlotRow, normalise_label
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual
from webapp.services.errors import NoShopYet, NoSuchFixture, NoSuchMachine, SheetCannotBeMade
from webapp.services.numbers import z_reading
from webapp.services.numbers.histories import seating_history, usual_of
from webapp.services.setups.board import machine_state, unsigned_at
from webapp.services.setups.half_set import left_slots
from webapp.services.setups.to_redo import SlotToRedo, slots_to_redo
from webapp.services.setups.worrying import OpenWorry
from webapp.services.sheets import known_of_axis
from webapp.services.sheets.cause_material import causes_now
from webapp.services.times import from_text, later, utc_text

if TYPE_CHECKING:
    from webapp.proof.keys import KeyRing
    from webapp.store import Store
    from webapp.store.rows import SheetChecked, SheetInUseRow
    from webapp.store.rows import SlotRow as StoredSlot


class SheetOrRefusal(TypedDict):
    """A machine's sheet of now, or why there is none."""

    machine: str
    hash: str | None
    text: str | None
    error: Said | None


NO_TIME = ""
CHECK_AGAIN = timedelta(minutes=5)
LATEST_CHECK = timedelta(minutes=15)
PROCEDURE = "current"
_ONE_COMPILES: defaultdict[str, Lock] = defaultdict(Lock)


def current_sheet(store: Store, keyring: KeyRing, machine_id: str, now: datetime) -> tuple[str, str]:
    """Hash and text of the sheet for a machine, kept.

    Raises NoSuchMachine, NoShopYet, SheetCannotBeMade,
    and the refusals of the domain (SheetError, SlotError …).
    """
    with _ONE_COMPILES[machine_id]:
        with store.reading():
            kept, machine = (
                store.setups.sheet_in_use(machine_id),
                store.shop.item("machine", machine_id) or {},
            )
            version = _version(store.setups.sheet_versions(), machine_id, machine.get("fixture"))
            if kept is not None and _is_right(kept, version, now, CHECK_AGAIN):
                return kept["hash"], kept["text"]
            made, content = _inputs(store, keyring, machine_id, now)
        half_life_ago = utc_text(now - timedelta(hours=made.rules.sheet_hours / 2))
        times = (utc_text(now), later(now, hours=made.rules.sheet_hours))
        if (
            kept is not None
            and kept["content"] == content
            and half_life_ago < kept["compiled_at_utc"] <= times[0]
        ):
            sheet = Sheet(kept["hash"], kept["text"])
        else:
            sheet = made.compile(*times)
        with store.writing():
            store.setups.keep_sheet(sheet.hash, machine_id, sheet.text, content, times)
            store.setups.use_sheet(machine_id, sheet.hash, version, times[0])
        return sheet.hash, sheet.text


def _version(counted: Mapping[str, int], machine_id: str, fixture_id: str | None) -> str:
    """How often what this machine's sheet is compiled from has changed:
    by the shop, the machine, the fixture.
    """
    subjects = ("shop", f"machine:{machine_id}", f"fixture:{fixture_id}")
    return ".".join(str(counted.get(subject, 0)) for subject in subjects)


def _is_right(kept: SheetChecked | SheetInUseRow, version: str, now: datetime, within: timedelta) -> bool:
    """Whether nothing changed since the sheet was found right, not longer ago than that:
    time changes little.
    """
    recent = utc_text(now - within) < kept["checked_at_utc"] <= utc_text(now)
    return bool(recent and kept["version"] == version)


def _inputs(store: Store, keyring: KeyRing, machine_id: str, now: datetime) -> tuple[_Inputs, str]:
    """What a sheet is compiled from, and the hash of the sheet without its times."""
    made = _Inputs(store, keyring, machine_id, now)
    return made, made.compile(NO_TIME, NO_TIME).hash


def current_hashes(store: Store, keyring: KeyRing, now: datetime) -> dict[str, str]:
    """The hash of each machine's sheet, by machine; a machine whose sheet cannot be made is left out.

    What changed is compiled anew. For the clock alone one sheet a call is looked at again, the one that waits
    longest, so that nobody who asks for news waits for all of them; none goes longer than LATEST_CHECK
    without a look.
    """
    with store.reading():
        counted, kept = store.setups.sheet_versions(), store.setups.sheets_in_use()
        machines = store.shop.items("machine")
    versions = {machine: _version(counted, machine, value["fixture"]) for machine, value in machines.items()}
    due = [
        machine
        for machine, version in versions.items()
        if machine not in kept or not _is_right(kept[machine], version, now, LATEST_CHECK)
    ]
    by_clock = [
        (kept[machine]["checked_at_utc"], machine)
        for machine, version in versions.items()
        if machine not in due and not _is_right(kept[machine], version, now, CHECK_AGAIN)
    ]
    found = {machine: kept[machine]["hash"] for machine in versions if machine not in due}
    for machine in (*due, *(machine for _, machine in sorted(by_clock)[:1])):
        try:
            found[machine], _ = current_sheet(store, keyring, machine, now)
        except DomainError:
            found.pop(machine, None)
    return found


def current_sheets(store: Store, keyring: KeyRing, now: datetime) -> list[SheetOrRefusal]:
    """For each machine: machine, hash, text, error.
    A sheet that cannot be made has None and the refusal as error.
    """
    with store.reading():
        machines = list(store.shop.items("machine"))
    found: list[SheetOrRefusal] = []
    for machine in machines:
        try:
            sheet_hash, text = current_sheet(store, keyring, machine, now)
            found.append({"machine": machine, "hash": sheet_hash, "text": text, "error": None})
        except DomainError as error:
            refusal: Said = {"code": error.code, "fields": error.fields}
            found.append({"machine": machine, "hash": None, "text": None, "error": refusal})
    return found


def usuals(store: Store, machine_id: str) -> dict[str, Usual]:
    """The usual of each axis that is touched on a machine's fixture, in one view.
    Raises NoSuchMachine, NoShopYet.
    """
    with store.reading():
        machine = _item(store, Machine, "machine", machine_id)
        fixture = _item(store, Fixture, "fixture", machine.fixture)
        parts = _rules(store), machine, fixture, _item(store, Probe, "probe", machine.probe)
        histories = {face.axis: seating_history(store, fixture.id, face.axis) for face in fixture.faces}
        return {axis: _usual(store, *parts, axis, history) for axis, history in histories.items()}


class _Inputs:
    """All that a sheet is compiled from, read once."""

    def __init__(self, store: Store, keyring: KeyRing, machine_id: str, now: datetime) -> None:
        self.rules = _rules(store)
        self._machine = _item(store, Machine, "machine", machine_id)
        self._fixture = _item(store, Fixture, "fixture", self._machine.fixture)
        self._probe = _item(store, Probe, "probe", self._machine.probe)
        self._people = _people(store, machine_id, utc_text(now))
        self._leads = _leads(store)
        self._slots = _slots(store, self._machine, now)
        self._seating = _seating(store, self._fixture)
        self._practised = store.setups.with_values_at(self._seating.id, self.rules.cautions_once_a_shift)
        self._board = _board(store, machine_id, now)
        self._probe_check = known_of_axis.check_state(store, self._probe.id, now)
        self._probe_checked_at_utc = store.numbers.last_check_at(self._probe.id)
        self._revision = current_procedure(store)
        self._z_reading = z_reading.holding(store, self._machine, self._probe)
        self._axes = self._plan(store, now)
        self._pin_key = keyring.pin_jwk

    def compile(self, compiled_at_utc: str, expires_at_utc: str) -> Sheet:
        """The sheet with these two times."""
        return compile_sheet(
            rules=self.rules,
            machine=self._machine,
            fixture=self._fixture,
            seating=self._seating,
            probe=self._probe,
            probe_check=self._probe_check,
            probe_checked_at_utc=self._probe_checked_at_utc,
            z_reading=self._z_reading,
            people=self._people,
            leads=self._leads,
            practised=self._practised,
            slots=self._slots,
            board=self._board,
            axes=self._axes,
            revision=self._revision,
            pin_key=self._pin_key,
            compiled_at_utc=compiled_at_utc,
            expires_at_utc=expires_at_utc,
        )

    def _plan(self, store: Store, now: datetime) -> tuple[AxisPlan, ...]:
        parts = self.rules, self._machine, self._fixture, self._probe
        fixture = self._fixture.id
        histories = {face.axis: seating_history(store, fixture, face.axis) for face in self._fixture.faces}
        usuals_now = {axis: _usual(store, *parts, axis, history, now) for axis, history in histories.items()}
        unit = self._machine.unit
        choices = {axis: lines_of(store, self.rules, fixture, axis, unit) for axis in histories}
        causes = causes_now(store, *parts[1:], usuals_now, choices, self._slots, histories)
        return plan_axes(*parts, usuals_now, causes, self._z_reading)


def current_procedure(store: Store) -> Revision:
    """The published procedure in use, inside the caller's transaction.
    Raises NoShopYet, RevisionChangedError.
    """
    value = store.shop.item("procedure", PROCEDURE)
    if value is None:
        raise NoShopYet
    return Revision.from_text(value["text"], value["hash"])


def lines_of(store: Store, rules: ShopRules, fixture_id: str, axis: str, unit: str) -> LinesChoice:
    """The lead's choice for one fixture and axis, the shop's where there is none of its own."""
    own, shops = store.shop.choice(fixture_id, axis), lines_choice(rules, axis, unit)
    if own is None:
        return shops
    return replace(
        shops,
        ask_one_in=own["ask_one_in"],
        stop_one_in=own["stop_one_in"],
        ceiling_nm=own["ceiling_nm"],
        coverage_factor=own["coverage_factor"],
        stop_length_nm=own["stop_length_nm"],
    )


@dataclass(frozen=True)
class AxisParts:
    """All that the usual of one fixture's axis is worked out from, its values aside."""

    rules: ShopRules
    machine: Machine
    machine_id: str
    fixture: Fixture
    face: FixtureFace
    floor: FloorInputs
    choice: LinesChoice
    has_own_choice: bool


def axis_parts(store: Store, fixture_id: str, axis: str) -> AxisParts:
    """The parts of an axis that is touched on a fixture in use, inside the caller's transaction.

    Raises NoShopYet, NoSuchFixture, SheetCannotBeMade.
    """
    for machine_id, value in store.shop.items("machine").items():
        if value["fixture"] == fixture_id:
            parts = machine_parts(store, machine_id)
            for face in parts[2].faces:
                if face.axis == axis:
                    return _axis_parts(store, machine_id, *parts, face)
    raise NoSuchFixture(fixture=fixture_id[:LONGEST_NAME])


def parts_of_axes(store: Store, machine_id: str) -> tuple[AxisParts, ...]:
    """The parts of every axis that is touched at a machine,
    inside the caller's transaction. Raises as above.
    """
    parts = machine_parts(store, machine_id)
    return tuple(_axis_parts(store, machine_id, *parts, face) for face in parts[2].faces)


def _axis_parts(
    store: Store, machine_id: str, rules: ShopRules, machine: Machine, fixture: Fixture, probe: Probe,
    face: FixtureFace,
) -> AxisParts:  # fmt: skip
    floor = known_of_axis.floor(store, rules, machine, fixture, probe, face.axis)
    choice = lines_of(store, rules, fixture.id, face.axis, machine.unit)
    own = store.shop.choice(fixture.id, face.axis)
    return AxisParts(rules, machine, machine_id, fixture, face, floor, choice, own is not None)


def _usual(
    store: Store,
    rules: ShopRules,
    machine: Machine,
    fixture: Fixture,
    probe: Probe,
    axis: str,
    history: Sequence[SeatingValues],
    now: datetime | None = None,
) -> Usual:
    floor = known_of_axis.floor(store, rules, machine, fixture, probe, axis, now)
    choice = lines_of(store, rules, fixture.id, axis, machine.unit)
    return usual_of(store, fixture.id, axis, history, floor, choice, machine.display)


def machine_parts(store: Store, machine_id: str) -> tuple[ShopRules, Machine, Fixture, Probe]:
    """A machine with all that belongs to it, inside the caller's transaction.

    Raises NoShopYet, NoSuchMachine, SheetCannotBeMade.
    """
    machine = _item(store, Machine, "machine", machine_id)
    fixture = _item(store, Fixture, "fixture", machine.fixture)
    return _rules(store), machine, fixture, _item(store, Probe, "probe", machine.probe)


def _rules(store: Store) -> ShopRules:
    value = store.shop.item("shop", "shop")
    if value is None:
        raise NoShopYet
    return from_plain(ShopRules, value)


def _item(store: Store, kind: type[Any], word: str, item_id: str) -> Any:
    value = store.shop.item(word, item_id)
    if value is None and word == "machine":
        raise NoSuchMachine(machine=item_id)
    if value is None:
        raise SheetCannotBeMade(machine=item_id, what_code="services.part_missing")
    return from_plain(kind, value)


def _people(store: Store, machine_id: str, now_utc: str) -> list[SheetPerson]:
    """Active operators with an authorisation that is still running or yet to begin;
    the longest one counts.
    """
    until: dict[str, str | None] = {}
    for row in store.people.authorisations(machine=machine_id):
        over = row["until_utc"] is not None and row["until_utc"] <= now_utc
        if row["withdrawn_at_utc"] is None and not over:
            ends = [row["until_utc"], until.get(row["person"], row["until_utc"])]
            until[row["person"]] = None if None in ends else max(end for end in ends if end is not None)
    return [
        SheetPerson(person["id"], person["name"], until[person["id"]])
        for person in store.people.everybody()
        if person["id"] in until and person["active"] and "operator" in person["roles"]
    ]


def _slots(store: Store, machine: Machine, now: datetime) -> list[SlotRow]:
    """The register in the order in which the control counts its slots."""
    names = {person["id"]: person["name"] for person in store.people.everybody()}
    family = SlotFamily(machine.labels)
    places = {label: place for place, label in enumerate(family.labels)}
    left = left_slots(store, machine.id, now)
    rows = [
        replace(
            slot_row(row, names),
            missing_axes=left[row["label"]].missing if row["label"] in left else (),
            not_usable_axes=left[row["label"]].not_usable if row["label"] in left else (),
        )
        for row in store.shop.slots(machine.id)
    ]
    return sorted(rows, key=lambda row: places[normalise_label(row.label, family)])


def slot_row(row: StoredSlot, names: Mapping[str, str]) -> SlotRow:
    """A row of the register as the domain takes it."""
    values = row["last_values"]
    return SlotRow(
        label=row["label"],
        kind=cast("SlotKind", row["kind"]),
        owner_id=row["owner"],
        owner_name=names.get(row["owner"]) if row["owner"] else None,
        until_utc=from_text(row["until_utc"]) if row["until_utc"] else None,
        last_values_nm={Axis(axis): value for axis, value in values.items()} if values else None,
        last_seen_at_utc=from_text(row["last_seen_at_utc"]) if row["last_seen_at_utc"] else None,
        held_back=bool(row["held_back"]),
    )


def _seating(store: Store, fixture: Fixture) -> Seating:
    row = store.shop.seating_now(fixture.id)
    if row is None:
        raise SheetCannotBeMade(machine=fixture.name, what_code="services.no_seating")
    return Seating(row["id"], row["since_utc"])


def _board(store: Store, machine_id: str, now: datetime) -> Board:
    names = {person["id"]: person["name"] for person in store.people.everybody()}
    state = machine_state(store, machine_id, now, names)
    # A tablet of an earlier version knows no state of this name, and shows the nearest that is not clear.
    known = "unknown" if state["state"] == "worry" else state["state"]
    worries = tuple(_worry(one) for one in state["worries"])
    left = (state["since_utc"], state["by_name"], state["open_questions"])
    redo = tuple(_redo(one) for one in slots_to_redo(store, machine_id, names))
    unsigned = tuple(
        Waiting(one["person_name"], one["tablet"], one["since_utc"])
        for one in unsigned_at(store, machine_id, names)
    )
    return Board(known, *left, worries, left=state["state"], redo=redo, unsigned=unsigned)


def _worry(one: OpenWorry) -> WorryOnSheet:
    row = one.row
    return {
        "event": row.event,
        "worry": row.kind,
        "about": row.about,
        "blocks": row.blocks,
        "text": row.text,
        "at_utc": row.at_utc,
        "by_name": one.by_name,
        "thing_name": one.thing_name,
        "machine_name": one.machine_name,
    }


def _redo(one: SlotToRedo) -> RedoOnSheet:
    return {
        "label": one.label,
        "person": one.person,
        "why": one.why,
        "axis": one.axis,
        "reason": one.reason,
        "by_name": one.by_name,
        "at_utc": one.at_utc,
    }


def _leads(store: Store) -> list[SheetPerson]:
    """Active leads: who may lift a stop at the tablet."""
    return [
        SheetPerson(person["id"], person["name"], None)
        for person in store.people.everybody()
        if person["active"] and "lead" in person["roles"]
    ]
