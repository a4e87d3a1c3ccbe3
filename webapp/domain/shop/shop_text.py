"""A shop written out as a shop file, and the starter to be filled in: the same lines, with their words.

Rules of this module:
- What is written is read back the same (`shop_file.read_shop`): a length in inches where its machine shows
  inches and the value has one, else in millimetres; an end that is the end of a day in the shop's zone as
  that day; tool numbers as numbers.
- Above the first item of a kind each field has a line that says what it is for, its usual size and how to
  find it; `say` gives those words, by table and field. What may be left out is written all the same, so that
  nothing is there that cannot be seen.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from webapp.domain.plain.zones import day_begins_utc
from webapp.domain.shop.asked import ASKED, KINDS, Asked
from webapp.domain.shop.shop import Fixture, Machine, Person, Probe, ShopRules
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment
from webapp.domain.shop.typed_item import MM_PER_IN, NM_PER_UNIT, plain_length, plain_number

# Words of a field, by table and field: a list of sentences.
Say = Callable[[str, str], Sequence[str]]
MOST_DECIMALS = {"in": 6, "mm": 6}
HOW: Mapping[tuple[str, str], str] = {(kind, one.name): one.how for kind in KINDS for one in ASKED[kind]}
WIDTH = 100
TABLE_ENDS = {"first_feed_mm_per_min", "fine_feed_mm_per_min"}


def write_shop(shop: Shop, say: Say) -> str:
    """Return the shop as a file that `read_shop` reads back to the same shop."""
    units = {fixture: machine.unit for machine in shop.machines for fixture in machine.fixtures}
    units |= {machine.probe: machine.unit for machine in shop.machines}
    zone = shop.rules.time_zone
    parts = ["\n".join(_item("shop", shop.rules, "mm", say, words=True))]
    kinds: tuple[tuple[str, Sequence[Machine | Fixture | Probe]], ...] = (
        ("machine", shop.machines),
        ("fixture", shop.fixtures),
        ("probe", shop.probes),
    )
    for kind, items in kinds:
        for number, item in enumerate(items):
            unit = item.unit if isinstance(item, Machine) else units.get(item.id, "mm")
            lines = list(_item(kind, item, unit, say, words=number == 0))
            if isinstance(item, Fixture):
                lines += _seatings([one for one in shop.seatings if one.fixture == item.id], zone)
            parts.append("\n".join(lines))
    parts += ["\n".join(_person(one, shop.authorisations, zone)) for one in shop.people]
    parts += ["\n".join(_slot(one, zone)) for one in shop.slots]
    return "\n\n".join(parts) + "\n"


def _item(
    kind: str, item: ShopRules | Machine | Fixture | Probe, unit: str, say: Say, *, words: bool
) -> Iterator[str]:
    yield "[shop]" if kind == "shop" else f"[[{kind}]]"
    for one in fields(item):
        value = getattr(item, one.name)
        if words:
            yield from comment(say(kind, one.name))
        if value is None:
            yield f"# {one.name.removesuffix('_nm')} is left out"
        else:
            key, text = _written(kind, one.name, value, unit)
            yield f"{key} = {text}"


def comment(sentences: Iterable[str]) -> list[str]:
    """Return sentences as comment lines of a file."""
    text = " ".join(one for one in sentences if one)
    return [f"# {line}" for line in textwrap.wrap(text, WIDTH)] if text else []


def _written(kind: str, name: str, value: Any, unit: str) -> tuple[str, str]:
    if name in TABLE_ENDS:
        return _feed(name, Decimal(repr(float(value))), unit)
    how = HOW.get((kind, name), "length" if name.endswith("_nm") else "")
    if name.endswith("_nm"):
        suffix = "um" if how in {"um", "by_axis"} else _unit_for(value, unit)
        return f"{name[:-3]}_{suffix}", _lengths(value, suffix)
    if how == "tool" and value == str(int(value)):
        return name, value
    if name == "faces":
        return name, _faces(value)
    return name, _plain(value)


def _feed(name: str, mm_per_min: Decimal, unit: str) -> tuple[str, str]:
    in_per_min = mm_per_min / MM_PER_IN
    if unit == "in" and in_per_min * MM_PER_IN == mm_per_min and _decimals(in_per_min) <= MOST_DECIMALS["in"]:
        return name.replace("_mm_", "_in_"), plain_number(in_per_min)
    return name, plain_number(mm_per_min)


def _unit_for(value: Any, unit: str) -> str:
    if unit != "in":
        return "mm"
    return unit if all(_fits_inches(one) for one in _flat(value)) else "mm"


def _fits_inches(value_nm: int) -> bool:
    inches = Decimal(value_nm) / NM_PER_UNIT["in"]
    return inches * NM_PER_UNIT["in"] == value_nm and _decimals(inches) <= MOST_DECIMALS["in"]


def _decimals(value: Decimal) -> int:
    return max(0, -int(value.normalize().as_tuple().exponent))


def _flat(value: Any) -> Iterator[int]:
    if isinstance(value, Mapping):
        value = tuple(value.values())
    if isinstance(value, tuple | list):
        for one in value:
            yield from _flat(one)
    else:
        yield value


def _lengths(value: Any, unit: str) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{axis} = {_lengths(one, unit)}" for axis, one in value.items()) + " }"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_lengths(one, unit) for one in value) + "]"
    return plain_length(value, unit)


def _faces(value: Any) -> str:
    rows = []
    for face in value:
        depth = "" if face.depth_nm is None else f", depth_mm = {plain_length(face.depth_nm, 'mm')}"
        rows.append(f'  {{ axis = "{face.axis}", normal = {face.normal}, face = "{face.face}"{depth} }},')
    return "\n".join(["[", *rows, "]"])


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_plain(one) for one in value) + "]"
    if isinstance(value, float):
        return plain_number(Decimal(repr(value)))
    return _text(value) if isinstance(value, str) else str(value)


def _text(value: str) -> str:
    """A basic string of TOML 1.0: what JSON escapes, TOML reads the same."""
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _seatings(rows: Sequence[SeatingStart], zone: str) -> list[str]:
    lines = [
        f"  {{ id = {_text(one.id)}, since = {_begin(one.since_utc, zone)}, reason = {_text(one.reason)} }},"
        for one in rows
    ]
    return ["seating = [", *lines, "]"]


def _person(person: Person, authorisations: Sequence[Authorisation], zone: str) -> list[str]:
    lines = ["[[person]]", f"id = {_text(person.id)}", f"name = {_text(person.name)}"]
    lines.append(f"roles = {_plain(person.roles)}")
    lines += [] if person.in_use else ["in_use = false"]
    own = [one for one in authorisations if one.person == person.id]
    rows = []
    for one in own:
        until = "" if one.until_utc is None else f", until = {_end(one.until_utc, zone)}"
        level = "" if one.level is None else f", level = {_text(one.level)}"
        training = f", training = {_text(one.training)}" if one.training else ""
        rows.append(f"{{ machine = {_text(one.machine)}{until}{level}{training} }}")
    return [*lines, f"authorised = [{', '.join(rows)}]"] if own else lines


def _slot(slot: SlotAssignment, zone: str) -> list[str]:
    lines = ["[[slot]]", f"machine = {_text(slot.machine)}", f"label = {_text(slot.label)}"]
    lines.append(f"kind = {_text(slot.kind)}")
    if slot.owner is not None:
        lines.append(f"owner = {_text(slot.owner)}")
    return lines if slot.until_utc is None else [*lines, f"until = {_end(slot.until_utc, zone)}"]


def _begin(at_utc: str, zone: str) -> str:
    day = _day(at_utc, zone)
    return day.isoformat() if day_begins_utc(day, zone) == at_utc else at_utc


def _end(at_utc: str, zone: str) -> str:
    day = _day(at_utc, zone) - timedelta(days=1)
    return day.isoformat() if day_begins_utc(day, zone, 1) == at_utc else at_utc


def _day(at_utc: str, zone: str) -> date:
    return datetime.fromisoformat(at_utc).astimezone(UTC).astimezone(ZoneInfo(zone)).date()


def starter(say: Say, heading: Sequence[str], today: date) -> str:
    """Return a file to fill in: every field with its words, what is needed without a value.

    It is refused as it stands, with a fault for each place that has to be filled in.
    """
    parts = [
        "\n".join(comment(heading)),
        "\n".join(_open("shop", say)),
        "\n".join(["[[machine]]", 'id = "mill"', *_open("machine", say)[1:]]),
        "\n".join(["[[fixture]]", 'id = "vise"', *_open("fixture", say)[1:], *_open_faces(say, today)]),
        "\n".join(["[[probe]]", 'id = "probe"', *_open("probe", say)[1:]]),
        "\n".join(_open_people(say)),
    ]
    return "\n\n".join(parts) + "\n"


def _open(kind: Any, say: Say) -> list[str]:
    lines = ["[shop]" if kind == "shop" else f"[[{kind}]]"]
    for asked in ASKED[kind]:
        if not asked.composed:
            lines += ["", *comment(say(kind, asked.name)), _open_line(asked)]
    return lines


FILLED = {"reference": {"fixture": '"vise"', "probe": '"probe"'}}
BLANKS = {
    "travel": '{ X = ["", ""], Y = ["", ""], Z = ["", ""] }',
    "by_axis": "{ X = 3, Y = 3, Z = 3 }",
    "heights": "[]",
    "some": "[]",
    "names": "[]",
}


def _open_line(asked: Asked) -> str:
    key = asked.name
    if key.endswith("_nm"):
        key = f"{key[:-3]}_{'um' if asked.how in {'um', 'by_axis'} else 'mm'}"
    value = FILLED.get(asked.how, {}).get(asked.name) or BLANKS.get(asked.how, '""')
    return f"{'' if asked.needed else '# '}{key} = {value}"


def _open_faces(say: Say, today: date) -> list[str]:
    lines: list[str] = []
    for name, value in (("clamping_axis", '""'), ("clamping_direction", '""')):
        lines += ["", *comment(say("fixture", name)), f"{name} = {value}"]
    lines += ["", *comment(say("fixture", "faces"))]
    rows = (
        "faces = [",
        '  { axis = "Z", normal = 1, face = "top" },',
        '  # { axis = "X", normal = -1, face = "left_end" },   or normal = 1, face = "right_end"',
        '  # { axis = "Y", normal = -1, face = "front" },      the clamping face, looking as above',
        "]",
    )
    since = ["", *comment(say("fixture", "since"))]
    return [
        *lines,
        *rows,
        *since,
        "seating = [",
        f'  {{ id = "vise-1", since = {today.isoformat()}, reason = "First seating on record" }},',
        "]",
    ]


def _open_people(say: Say) -> list[str]:
    return [
        *comment(say("person", "all")),
        "[[person]]", 'id = "lead"', 'name = ""', 'roles = ["lead", "operator"]',
        'authorised = [{ machine = "mill", level = "alone" }]', "",
        *comment(say("slot", "all")),
        "[[slot]]", 'machine = "mill"', 'label = ""', 'kind = "person"', 'owner = "lead"',
    ]  # fmt: skip
