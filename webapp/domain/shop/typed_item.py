"""An item of the shop as somebody types it: texts in, a sound item or every fault at once out, and back.

Rules of this module:
- Lengths are typed in the item's unit (a machine's own), uncertainties in micrometres, feeds in the unit a
  minute; 1 in = 25.4 mm exactly. A comma counts as a point; one that could part thousands is refused with
  both readings. What is finer than a nanometre is refused.
- Each input is looked at by itself beside a sound example, so that one fault does not hide the next; then the
  item as a whole. A fault stands under the name of its input.
- What an item has that cannot be asked for in a form (a face's own depth, say) stays as it was, as long as
  nobody answers otherwise there.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from functools import partial
from typing import Any

from webapp.domain.plain.errors import DomainError, Fields, Finding
from webapp.domain.plain.length_errors import NumberAmbiguousCommaError
from webapp.domain.plain.lengths import check_comma
from webapp.domain.shop import examples
from webapp.domain.shop.asked import ASKED, AXES, Asked, Kind
from webapp.domain.shop.fields import ShopFieldError
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, ShopRules

Item = ShopRules | Machine | Fixture | Probe
LENGTHS = {"length", "travel", "um", "by_axis", "heights"}
NUMBER = re.compile(r"[+\-\u2212]?[0-9]{1,12}([.,][0-9]{1,12})?")
NM_PER_UNIT = {"mm": Decimal(1_000_000), "in": Decimal(25_400_000), "um": Decimal(1_000)}
MM_PER_IN = Decimal("25.4")
CLASSES: dict[Kind, Callable[..., Any]] = {
    "shop": ShopRules,
    "machine": Machine,
    "fixture": Fixture,
    "probe": Probe,
}
EXAMPLES: dict[Kind, Item] = {
    "shop": examples.RULES,
    "machine": examples.MACHINE,
    "fixture": examples.FIXTURE,
    "probe": examples.PROBE,
}
# Fields that only make sense together with another, beside the example.
BESIDE = {
    "square_apart_nm": ("jaw_length_nm", "clamping_axis", "clamping_direction", "faces"),
    "parking_tool": ("probe_tool",),
    "z_point": ("z_length_nm",),
    "parked_z_nm": ("z_zero_at_top", "travel_nm", "unit", "decimals"),
    "decimals": ("unit",),
}
# Longer than any spindle probe carries; common practice, no source.
MOST_STYLUS_NM = 300_000_000
CLAMPS = {"back": ("Y", -1), "front": ("Y", 1), "left": ("X", 1), "right": ("X", -1)}
KEPT_AS_IT_IS = "as_is"
# The input that a fault of a composed field stands under.
SHOWN_UNDER = {"faces": "touched_end", "clamping_axis": "fixed_side", "clamping_direction": "fixed_side"}


@dataclass(frozen=True)
class Typed:
    """The item that was typed, or None; every fault by the name of its input ("" for the whole)."""

    item: Item | None
    faults: Mapping[str, Finding]


class _Fault(Exception):
    def __init__(self, code: str, **more: str | int) -> None:
        super().__init__(code)
        self.finding = Finding(f"field.{code}", more)


def read_typed(
    kind: Kind, item_id: str, typed: Mapping[str, str], unit: str, before: Item | None = None
) -> Typed:
    """Return the item of this id that the texts describe. `unit`: "mm" or "in", of lengths and feeds.

    `before` is the item as it was: what is not asked for stays as it is there.
    """
    reading = _Reading(kind, unit, before)
    for asked in ASKED[kind]:
        reading.take(asked, typed)
    if kind == "fixture":
        reading.stands(typed)
    return reading.whole(item_id)


class _Reading:
    """One pass over what was typed."""

    def __init__(self, kind: Kind, unit: str, before: Item | None) -> None:
        self._kind, self._unit, self._before = kind, unit, before
        self.given: dict[str, Any] = {}
        self.faults: dict[str, Finding] = {}

    def take(self, asked: Asked, typed: Mapping[str, str]) -> None:
        """One input into the domain's value, or its fault noted. An empty one is what the class says."""
        texts = {name: typed.get(name, "").strip() for name in asked.inputs}
        if not any(texts.values()):
            if asked.needed:
                code = "not_chosen" if asked.how in {"choice", "truth", "reference"} else "empty"
                self.faults[asked.inputs[0]] = Finding(f"field.{code}")
            elif asked.how == "some" and asked.name in typed:
                self.given[asked.name] = ()
            elif asked.how == "some" and self._before is not None:  # the form did not ask
                self.given[asked.name] = getattr(self._before, asked.name)
            return
        if asked.composed:
            if typed[asked.name] not in (*asked.options, KEPT_AS_IT_IS):
                self.faults[asked.name] = Finding("field.not_chosen")
            return
        values: dict[str, Any] = {}
        for name, text in texts.items():
            try:
                values[name] = self._value(asked, text)
            except _Fault as fault:
                self.faults[name] = fault.finding
            except NumberAmbiguousCommaError as refused:
                self.faults[name] = refused.finding()
        if values.keys() == texts.keys():
            self.given[asked.name] = _joined(asked, values)

    def _value(self, asked: Asked, text: str) -> Any:
        if asked.how in LENGTHS:
            return self._length(asked, text)
        if asked.how in {"choice", "truth"}:
            if text not in asked.options:
                raise _Fault("not_chosen")
            return text == "yes" if asked.how == "truth" else text
        if asked.how in {"some", "names"}:
            return tuple(text.replace(",", " ").split())
        return _counted(asked, text, self._unit)

    def _length(self, asked: Asked, text: str) -> Any:
        if asked.how == "heights":
            return tuple(_nm(one, self._unit) for one in text.split())
        return _nm(text, "um" if asked.how in {"um", "by_axis"} else self._unit)

    def stands(self, typed: Mapping[str, str]) -> None:
        """How a fixture stands, out of the three answers; as it was where they are the same as before."""
        answers = {name: typed.get(name, "") for name in ("fixed_side", "touched_end", "order")}
        before = self._before
        if isinstance(before, Fixture) and answers == _stands(before):
            for name in ("clamping_axis", "clamping_direction", "faces", "sides_first"):
                self.given[name] = getattr(before, name)
        elif answers["fixed_side"] in CLAMPS and answers["touched_end"] in {"low", "high"}:
            axis, direction = CLAMPS[answers["fixed_side"]]
            other, sides_first = ("X" if axis == "Y" else "Y"), answers["order"] == "sides"
            end = FixtureFace(other, *((-1, "left_end") if answers["touched_end"] == "low"
                                       else (1, "right_end")))  # fmt: skip
            clamp, top = FixtureFace(axis, direction, "front"), FixtureFace("Z", 1, "top")
            faces = (clamp, end, top) if sides_first else (top, end, clamp)
            self.given |= {"clamping_axis": axis, "clamping_direction": direction, "faces": faces}
            self.given["sides_first"] = sides_first
        elif "fixed_side" not in self.faults and "touched_end" not in self.faults:
            self.faults["touched_end"] = Finding("field.not_chosen")

    def whole(self, item_id: str) -> Typed:
        """Each value beside the example, then all of them together."""
        kept = {}
        if self._before is not None:
            asked = {one.name for one in ASKED[self._kind]} | set(self.given) | {"id"}
            kept = {
                one.name: getattr(self._before, one.name)
                for one in fields(self._before)
                if one.name not in asked
            }
        sound = EXAMPLES[self._kind]
        for name, value in self.given.items():
            beside = {other: self.given[other] for other in BESIDE.get(name, ()) if other in self.given}
            self._try(name, partial(replace, sound, **{**beside, name: value}))
        self._too_long()
        if self.faults:
            return Typed(None, self.faults)
        named = {} if self._kind == "shop" else {"id": item_id}
        item = self._try("", partial(CLASSES[self._kind], **{**kept, **named, **self.given}))
        return Typed(None if self.faults else item, self.faults)

    def _too_long(self) -> None:
        reach_nm = self.given.get("stylus_reach_nm", 0)
        if self._kind == "probe" and reach_nm > MOST_STYLUS_NM:
            said: Fields = {"value": f"{reach_nm / 1e6:g}", "most": f"{MOST_STYLUS_NM / 1e6:g}"}
            self.faults["stylus_reach_nm"] = Finding("field.stylus_too_long", said)

    def _try(self, name: str, make: Callable[[], Any]) -> Any:
        try:
            return make()
        except ShopFieldError as error:
            field = str(error.fields["field"])
            if name and field != name:
                return None  # of the example, not of what was typed
            self._note(field, error)
        except DomainError as error:
            self._note(name, error)
        return None

    def _note(self, field: str, error: DomainError) -> None:
        asked = next((one for one in ASKED[self._kind] if one.name == field), None)
        place = asked.inputs[0] if asked else SHOWN_UNDER.get(field, "")
        finding = Finding(error.code, error.fields)
        if isinstance(error, ShopFieldError):
            finding = (
                Finding("field.travel_order")
                if field == "travel_nm"
                else Finding("field.expected_here", {"expected_code": error.fields["expected_code"]})
            )
        self.faults.setdefault(place, finding)


