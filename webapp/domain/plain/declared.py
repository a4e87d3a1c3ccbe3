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

from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar, get_args, get_origin, get_type_hints

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from typing_extensions import is_typeddict

T = TypeVar("T")
ANYTHING = "expected.text"

# Above a TypedDict: exactly these fields, each of exactly this type.
# 1.0 is no whole number, and 1 is no text.
exactly = with_config(ConfigDict(extra="forbid", strict=True))


@dataclass(frozen=True)
class Expected:
    """Beside a field's type: the code of the words that say what was expected there."""

    code: str


@dataclass(frozen=True)
class Fault:
    """What is wrong first: a field that is missing, one too many, or one that holds what it cannot hold."""

    kind: Literal["missing", "unknown", "wrong"]
    field: str
    expected_code: str = ""


class Shape(Generic[T]):
    """A declared type, ready to look at values.
    `expected` holds the code beside each of its fields, in their order.
    """

    def __init__(self, declared: Any) -> None:
        self._adapter: TypeAdapter[T] = TypeAdapter(declared)
        fields = get_origin(declared) or declared
        hints = get_type_hints(fields, include_extras=True) if is_typeddict(fields) else {}
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
            return self._first_fault(error)

    def _first_fault(self, error: ValidationError) -> Fault:
        """Missing fields come before unknown ones, and both before wrong ones, each in the order of
        declaration.
        """
        found = error.errors(include_url=False, include_context=False, include_input=False)
        places = [(one["type"], tuple(map(str, one["loc"]))) for one in found]
        for kind, place in places:
            if kind == "missing" and len(place) == 1:
                return Fault("missing", place[0])
        unknown = [place[0] for kind, place in places if kind == "extra_forbidden" and len(place) == 1]
        if unknown:
            return Fault("unknown", min(unknown))
        field = next((place[0] for _, place in places if place), "")
        return Fault("wrong", field, self.expected.get(field, ANYTHING))


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
