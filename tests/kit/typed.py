"""Whether a plain value is what a declared type says: exactly its names, and of each name the type."""

from __future__ import annotations

from collections.abc import Iterator
from types import NoneType, UnionType
from typing import (
    Annotated,
    Any,
    Literal,
    NotRequired,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    is_typeddict,
)

import typing_extensions

MAY_LACK = {NotRequired, typing_extensions.NotRequired}
UNWRAPPED = {*MAY_LACK, typing_extensions.ReadOnly}


def misfits(value: Any, hint: Any, place: str = "") -> Iterator[str]:
    """Every place of the value that is not as declared, in words; nothing for one that fits."""
    origin = get_origin(hint)
    if origin is Annotated or origin in UNWRAPPED:
        yield from misfits(value, get_args(hint)[0], place)
    elif is_typeddict(origin or hint) or typing_extensions.is_typeddict(origin or hint):
        yield from _names(value, origin or hint, place)
    elif origin in {Union, UnionType}:
        kinds = get_args(hint)
        found = [list(misfits(value, kind, place)) for kind in kinds]
        if all(found):
            told = [one for kind, one in zip(kinds, found, strict=True) if kind is not NoneType]
            yield from told[0]
    elif origin is Literal:
        if value not in get_args(hint):
            yield f"{place}: {value!r} is none of {get_args(hint)}"
    elif origin in {list, dict}:
        yield from _parts(value, origin, get_args(hint), place)
    elif hint is not Any and hint is not object and not _is(value, hint):
        yield f"{place}: {value!r} is no {getattr(hint, '__name__', hint)}"


def _is(value: Any, hint: Any) -> bool:
    if hint is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, hint) and (hint is bool or not isinstance(value, bool))


def _names(value: Any, declared: Any, place: str) -> Iterator[str]:
    if not isinstance(value, dict):
        yield f"{place}: no object"
        return
    hints = get_type_hints(declared, include_extras=True)
    # Under postponed annotations the class itself does not know which of its names may be left out.
    optional = {name for name, hint in hints.items() if get_origin(hint) in MAY_LACK}
    for name in sorted(declared.__required_keys__ - optional - value.keys()):
        yield f"{place}.{name}: missing"
    for name, part in value.items():
        if name not in hints:
            yield f"{place}.{name}: not declared"
        else:
            yield from misfits(part, hints[name], f"{place}.{name}")


def _parts(value: Any, origin: Any, kinds: tuple[Any, ...], place: str) -> Iterator[str]:
    if not isinstance(value, origin):
        yield f"{place}: no {origin.__name__}"
        return
    parts = value.items() if origin is dict else enumerate(value)
    for name, part in parts:
        yield from misfits(part, kinds[-1], f"{place}[{name}]")