def _counted(asked: Asked, text: str, unit: str) -> Any:
    """A number that is no length, or the text itself where it is none."""
    if asked.how not in {"feed", "number", "count"}:
        return text
    number = _number(text)
    if asked.how == "count":
        if number != number.to_integral_value():
            raise _Fault("expected", typed=text[:40], expected_code="expected.count")
        return int(number)
    return float(number * (MM_PER_IN if asked.how == "feed" and unit == "in" else 1))


def _joined(asked: Asked, values: Mapping[str, object]) -> Any:
    if asked.how == "travel":
        return {
            axis: (values[f"{asked.name}.{axis}.low"], values[f"{asked.name}.{axis}.high"]) for axis in AXES
        }
    if asked.how == "by_axis":
        return {axis: values[f"{asked.name}.{axis}"] for axis in AXES}
    return values[asked.name]


def _number(text: str) -> Decimal:
    if not NUMBER.fullmatch(text):
        raise _Fault("not_a_number", typed=text[:40])
    check_comma(text)
    return Decimal(text.replace(",", ".").replace("\u2212", "-"))


def _nm(text: str, unit: str) -> int:
    value_nm = _number(text) * NM_PER_UNIT[unit]
    if value_nm != value_nm.to_integral_value():
        raise _Fault("not_whole_nm", typed=text[:40], unit="µm" if unit == "um" else unit)
    return int(value_nm)


