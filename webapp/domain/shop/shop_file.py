"""SHOP.toml: one file that says what a shop has. Text in, a `Shop` or every fault at once out.

Rules of this module:

- TOML 1.0. Decimals are read exactly (`Decimal`), never as binary floats.
- A field that the domain keeps in nanometres is written with the unit that the lead thinks in: `jaw_length_mm
  = 160`, `jaw_length_in = 6` or `u_probe_um = 1.2` all fill `jaw_length_nm`. A length that is no whole number
  of nanometres is refused. 1 in = 25.4 mm exactly.
- An item is checked field by field beside a sound example, so that one wrong field does not hide the next;
  then as a whole; then the items against each other. A fault names the place: the table, the item's id, the
  field.
- A day is a day of the shop's zone: an end counts to its end, a seating begins with its beginning.
- Tool numbers may stand as numbers; feeds may stand in the unit that the control shows (`_in_per_min`).
- Slots that the file does not name are free. A right that says no level keeps the one that it has.
  A seating is a stretch of time: the last one of a fixture holds now.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import partial
from typing import Any, NotRequired, TypeVar, cast

from typing_extensions import TypedDict

from webapp.domain.evidence.event_kinds import LONGEST_TEXT
from webapp.domain.plain.declared import Shape, exactly
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.levels import LEVELS
from webapp.domain.plain.taken_words import NOBODYS, TAKEN_WORDS
from webapp.domain.plain.zones import UTC_NAME, day_begins_utc, is_zone
from webapp.domain.shop import examples as example
from webapp.domain.shop.faults_between import faults_between
from webapp.domain.shop.fields import ShopFieldError, required_fields
from webapp.domain.shop.slots import SlotFamily, normalise_label
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment

NM_PER = {"_mm": Decimal(1_000_000), "_in": Decimal(25_400_000), "_um": Decimal(1_000)}
TABLES = ("shop", "machine", "fixture", "probe", "person", "slot")
SLOT_KINDS = ("person", "shop")
MM_PER_IN = Decimal("25.4")
FEEDS_IN_INCHES = {f"{touch}_feed_in_per_min": f"{touch}_feed_mm_per_min" for touch in ("first", "fine")}
TOOLS = ("probe_tool", "parking_tool")
# Fields that only make sense together with another.
BESIDE = {
    "faces": ("clamping_axis",),
    "square_apart_nm": ("jaw_length_nm", "clamping_axis", "faces"),
    "parking_tool": ("probe_tool",),
    "z_point": ("z_length_nm",),
    "parked_z_nm": ("z_zero_at_top", "travel_nm", "unit", "decimals"),
    "decimals": ("unit",),
}
Item = TypeVar("Item")
Row = TypeVar("Row")
Table = Mapping[str, object]


@exactly
class _AuthorisedInFile(TypedDict):
    machine: str
    until: NotRequired[object]
    level: NotRequired[str]
    training: NotRequired[str]


@exactly
class _SlotInFile(TypedDict):
    machine: str
    label: str
    kind: str
    owner: NotRequired[str]
    until: NotRequired[object]


@exactly
class _SeatingInFile(TypedDict):
    id: str
    since: object
    reason: str


AUTHORISED: Shape[_AuthorisedInFile] = Shape(_AuthorisedInFile)
SLOT: Shape[_SlotInFile] = Shape(_SlotInFile)
SEATING: Shape[_SeatingInFile] = Shape(_SeatingInFile)


class ShopFileError(Exception):
    """The file cannot be taken. `faults` lists everything that is wrong with it, in the order of the file."""

    def __init__(self, faults: Sequence[Finding]) -> None:
        super().__init__(faults)
        self.faults = tuple(faults)


class LengthNotWholeError(DomainError):
    """A length that is no whole number of nanometres."""

    code = "shop_file.length_not_whole"
    field_names = ("value", "unit")


class _Reading:
    """One pass over a file: collects faults, remembers the place it is at."""

    def __init__(self, zone: str) -> None:
        self.faults: list[Finding] = []
        self.zone = zone

    def fault(self, place: str, code: str, **more: str | int) -> None:
        self.faults.append(Finding(f"shop_file.{code}", {"place": place, **more}))

    def refused(self, place: str, error: DomainError) -> None:
        if isinstance(error, ShopFieldError):
            field = f"{place}, {error.fields['field']}"
            self.fault(field, "field_wrong", expected_code=error.fields["expected_code"])
        else:
            self.faults.append(Finding(error.code, {**error.fields, "place": place}))

    def each_once(self) -> list[Finding]:
        """The faults in order, one that was met twice only once."""
        return list({(one.code, str(one.fields)): one for one in self.faults}.values())


def read_shop(text: str) -> Shop:
    """Return the shop that a file describes. Raises `ShopFileError` with every fault found."""
    try:
        tables = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise ShopFileError([Finding("shop_file.not_toml", {"reason": str(error)})]) from error
    reading = _Reading(_zone(tables))
    for name in sorted(tables.keys() - set(TABLES)):
        reading.fault(name, "unknown_table", known=", ".join(TABLES))
    shop = _read_tables(reading, tables)
    reading.faults.extend(faults_between(shop, _ids(tables)))
    if reading.faults:
        raise ShopFileError(reading.each_once())
    return _in_own_spelling(shop)


def _in_own_spelling(shop: Shop) -> Shop:
    """The sound shop with each slot's label as its machine's family spells it: a slot has one name."""
    families = {one.id: SlotFamily.parse(one.slot_family) for one in shop.machines}
    slots = (replace(one, label=normalise_label(one.label, families[one.machine])) for one in shop.slots)
    return replace(shop, slots=tuple(slots))


def _zone(tables: Table) -> str:
    """The zone that the file's days are of; UTC where it names none, or none that there is."""
    shop = tables.get("shop")
    name = shop.get("time_zone") if isinstance(shop, dict) else None
    return str(name) if is_zone(name) else UTC_NAME


