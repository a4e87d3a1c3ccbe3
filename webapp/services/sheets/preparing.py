"""Setup sheets, compiled from what is stored;
the same sheet is handed out for as long as nothing on it changes.

Rules:
- a sheet is of a machine and one of its fixtures; a machine with several has one of each;
- a sheet is worked out by the domain alone; here its inputs are read, in one view of the store;
- a sheet is used again while its content, times aside, is the same and it is younger than half of its life;
  so a tablet always gets one that lasts, and does not get a new one at each question;
- the store counts the changes of what a sheet is compiled from, for the shop, each machine and each fixture;
  while those numbers stand, only the clock can have changed anything, and it is looked at again every few
  minutes;
- one thread compiles such a sheet at a time, and those that waited for it take the same;
- every sheet that is handed out is kept by its hash: for ever where an event names it, else see `letting_go`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from threading import Lock
from typing import TYPE_CHECKING, TypedDict, cast
from weakref import WeakKeyDictionary

from webapp.domain.evidence.written_sheet import Said, WrittenSheet
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.levels import BESIDE
from webapp.domain.sheet.axis_plans import AxisPlan, plan_axes
from webapp.domain.sheet.sheet import Sheet, SheetPerson, compile_sheet
from webapp.domain.shop.fitted_machine import FittedMachine, Place
from webapp.domain.shop.shop import Fixture, Machine, Seating
from webapp.domain.shop.slots import SlotFamily, SlotRow, normalise_label
from webapp.domain.usual.usual import SeatingValues, Usual
from webapp.services.errors import NoSuchMachine, SheetCannotBeMade
from webapp.services.numbers import z_reading
from webapp.services.numbers.histories import seating_history, usual_of
from webapp.services.setups.half_set import left_slots
from webapp.services.setups.touched_at import touched_at
from webapp.services.sheets import known_of_axis
from webapp.services.sheets.board_here import board_at
from webapp.services.sheets.cause_material import causes_now
from webapp.services.sheets.fitted_machines import fitted_machine, lines_of, places, places_on
from webapp.services.sheets.stored_rows import procedure_used, slot_row
from webapp.services.times import later, utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow, SheetChecked, SheetInUseRow


class WhereOf(TypedDict):
    """Whose sheet it is."""

    machine: str
    fixture: str


class SheetOrRefusal(WhereOf):
    """A sheet of now, or why there is none."""

    hash: str | None
    text: str | None
    error: Said | None


NO_TIME = ""
CHECK_AGAIN = timedelta(minutes=5)
LATEST_CHECK = timedelta(minutes=15)
_ONE_COMPILES: defaultdict[tuple[str, str | None], Lock] = defaultdict(Lock)
_PLACES: WeakKeyDictionary[Store, tuple[int, tuple[Place, ...]]] = WeakKeyDictionary()


def current_sheet(
    store: Store, machine_id: str, now: datetime, fixture_id: str | None = None
) -> tuple[str, str]:
    """Hash and text of the sheet for a machine with one of its fixtures (None: the one that is offered
    first), kept.

    Raises NoSuchMachine, NoSuchFixture, NoShopYet, SheetCannotBeMade,
    and the refusals of the domain (SheetError, SlotError …).
    """
    with _ONE_COMPILES[machine_id, fixture_id]:
        with store.reading():
            place = asked_place(store, machine_id, fixture_id)
            kept = store.sheets.sheet_in_use(*place)
            version = _version(store.sheets.sheet_versions(), place)
            if kept is not None and _is_right(kept, version, _since(now, CHECK_AGAIN)):
                return kept["hash"], kept["text"]
            made, content = _inputs(store, place, now)
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
            store.sheets.keep_sheet(sheet.hash, machine_id, sheet.text, content, times)
            store.sheets.use_sheet(*place, sheet.hash, version, times[0])
        return sheet.hash, sheet.text


def asked_place(store: Store, machine_id: str, fixture_id: str | None) -> Place:
    """Whose sheet is asked for. Raises NoSuchMachine."""
    on_it = places_on(store, machine_id)
    if not on_it:
        raise NoSuchMachine(machine=machine_id)
    return on_it[0] if fixture_id is None else Place(machine_id, fixture_id)


def _version(counted: Mapping[str, int], place: Place) -> str:
    """How often what this sheet is compiled from has changed:
    by the shop, the machine, the fixture.
    """
    subjects = ("shop", f"machine:{place.machine}", f"fixture:{place.fixture}")
    return ".".join(str(counted.get(subject, 0)) for subject in subjects)


def _since(now: datetime, within: timedelta) -> tuple[str, str]:
    """This long before now, and now, as times are kept."""
    return utc_text(now - within), utc_text(now)


def _is_right(kept: SheetChecked | SheetInUseRow, version: str, recent: tuple[str, str]) -> bool:
    """Whether nothing changed since the sheet was found right, and that was between these times:
    time changes little.
    """
    return recent[0] < kept["checked_at_utc"] <= recent[1] and kept["version"] == version


def _places(store: Store, shop_version: int) -> tuple[Place, ...]:
    """Every fixture on every machine, read again when the shop has changed: every tablet that asks for news
    needs it.
    """
    known = _PLACES.get(store)
    if known is None or known[0] != shop_version:
        known = _PLACES[store] = shop_version, places(store)
    return known[1]


def _offered_first(everywhere: Sequence[Place]) -> tuple[Place, ...]:
    """Of each machine the fixture that is offered first."""
    first: dict[str, Place] = {}
    for place in everywhere:
        first.setdefault(place.machine, place)
    return tuple(first.values())


def _inputs(store: Store, place: Place, now: datetime) -> tuple[Inputs, str]:
    """What a sheet is compiled from, and the hash of the sheet without its times."""
    made = Inputs(store, place, now)
    return made, made.compile(NO_TIME, NO_TIME).hash


def sheet_unkept(store: Store, place: Place, now: datetime) -> WrittenSheet:
    """A sheet as it would be made now, inside the caller's transaction, for nobody to work by.
    Raises as `current_sheet` does.
    """
    made = Inputs(store, place, now).compile(NO_TIME, NO_TIME)
    return cast("WrittenSheet", json.loads(made.text))


def current_hashes(store: Store, now: datetime, *, first_only: bool = False) -> dict[Place, str]:
    """The hash of each sheet of now, by machine and fixture, those of a machine in the order in which its
    fixtures are offered; one that cannot be made is left out. `first_only`: for whoever cannot be asked which
    fixture, of each machine the one that is offered first, or none.

    What changed is compiled anew. For the clock alone one sheet a call is looked at again, the one that waits
    longest, so that nobody who asks for news waits for all of them; none goes longer than LATEST_CHECK
    without a look.
    """
    with store.reading():
        counted, kept = store.sheets.sheet_versions(), store.sheets.sheets_in_use()
        everywhere = _places(store, counted.get("shop", 0))
    wanted = _offered_first(everywhere) if first_only else everywhere
    versions = {place: _version(counted, place) for place in wanted}
    recent, anew = (_since(now, within) for within in (LATEST_CHECK, CHECK_AGAIN))
    due = [
        place
        for place, version in versions.items()
        if place not in kept or not _is_right(kept[place], version, recent)
    ]
    by_clock = [
        (kept[place]["checked_at_utc"], place)
        for place, version in versions.items()
        if place not in due and not _is_right(kept[place], version, anew)
    ]
    found = {place: kept[place]["hash"] for place in versions if place not in due}
    for place in (*due, *(place for _, place in sorted(by_clock)[:1])):
        try:
            found[place], _ = current_sheet(store, place.machine, now, place.fixture)
        except DomainError:
            found.pop(place, None)
    return {place: found[place] for place in versions if place in found}


def current_sheets(store: Store, now: datetime) -> list[SheetOrRefusal]:
    """For each fixture on each machine: machine, fixture, hash, text, error.
    A sheet that cannot be made has None and the refusal as error.
    """
    with store.reading():
        all_places = places(store)
    found: list[SheetOrRefusal] = []
    for machine, fixture in all_places:
        here: WhereOf = {"machine": machine, "fixture": fixture}
        try:
            sheet_hash, text = current_sheet(store, machine, now, fixture)
            found.append({**here, "hash": sheet_hash, "text": text, "error": None})
        except DomainError as error:
            refusal: Said = {"code": error.code, "fields": error.fields}
            found.append({**here, "hash": None, "text": None, "error": refusal})
    return found


def usuals(store: Store, machine_id: str, fixture_id: str | None = None) -> dict[str, Usual]:
    """The usual of each axis that is touched on one of a machine's fixtures (None: the one that is offered
    first), in one view. Raises NoSuchMachine, NoSuchFixture, NoShopYet.
    """
    with store.reading():
        fitted = fitted_machine(store, machine_id, fixture_id)
        faces = fitted.fixture.faces
        histories = {face.axis: seating_history(store, fitted.fixture.id, face.axis) for face in faces}
        return {axis: _usual(store, fitted, axis, history) for axis, history in histories.items()}


class Inputs:
    """All that a sheet is compiled from, read once. Who and which revision it is for may be put otherwise."""

    def __init__(self, store: Store, place: Place, now: datetime) -> None:
        machine_id = place.machine
        self._fitted = fitted_machine(store, *place)
        self.rules, machine, fixture, probe = self._fitted
        self.machine = machine
        everybody = store.people.everybody()
        names = {person["id"]: person["name"] for person in everybody}
        self.people = _people(store, everybody, machine_id, utc_text(now))
        self.leads = _leads(everybody)
        self._beside = _beside(store, machine)
        self.slots = _slots(store, machine, now, names)
        self._seating = _seating(store, fixture)
        self.practised = store.kept.with_values_at(self._seating.id, self.rules.cautions_once_a_shift)
        self.board = board_at(store, place, now, names)
        self._probe_check = known_of_axis.check_state(store, probe.id, now)
        self._probe_checked_at_utc = store.numbers.last_check_at(probe.id)
        self.revision = procedure_used(store, fixture.id)
        self._z_reading = z_reading.holding(store, machine, probe)
        self._axes = self._plan(store, now)

    def compile(self, compiled_at_utc: str, expires_at_utc: str) -> Sheet:
        """The sheet with these two times."""
        return compile_sheet(
            fitted=self._fitted,
            seating=self._seating,
            probe_check=self._probe_check,
            probe_checked_at_utc=self._probe_checked_at_utc,
            z_reading=self._z_reading,
            beside=self._beside,
            people=self.people,
            leads=self.leads,
            practised=self.practised,
            slots=self.slots,
            board=self.board,
            axes=self._axes,
            revision=self.revision,
            compiled_at_utc=compiled_at_utc,
            expires_at_utc=expires_at_utc,
        )

    def _plan(self, store: Store, now: datetime) -> tuple[AxisPlan, ...]:
        _, machine, fixture, probe = fitted = self._fitted
        histories = {face.axis: seating_history(store, fixture.id, face.axis) for face in fixture.faces}
        usuals_now = {axis: _usual(store, fitted, axis, history, now) for axis, history in histories.items()}
        choices = {axis: lines_of(store, fitted, axis) for axis in histories}
        causes = causes_now(store, machine, fixture, probe, usuals_now, choices, self.slots, histories)
        return plan_axes(fitted, usuals_now, causes, self._z_reading)


def _usual(
    store: Store,
    fitted: FittedMachine,
    axis: str,
    history: Sequence[SeatingValues],
    now: datetime | None = None,
) -> Usual:
    floor = known_of_axis.floor(store, fitted, axis, now)
    choice = lines_of(store, fitted, axis)
    return usual_of(store, fitted.fixture.id, axis, history, floor, choice, fitted.machine.display)


def _people(store: Store, everybody: Sequence[PersonRow], machine_id: str, now_utc: str) -> list[SheetPerson]:
    """Active operators with an authorisation that is still running or yet to begin; the longest one counts,
    and where one of several is with a lead beside, that is how they set up (`domain.shop.levels`).
    """
    until: dict[str, str | None] = {}
    beside: set[str] = set()
    for row in store.people.authorisations(machine=machine_id):
        over = row["until_utc"] is not None and row["until_utc"] <= now_utc
        if row["withdrawn_at_utc"] is None and not over:
            ends = [row["until_utc"], until.get(row["person"], row["until_utc"])]
            until[row["person"]] = None if None in ends else max(end for end in ends if end is not None)
            if row["level"] == BESIDE:
                beside.add(row["person"])
    return [
        SheetPerson(person["id"], person["name"], until[person["id"]], beside=person["id"] in beside)
        for person in everybody
        if person["id"] in until and person["active"] and "operator" in person["roles"]
    ]


def _slots(store: Store, machine: Machine, now: datetime, names: dict[str, str]) -> list[SlotRow]:
    """The register in the order in which the control counts its slots. A slot that is nobody's is left out
    where the machine does not have it any more.
    """
    family = SlotFamily(machine.labels)
    places = {label: place for place, label in enumerate(family.labels)}
    left = left_slots(store, machine.id, now)
    touched = touched_at(store, machine)
    rows = [
        replace(
            slot_row(row, names),
            last_fixture_name=touched.get(row["label"]),
            missing_axes=left[row["label"]].missing if row["label"] in left else (),
            not_usable_axes=left[row["label"]].not_usable if row["label"] in left else (),
        )
        for row in store.shop.slots(machine.id)
        if row["kind"] != "free" or row["label"] in places
    ]
    return sorted(rows, key=lambda row: places[normalise_label(row.label, family)])


def _beside(store: Store, machine: Machine) -> tuple[tuple[str, str], ...]:
    """Id and name of each fixture on a machine that has several; else nothing, and nothing is read."""
    if not machine.more_fixtures:
        return ()
    named = {key: str(value["name"]) for key, value in store.shop.items("fixture").items()}
    return tuple((one, named.get(one, one)) for one in machine.fixtures)


def _seating(store: Store, fixture: Fixture) -> Seating:
    row = store.shop.seating_now(fixture.id)
    if row is None:
        raise SheetCannotBeMade(machine=fixture.name, what_code="services.no_seating")
    return Seating(row["id"], row["since_utc"])


def _leads(everybody: Sequence[PersonRow]) -> list[SheetPerson]:
    """Active leads: who may lift a stop at the tablet."""
    return [
        SheetPerson(person["id"], person["name"], None)
        for person in everybody
        if person["active"] and "lead" in person["roles"]
    ]
