"""Declared shapes: one class says what fields there are,
for the type check and for what comes in from outside.

Question: how does a value from outside (an event, a call of a tablet, an item of the shop) become one of a
known shape? Options, measured on an event with every check that it has, the strict reader being 1.00 (`python
-m tests.bench.bench_shapes`):
- checks written by hand, 0.79: the fields stand a second time for the type check, or not at all;
- msgspec, 0.68 as a struct, 1.02 as a TypedDict: a struct has attributes and no names,
  a TypedDict lets unknown fields in, and the place of a fault stands only inside a sentence;
- pydantic, 0.69: strict, unknown fields refused, all faults as data with their places.
Choice: pydantic, here and nowhere else.
A whole intake is a signature's verification and little more, so that none of them shows there.
Consequence: the strict reader (`json_strict`) stays in front, because pydantic lets a name stand twice and
takes any whole number; refusals keep codes and fields of their own (see `Fault`), and no sentence of the
library reaches anybody.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Generic, Literal, TypeVar, get_args, get_origin, get_type_hints

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict, is_typeddict

T = TypeVar("T")
ANYTHING = "expected.text"
KINDS: Mapping[str, Literal["missing", "unknown"]] = {"missing": "missing", "extra_forbidden": "unknown"}

# Above a TypedDict or a dataclass: exactly these fields, each of exactly this type.
# 1.0 is no whole number, and 1 is no text.
exactly = with_config(ConfigDict(extra="forbid", strict=True))


@dataclass(frozen=True)
class Expected:
    """Beside a field's type: the code of the words that say what was expected there."""

    code: str


@dataclass(frozen=True)
class Fault:
    """A field that is missing, one too many, or one that holds what it cannot hold.
    `place` is the whole way to it, from outside to inside.
    """

    kind: Literal["missing", "unknown", "wrong"]
    field: str
    expected_code: str = ""
    place: tuple[str | int, ...] = ()


class Shape(Generic[T]):
    """A declared type, ready to look at values.
    `expected` holds the code beside each of its fields, in their order.
    """

    def __init__(self, declared: Any) -> None:
        self._adapter: TypeAdapter[T] = TypeAdapter(declared)
        named = get_origin(declared) or declared
        hints = get_type_hints(named, include_extras=True) if is_typeddict(named) else {}
        self.expected = {name: _expected_in(hint) for name, hint in hints.items()}

    def passes(self, value: object) -> bool:
        """Tell whether the value is one of this shape."""
        try:
            self._adapter.validate_python(value)
        except ValidationError:
            return False
        return True

    def read(self, value: object) -> T | Fault:
        """Return the value as one of this shape, or what is wrong with it first."""
        try:
            return self._adapter.validate_python(value)
        except ValidationError as error:
            return self._in_order(error)[0]

    def read_text(self, text: bytes) -> T | Fault:
        """Return what this JSON text holds, which the strict reader took before, or what is wrong first.
        What a class keeps as a tuple or as another class is a list or an object there.
        """
        try:
            return self._adapter.validate_json(text)
        except ValidationError as error:
            return self._in_order(error)[0]

    def faults(self, value: object) -> list[Fault]:
        """Return everything that is wrong with the value; empty when it is one of this shape."""
        try:
            self._adapter.validate_python(value)
        except ValidationError as error:
            return self._in_order(error)
        return []

    def _in_order(self, error: ValidationError) -> list[Fault]:
        """Missing fields come before unknown ones, and both before wrong ones, each in the order of
        declaration, unknown ones by name; one field once.
        """
        found = error.errors(include_url=False, include_context=False, include_input=False)
        faults = [self._fault(one["type"], one["loc"]) for one in found]
        unknown = sorted((one for one in faults if one.kind == "unknown"), key=lambda one: one.field)
        missing = [one for one in faults if one.kind == "missing"]
        wrong = [one for one in faults if one.kind == "wrong"]
        first: dict[tuple[str, str], Fault] = {}
        for one in (*missing, *unknown, *wrong):
            first.setdefault((one.kind, one.field), one)
        return list(first.values())

    def _fault(self, kind: str, place: tuple[str | int, ...]) -> Fault:
        field = str(place[0]) if place else ""
        if len(place) == 1 and kind in KINDS:
            return Fault(KINDS[kind], field, place=place)
        return Fault("wrong", field, self.expected.get(field, ANYTHING), place)


class FieldsShape(Shape[Any]):
    """Those fields of a class that say beside their type what was expected there, as a table of them.
    A class that checks itself asks it; what hangs on two fields stays with the class.
    """

    def __init__(self, declared: type) -> None:
        hints = get_type_hints(declared, include_extras=True)
        names = [one.name for one in fields(declared)]
        said = {name: hints[name] for name in names if _expected_in(hints[name]) != ANYTHING}
        super().__init__(exactly(TypedDict("Fields", said)))  # type: ignore[operator]


def _expected_in(hint: Any) -> str:
    """Return the first code beside a type, or beside one of its parts, from outside to inside."""
    waiting = [hint]
    while waiting:
        one = waiting.pop(0)
        for beside in getattr(one, "__metadata__", ()):
            if isinstance(beside, Expected):
                return beside.code
        waiting.extend(part for part in get_args(one) if not isinstance(part, str))
    return ANYTHING
