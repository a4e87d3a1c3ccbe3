"""JSON that two readers cannot understand differently.

Rules of this module:
- Read: UTF-8 without a byte order mark, below 64 KiB (a ledger entry's length is kept in 16 bits: C2SP
  tlog-tiles, entry bundles), no repeated names (RFC 8259 section 4 calls their meaning unpredictable), no NaN
  or Infinity (RFC 8259 section 6), no integer of 2**53 or more (RFC 7493 section 2.2), no half of a surrogate
  pair.
- Write: as RFC 8785 does: no spaces, names sorted by their UTF-16 units (section 3.2.3), numbers as
  ECMAScript writes them (section 3.2.2.3): 12.0 becomes 12. Of its numbers those that would need an exponent,
  and integers of 2**53 and more, are refused here: what is signed and hashed has none.
- Every refusal has a name; nothing is repaired.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from webapp.domain.plain.errors import DomainError

LARGEST_INTEGER = 2**53 - 1
LARGEST_TEXT_BYTES = 64 * 1024 - 1
MOST_INTEGER_DIGITS = 17
SHOWN_CHARACTERS = 40
DEEPEST = 64


class JsonError(DomainError):
    """A JSON text or a value cannot be taken."""


class JsonTooLongError(JsonError):
    """The text has 64 KiB or more."""

    code = "json.too_long"
    field_names = ("bytes", "most")


class JsonNotUtf8Error(JsonError):
    """The bytes are not UTF-8, or start with a byte order mark."""

    code = "json.not_utf8"
    field_names = ("position",)


class JsonMalformedError(JsonError):
    """The text is not one JSON value."""

    code = "json.malformed"
    field_names = ("position",)


class JsonRepeatedNameError(JsonError):
    """A name appears twice in one object."""

    code = "json.repeated_name"
    field_names = ("name",)


class JsonNotANumberError(JsonError):
    """NaN, Infinity or -Infinity stands where a number belongs, or a number is too large to keep."""

    code = "json.not_a_number"
    field_names = ("word",)


class JsonIntegerTooLargeError(JsonError):
    """An integer is 2**53 or more, or -2**53 or less."""

    code = "json.integer_too_large"
    field_names = ("digits",)


class JsonLoneSurrogateError(JsonError):
    """A text holds half of a surrogate pair, which UTF-8 cannot write."""

    code = "json.lone_surrogate"


class JsonTooDeepError(JsonError):
    """Lists and objects are nested too deeply."""

    code = "json.too_deep"
    field_names = ("most",)


class JsonCannotWriteError(JsonError):
    """The value is no text, whole number, plain decimal,
    truth value, null, list or object with text names.
    """

    code = "json.cannot_write"
    field_names = ("kind",)


def read_json(data: bytes, most_bytes: int = LARGEST_TEXT_BYTES) -> Any:
    """Return the value of one JSON text of at most `most_bytes` bytes.
    Raises a `JsonError` that says why not.
    """
    if len(data) > most_bytes:
        raise JsonTooLongError(bytes=len(data), most=most_bytes)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JsonNotUtf8Error(position=error.start) from None
    if text.startswith("\ufeff"):
        raise JsonNotUtf8Error(position=0)
    try:
        value = _DECODER.decode(text)
    except json.JSONDecodeError as error:
        raise JsonMalformedError(position=error.pos) from None
    except RecursionError:
        raise JsonTooDeepError(most=DEEPEST) from None
    # Only an escape can bring half a pair into text that was UTF-8.
    if "\\u" in text:
        _check_writable(value)
    return value


def canonical_text(value: Any) -> str:
    """Return the one JSON text of `value`: names sorted, no spaces.
    Raises a `JsonError` for what has no such text.
    """
    text = json.dumps(_plain(value, 0), separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    _check_utf8(text)
    return text


def canonical_bytes(value: Any) -> bytes:
    """Return `canonical_text` in UTF-8, the bytes that are hashed and signed."""
    return canonical_text(value).encode("utf-8")


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        repeated = next(name for place, name in enumerate(names) if name in names[:place])
        raise JsonRepeatedNameError(name=repeated[:SHOWN_CHARACTERS])
    return found


def _integer(digits: str) -> int:
    value = int(digits) if len(digits) <= MOST_INTEGER_DIGITS else LARGEST_INTEGER + 1
    if not -LARGEST_INTEGER <= value <= LARGEST_INTEGER:
        raise JsonIntegerTooLargeError(digits=digits[:SHOWN_CHARACTERS])
    return value


def _decimal(digits: str) -> float:
    value = float(digits)
    if value in {float("inf"), float("-inf")}:
        raise JsonNotANumberError(word=digits[:SHOWN_CHARACTERS])
    return value


def _constant(word: str) -> None:
    raise JsonNotANumberError(word=word)


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_int=_integer, parse_float=_decimal, parse_constant=_constant
)


def _check_writable(value: Any) -> None:
    _check_utf8(json.dumps(value, ensure_ascii=False))


def _check_utf8(text: str) -> None:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise JsonLoneSurrogateError from None


def _plain(value: Any, depth: int) -> Any:
    """Return the value with every number in its one spelling;
    `depth` counts the lists and objects around it.
    """
    if depth > DEEPEST:
        raise JsonTooDeepError(most=DEEPEST)
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, int | float):
        return _number(value)
    if isinstance(value, dict) and all(isinstance(name, str) for name in value):
        return {name: _plain(value[name], depth + 1) for name in _sorted(value)}
    if isinstance(value, list | tuple):
        return [_plain(item, depth + 1) for item in value]
    raise JsonCannotWriteError(kind=type(value).__name__)


def _sorted(names: Iterable[str]) -> list[str]:
    """Names by their UTF-16 units; for ASCII, as nearly all are, Python's own order is the same."""
    plain = sorted(names)
    return plain if all(map(str.isascii, plain)) else sorted(plain, key=_utf16)


def _utf16(name: str) -> bytes:
    return name.encode("utf-16-be", "surrogatepass")


def _number(value: Any) -> Any:
    if isinstance(value, float):
        if value.is_integer():
            return _number(int(value))
        # "inf" and "nan" are caught here too: both hold an n.
        if not set(repr(value)) <= set("-0123456789."):
            raise JsonNotANumberError(word=repr(value))
        return value
    if not -LARGEST_INTEGER <= value <= LARGEST_INTEGER:
        raise JsonIntegerTooLargeError(digits=str(value)[:SHOWN_CHARACTERS])
    return value
