"""Base64url and JSON, read in one way only.

Two readers that understand one message differently are a hole, so both are read strictly:
- base64url as RFC 7515 section 2 has it: no padding, no line breaks, and the unused last bits are zero, so
  that one value has one spelling;
- JSON objects without repeated names, NaN, Infinity or integers of 2**53 and more (RFC 8259 section 4 calls
  the meaning of repeated names unpredictable; RFC 7493 section 2.2 sets the bound of integers).
"""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from typing import Any

LARGEST_INTEGER = 2**53 - 1


def to_base64url(value: bytes) -> str:
    """Base64url of these bytes, without padding."""
    return urlsafe_b64encode(value).rstrip(b"=").decode("ascii")


def from_base64url(text: str) -> bytes:
    """The bytes behind the one valid spelling. Raises ValueError for every other spelling."""
    value = urlsafe_b64decode(text.encode("ascii") + b"=" * (-len(text) % 4))
    if to_base64url(value) != text:
        raise ValueError("not base64url without padding")
    return value


def canonical_json(value: Any) -> bytes:
    """JSON in UTF-8 with sorted names and no spaces."""
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()


def strict_json(data: bytes) -> Any:
    """The value of one JSON text in UTF-8. Raises ValueError if two readers could take it differently."""
    return json.loads(
        data.decode("utf-8"),
        object_pairs_hook=_without_repeats,
        parse_constant=_no_constant,
        parse_int=_bounded_integer,
    )


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name appears twice in one object")
    return found


def _no_constant(word: str) -> None:
    raise ValueError(f"{word} is not a JSON number")


def _bounded_integer(digits: str) -> int:
    value = int(digits) if len(digits) < 20 else LARGEST_INTEGER + 1
    if abs(value) > LARGEST_INTEGER:
        raise ValueError("an integer is 2**53 or more")
    return value