def _ids(tables: Table) -> dict[str, set[str]]:
    """The ids that stand in the file, by table, whether their items are sound or not."""
    rows = {name: tables.get(name, []) for name in TABLES}
    return {
        name: {str(row.get("id")) for row in found if isinstance(row, dict)}
        for name, found in rows.items()
        if isinstance(found, list)
    }


def _read_tables(reading: _Reading, tables: Table) -> Shop:
    """The shop as far as it is sound; the rest is noted as faults."""
    rules_table = tables.get("shop")
    if not isinstance(rules_table, dict):
        reading.fault("shop", "no_shop_table")
    rules = _item(reading, "shop", example.RULES, rules_table if isinstance(rules_table, dict) else {})
    machines = _items(reading, tables, "machine", example.MACHINE)
    fixtures = _items(reading, tables, "fixture", example.FIXTURE, aside=("seating",))
    probes = _items(reading, tables, "probe", example.PROBE)
    people = _items(reading, tables, "person", example.PERSON, aside=("authorised",))
    authorisations = list(_authorisations(reading, tables))
    slots = list(_slots(reading, tables))
    seatings = list(_seatings(reading, tables))
    return Shop(
        rules or example.RULES,
        machines,
        fixtures,
        probes,
        people,
        tuple(authorisations),
        tuple(slots),
        tuple(seatings),
    )


def _rows(reading: _Reading, tables: Table, name: str) -> Iterator[tuple[str, Table]]:
    """The tables of one name with their places in words: `machine “mill-1”`, or `machine 2` without an id."""
    rows = tables.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        reading.fault(name, "not_a_list_of_tables", table=name)
        return
    for number, row in enumerate(rows, start=1):
        yield (f"{name} “{row['id']}”" if row.get("id") else f"{name} {number}"), row