def typed_ends(typed: Mapping[str, str], unit: str) -> dict[str, tuple[int | None, int | None]]:
    """Return the ends of each axis' travel as they are typed, in nm; None for one that cannot be read."""
    return {
        axis: (_end(typed.get(f"travel_nm.{axis}.low", ""), unit),
               _end(typed.get(f"travel_nm.{axis}.high", ""), unit))
        for axis in AXES
    }  # fmt: skip


def _end(text: str, unit: str) -> int | None:
    try:
        return _nm(text.strip(), unit)
    except (_Fault, NumberAmbiguousCommaError):
        return None


def typed_of(kind: Kind, item: Item, unit: str) -> dict[str, str]:
    """Return the texts that give this item back: what stands in a form before anybody types."""
    found: dict[str, str] = {}
    for asked in ASKED[kind]:
        if not asked.composed:
            found.update(_texts(asked, getattr(item, asked.name), unit))
    if isinstance(item, Fixture):
        found.update(_stands(item))
    return found


def _texts(asked: Asked, value: Any, unit: str) -> dict[str, str]:
    match asked.how:
        case "travel":
            return {
                f"{asked.name}.{axis}.{end}": plain_length(value[axis][place], unit)
                for axis in AXES
                for place, end in enumerate(("low", "high"))
            }
        case "by_axis":
            return {f"{asked.name}.{axis}": plain_length(value[axis], "um") for axis in AXES}
    return {asked.name: "" if value is None else _text(asked, value, unit)}


def _text(asked: Asked, value: Any, unit: str) -> str:
    match asked.how:
        case "length":
            return plain_length(value, unit)
        case "um":
            return plain_length(value, "um")
        case "heights":
            return " ".join(plain_length(one, unit) for one in value)
        case "feed":
            return plain_number(Decimal(repr(value)) / (MM_PER_IN if unit == "in" else 1))
        case "number":
            return plain_number(Decimal(repr(float(value))))
        case "truth":
            return "yes" if value else "no"
        case "some" | "names":
            return " ".join(value)
    return str(value)


def plain_length(value_nm: int, unit: str) -> str:
    """Return whole nanometres in this unit, without zeros that say nothing: exact, where the unit has it."""
    return plain_number(Decimal(value_nm) / NM_PER_UNIT[unit])


def plain_number(value: Decimal) -> str:
    """Return a decimal as people write it: no exponent, no zeros behind the last digit."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def is_exact_in(kind: Kind, item: Item, unit: str) -> bool:
    """Tell whether the item comes back the same from its texts in this unit."""
    again = read_typed(kind, getattr(item, "id", ""), typed_of(kind, item, unit), unit, item)
    return again.item == item


def _stands(fixture: Fixture) -> dict[str, str]:
    """Return the three answers of a fixture; `as_is` where no answer says what its faces are."""
    plain = {face.face: face for face in fixture.faces}
    end = next((one for one in ("left_end", "right_end") if one in plain), None)
    as_asked = plain.keys() == {"front", "top", end} and all(face.depth_nm is None for face in fixture.faces)
    fits = as_asked and end is not None and plain[end].normal == (-1 if end == "left_end" else 1)
    fits = fits and plain["front"].normal == fixture.clamping_direction
    return {
        "fixed_side": fixture.fixed_side,
        "touched_end": ("low" if end == "left_end" else "high") if fits else KEPT_AS_IT_IS,
        "order": "sides" if fixture.sides_first else "top",
    }


def unit_of(value: object) -> str:
    """Return "mm" or "in" out of what was sent; mm for anything else."""
    return "in" if value == "in" else "mm"
