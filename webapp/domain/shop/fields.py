"""How an item of the shop refuses what its fields cannot hold, and how it becomes plain data and back.

Rules of this module:
- A field's type and the words for what was expected there stand once, beside the field (`field_types`);
  `check_fields` looks at every field that says so, and what hangs on two fields stays with its class.
- Every item turns into plain data and back without loss (`as_plain`, `from_plain`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, asdict, fields
from typing import Any, TypeVar

from webapp.domain.plain.declared import Fault, FieldsShape
from webapp.domain.plain.errors import DomainError

Item = TypeVar("Item")


class ShopError(DomainError):
    """A value of the shop cannot be taken."""


class ShopFieldError(ShopError):
    """A field holds something that it cannot hold."""

    code = "shop.field_wrong"
    field_names = ("kind", "id", "field", "expected_code")


class ShopFieldsError(ShopError):
    """A field is missing, or stands there that this kind of item does not have."""

    code = "shop.fields"
    field_names = ("kind", "field")


SHAPES: dict[type, FieldsShape] = {}


def check_fields(item: Any) -> None:
    """Look at every field of an item by its declared type. Raises `ShopFieldError` for the first at fault."""
    kind = type(item)
    shape = SHAPES.get(kind) or SHAPES.setdefault(kind, FieldsShape(kind))
    fault = shape.read({name: getattr(item, name) for name in shape.expected})
    if isinstance(fault, Fault):
        refuse(item, fault.field, fault.expected_code)


def require(item: Any, field: str, holds: bool, expected: str) -> None:
    """Refuse a field that does not fit beside the others. Raises `ShopFieldError`."""
    if not holds:
        refuse(item, field, f"expected.{expected}")


def refuse(item: Any, field: str, expected_code: str) -> None:
    """Raise the `ShopFieldError` of this field of an item."""
    kind, name = type(item).__name__.lower(), getattr(item, "id", "")
    raise ShopFieldError(kind=kind, id=str(name), field=field, expected_code=expected_code)


def keep_as_tuple(item: Any, *names: str) -> None:
    """Keep what came as a list of JSON as a value that cannot change."""
    for name in names:
        object.__setattr__(item, name, tuple(getattr(item, name)))


def as_plain(item: Any) -> dict[str, object]:
    """Return an item as plain data for JSON."""
    return asdict(item)


def required_fields(kind: Callable[..., Any]) -> list[str]:
    """Return the names of the fields that an item of this kind cannot be without, in their order."""
    found = fields(kind)  # type: ignore[arg-type]
    return [one.name for one in found if one.default is MISSING and one.default_factory is MISSING]


def from_plain(kind: Callable[..., Item], value: Mapping[str, object]) -> Item:
    """Return the item in this plain data. Raises a `ShopError` that names the field at fault."""
    known = {one.name for one in fields(kind)}  # type: ignore[arg-type]
    name = getattr(kind, "__name__", "").lower()
    if not isinstance(value, Mapping):
        raise ShopFieldsError(kind=name, field="")
    unknown = sorted(value.keys() - known)
    missing = [name for name in required_fields(kind) if name not in value]
    if unknown or missing:
        raise ShopFieldsError(kind=name, field=(unknown or missing)[0])
    return kind(**value)