def _items(
    reading: _Reading, tables: Table, name: str, sound: Item, aside: tuple[str, ...] = ()
) -> tuple[Item, ...]:
    found: dict[str, Item] = {}
    for place, row in _rows(reading, tables, name):
        own = {key: value for key, value in row.items() if key not in aside}
        item = _item(reading, place, sound, own)
        if item is None:
            continue
        item_id = str(getattr(item, "id"))  # noqa: B009 - generic over the items
        if item_id in found:
            reading.fault(place, "id_twice", id=item_id)
        if item_id in (NOBODYS if name == "person" else TAKEN_WORDS):
            reading.fault(place, "id_taken", id=item_id)
        found[item_id] = item
    return tuple(found.values())


def _item(reading: _Reading, place: str, sound: Item, row: Table) -> Item | None:
    """One item out of its table, or None with its faults noted."""
    before = len(reading.faults)
    known = {field.name for field in fields(sound)}  # type: ignore[arg-type]
    given = {
        name: value for key, raw in row.items() for name, value in _field(reading, place, known, key, raw)
    }
    kind = type(sound)
    missing = sorted(set(required_fields(kind)) - given.keys())
    written = {FEEDS_IN_INCHES.get(key, name_and_unit(key, known)[0]) for key in row}
    for name in missing:
        if name not in written:
            reading.fault(place, "field_missing", field=name.replace("_nm", "_mm (or _in, _um)"))
    for name, value in given.items():
        beside = {other: given[other] for other in BESIDE.get(name, ()) if other in given}
        _try(reading, place, partial(replace, sound, **{**beside, name: value}))  # type: ignore[type-var]
    if len(reading.faults) > before:
        return None
    return _try(reading, place, partial(kind, **given))


def _try(reading: _Reading, place: str, make: Callable[[], Item]) -> Item | None:
    try:
        return make()
    except DomainError as error:
        reading.refused(place, error)
        return None


def _field(reading: _Reading, place: str, known: set[str], key: str, raw: Any) -> Iterator[tuple[str, Any]]:
    """The field that a key fills, with its value in the domain's units;
    nothing and a fault when there is none.
    """
    name, suffix = name_and_unit(key, known)
    if key in FEEDS_IN_INCHES:
        name, suffix, raw = FEEDS_IN_INCHES[key], "", _feed(raw)
    if name in TOOLS and isinstance(raw, int) and not isinstance(raw, bool):
        raw = str(raw)
    if name not in known or key.endswith("_nm"):
        reading.fault(place, "unknown_field", field=key)
        return
    try:
        yield name, _in_nm(raw, suffix) if suffix else _plain(raw)
    except DomainError as error:
        reading.refused(f"{place}, {key}", error)
    except (TypeError, ArithmeticError):
        reading.fault(f"{place}, {key}", "not_a_length", given=str(raw))


def _feed(raw: Any) -> Any:
    """A feed in inches a minute in millimetres a minute; what is no number stays, and is refused as such."""
    is_number = isinstance(raw, int | Decimal) and not isinstance(raw, bool)
    return Decimal(raw) * MM_PER_IN if is_number else raw


def name_and_unit(key: str, known: set[str]) -> tuple[str, str]:
    """The field's name, and the ending that is its unit where the field is a length."""
    name = f"{key[:-3]}_nm"
    return (name, key[-3:]) if key[-3:] in NM_PER and name in known else (key, "")


def _in_nm(raw: Any, suffix: str) -> Any:
    """Lengths inside lists and tables by axis too.
    Raises `LengthNotWholeError`, or TypeError for what is none.
    """
    if isinstance(raw, list):
        return tuple(_in_nm(one, suffix) for one in raw)
    if isinstance(raw, dict):
        return {axis: _in_nm(one, suffix) for axis, one in raw.items()}
    if isinstance(raw, bool) or not isinstance(raw, int | Decimal):
        raise TypeError(raw)
    value_nm = Decimal(raw) * NM_PER[suffix]
    if value_nm != value_nm.to_integral_value():
        raise LengthNotWholeError(value=str(raw), unit=suffix[1:])
    return int(value_nm)


def _plain(raw: Any) -> Any:
    if isinstance(raw, Decimal):
        return float(raw)
    if isinstance(raw, list):
        return tuple(_plain(one) for one in raw)
    if isinstance(raw, dict):
        return dict(_in_a_row(key, value) for key, value in raw.items())
    return raw


