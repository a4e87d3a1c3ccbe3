"""Events: what happened during a setup, once, in the past tense, as a tablet signed it.

Rules of this module:
- An event has exactly the fields of the envelope, and its `data` exactly the fields of its kind
  (`event_kinds`): one missing, one too many or one of another kind is refused by name (allow-list; OWASP ASVS
  5.0 requirement 15.3.1).
- Every event carries what binds it: a domain string, device and sequence,
  the device's previous event, setup, sheet, person, version of the shell, wall clock and monotonic time.
- Times are UTC with milliseconds and a Z (ISO 8601-1, RFC 3339 section 5.6).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NoReturn

from webapp.domain.evidence.event_kinds import (
    CLOSING,
    EVENT_DOMAIN,
    KINDS,
    Hash,
    ShortId,
    SignedEvent,
)
from webapp.domain.plain.declared import Fault, Shape
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import SHOWN_CHARACTERS, read_json

__all__ = [
    "CLOSING",
    "EVENT_DOMAIN",
    "HASH",
    "KINDS",
    "SHORT_ID",
]


class EventError(DomainError):
    """A signed payload is no event."""


class EventNotAnObjectError(EventError):
    """The payload, or its data, is no JSON object."""

    code = "event.not_an_object"


class EventFieldMissingError(EventError):
    """A field that every event of this type has is missing."""

    code = "event.field_missing"
    field_names = ("field",)


class EventFieldUnknownError(EventError):
    """A field stands in the event that this type does not have."""

    code = "event.field_unknown"
    field_names = ("field",)


class EventFieldWrongError(EventError):
    """A field holds something that it cannot hold."""

    code = "event.field_wrong"
    field_names = ("field", "expected_code")


class EventTypeUnknownError(EventError):
    """The type is none of the types of this version."""

    code = "event.type_unknown"
    field_names = ("type",)


class EventChainWrongError(EventError):
    """A device's first event names one before it, or a later one names none."""

    code = "event.chain_wrong"
    field_names = ("sequence",)


SHORT_ID: Shape[str] = Shape(ShortId)
HASH: Shape[str] = Shape(Hash)
ENVELOPE: Shape[SignedEvent[Any]] = Shape(SignedEvent[dict[str, Any]])
OF_KIND: Mapping[str, Shape[Any]] = {name: Shape(kind.data) for name, kind in KINDS.items()}


def read_event(payload: bytes) -> SignedEvent[Any]:
    """Return the event in these signed bytes, with exactly the fields of its type.

    Raises a `JsonError` for bytes that are not strict JSON and an `EventError` that names the field at fault.
    """
    return check_event(read_json(payload))


def check_event(value: Any) -> SignedEvent[Any]:
    """Return the same event after every field was looked at. Raises an `EventError`."""
    if not isinstance(value, dict):
        raise EventNotAnObjectError
    event = ENVELOPE.read(value)
    if isinstance(event, Fault):
        _refuse(event, "")
    kind = OF_KIND.get(event["type"])
    if kind is None:
        raise EventTypeUnknownError(type=event["type"][:SHOWN_CHARACTERS])
    data = kind.read(event["data"])
    if isinstance(data, Fault):
        _refuse(data, "data.")
    if (event["previous"] is None) != (event["sequence"] == 1):
        raise EventChainWrongError(sequence=event["sequence"])
    if event["type"] in CLOSING and event["step"] is None:
        raise EventFieldWrongError(field="step", expected_code="expected.step_id")
    return event


def _refuse(fault: Fault, before: str) -> NoReturn:
    if fault.kind == "missing":
        raise EventFieldMissingError(field=before + fault.field)
    if fault.kind == "unknown":
        raise EventFieldUnknownError(field=before + fault.field[:SHOWN_CHARACTERS])
    raise EventFieldWrongError(field=before + fault.field, expected_code=fault.expected_code)