def _in_a_row(key: str, raw: Any) -> tuple[str, Any]:
    """A field of a table inside a list: lengths carry their unit there too. Raises as `_in_nm`."""
    if key[-3:] in NM_PER:
        return f"{key[:-3]}_nm", _in_nm(raw, key[-3:])
    return key, _plain(raw)


def _moment(reading: _Reading, place: str, raw: Any, days_later: int = 1) -> str | None:
    """A day of the shop's zone counts to its end, or, `days_later` 0, from its beginning;
    a time needs its zone.
    """
    if isinstance(raw, datetime):
        if raw.tzinfo is None:
            reading.fault(place, "time_without_zone", given=str(raw))
            return None
        return raw.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    if isinstance(raw, date):
        try:
            return day_begins_utc(raw, reading.zone, days_later)
        except OverflowError:
            pass
    reading.fault(place, "not_a_date", given=str(raw))
    return None


def _written(reading: _Reading, place: str, shape: Shape[Row], row: object) -> Row | None:
    """The row as one of this shape, or None with everything that is wrong with it noted."""
    if not isinstance(row, dict):
        reading.fault(place, "not_a_list_of_tables", table=place)
        return None
    faults = shape.faults(row)
    for fault in faults:
        if fault.kind == "missing":
            reading.fault(place, "field_missing", field=fault.field)
        elif fault.kind == "unknown":
            reading.fault(place, "unknown_field", field=fault.field)
        else:
            reading.fault(place, "not_text", fields=fault.field)
    return None if faults else cast("Row", row)


def _authorisations(reading: _Reading, tables: Table) -> Iterator[Authorisation]:
    for place, person in _rows(reading, tables, "person"):
        rows = person.get("authorised", [])
        for row in rows if isinstance(rows, list) else [rows]:
            inner = f"{place}, authorised"
            written = _written(reading, inner, AUTHORISED, row)
            if written is None:
                continue
            until_utc = _moment(reading, inner, written["until"]) if "until" in written else None
            level, training = written.get("level"), written.get("training")
            if level is not None and level not in LEVELS:
                reading.fault(inner, "level", given=level, known=", ".join(LEVELS))
            if training is not None and len(training) > LONGEST_TEXT:
                reading.fault(inner, "training_too_long", longest=LONGEST_TEXT)
            if until_utc is not None or "until" not in written:
                yield Authorisation(str(person.get("id", "")), written["machine"], until_utc, level, training)


def _slots(reading: _Reading, tables: Table) -> Iterator[SlotAssignment]:
    for number, (_, row) in enumerate(_rows(reading, tables, "slot"), start=1):
        place = f"slot {number} ({row.get('machine', '?')} {row.get('label', '?')})"
        written = _written(reading, place, SLOT, row)
        if written is None:
            continue
        until_utc = _moment(reading, place, written["until"]) if "until" in written else None
        if written["kind"] not in SLOT_KINDS:
            reading.fault(place, "slot_kind", given=written["kind"], known=", ".join(SLOT_KINDS))
            continue
        owner = written.get("owner")
        yield SlotAssignment(written["machine"], written["label"], written["kind"], owner, until_utc)


def _seatings(reading: _Reading, tables: Table) -> Iterator[SeatingStart]:
    for place, fixture in _rows(reading, tables, "fixture"):
        rows = fixture.get("seating", [])
        if not isinstance(rows, list) or not rows:
            reading.fault(place, "no_seating")
            continue
        latest = ""
        for row in rows:
            inner = f"{place}, seating"
            written = _written(reading, inner, SEATING, row)
            since_utc = None if written is None else _moment(reading, inner, written["since"], 0)
            if written is None or since_utc is None:
                continue
            if since_utc <= latest:
                reading.fault(inner, "seatings_out_of_order", id=written["id"])
            latest = since_utc
            yield SeatingStart(written["id"], str(fixture.get("id", "")), since_utc, written["reason"])
