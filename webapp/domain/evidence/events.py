"""Events: what happened during a setup, once, in the past tense, as a tablet signed it.

Rules of this module:
- An event has exactly the fields below, and its `data` exactly the fields of its type: one missing, one too many or
  one of another kind is refused by name (allow-list; OWASP ASVS 5.0 requirement 15.3.1).
- Every event carries what binds it: a domain string, device and sequence, the device's previous event, setup, sheet,
  person, version of the shell, wall clock and monotonic time.
- Lengths are whole nanometres beside the text that was typed; `webapp.domain.setup.fold` decides again from the text.
- Times are UTC with milliseconds and a Z (ISO 8601-1, RFC 3339 section 5.6).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import LARGEST_INTEGER, SHOWN_CHARACTERS, read_json

EVENT_DOMAIN = "zerokeep/event/1"
AXES = ("X", "Y", "Z")
LONGEST_TYPED = 40
LONGEST_TEXT = 2000
LARGEST_LENGTH_NM = 10**13
ALLOWED_CONTROLS = "\n\t"

DISPLAYS = ("standalone", "browser")
FOUND = ("clear", "probe_in_spindle", "something_else")
SLOT_OUTCOMES = ("own", "somebody_elses", "shop", "free", "expired", "unknown")
COMPARED = ("same", "changed", "not_seen_before")
VERDICTS = ("agrees", "ask", "stop")
BECAUSE = ("agrees", "question", "lead", "repeat")
WORRIES = ("probe_looks_wrong", "machine_looks_wrong", "somebody_in_the_way", "wrong_place", "other")
BREAK_REASONS = (
    "stop_verdict",
    "machine",
    "vise",
    "probe",
    "out_of_time",
    "wrong_slot",
    "practice",
    "handed_over",
    "other",
)
OUTCOMES = ("complete", "broken_off")
TROUBLES = ("held", "wrong_way", "alarm", "nothing_found", "dead_probe", "change_stuck")
LIFTS = ("go_on", "touch_again")
PERFORMED = "performed"


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


class Check(NamedTuple):
    """A test of one value and the code of the words that say what was expected."""

    passes: Callable[[Any], bool]
    expected_code: str


def _matching(pattern: str, name: str) -> Check:
    matches = re.compile(pattern).fullmatch
    return Check(lambda value: isinstance(value, str) and matches(value) is not None, f"expected.{name}")


def _one_of(values: tuple[str, ...], name: str) -> Check:
    return Check(lambda value: isinstance(value, str) and value in values, f"expected.{name}")


def _whole(low: int, high: int, name: str) -> Check:
    return Check(lambda value: type(value) is int and low <= value <= high, f"expected.{name}")


def _text(longest: int, name: str) -> Check:
    def passes(value: Any) -> bool:
        if not isinstance(value, str) or len(value) > longest:
            return False
        return value.isprintable() or not any(_is_control(character) for character in value)

    return Check(passes, f"expected.{name}")


def _is_control(character: str) -> bool:
    """Tell whether this is a C0 or C1 control other than a line end or a tab."""
    return (character < " " or "\x7f" <= character <= "\x9f") and character not in ALLOWED_CONTROLS


def _or_null(check: Check) -> Check:
    return Check(lambda value: value is None or check.passes(value), check.expected_code)


def _by_axis(check: Check) -> Check:
    """Return a check for an object with exactly the names X, Y and Z."""

    def passes(value: Any) -> bool:
        return (
            isinstance(value, dict) and value.keys() == set(AXES) and all(map(check.passes, value.values()))
        )

    return Check(passes, "expected.by_axis")


def _two(check: Check) -> Check:
    """Return a check for a list of exactly two."""

    def passes(value: Any) -> bool:
        return isinstance(value, list) and len(value) == 2 and all(map(check.passes, value))

    return Check(passes, "expected.two")


def _is_time(value: Any) -> bool:
    if not isinstance(value, str) or _TIME_SHAPE(value) is None:
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


_TIME_SHAPE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z").fullmatch

TIME = Check(_is_time, "expected.time")
HASH = _matching(r"[0-9a-f]{64}", "hash")
SHORT_ID = _matching(r"[a-z0-9](?:[a-z0-9-]{0,46}[a-z0-9])?", "short_id")
UUID = _matching(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", "uuid")
STEP_ID = _matching(r"[a-z][a-z0-9_]{0,30}\.[a-z][a-z0-9_]{0,30}", "step_id")
NAME = _matching(r"[a-z][a-z0-9_]{0,40}", "name")
AXIS = _one_of(AXES, "axis")
TYPED = _text(LONGEST_TYPED, "typed")
TEXT = _text(LONGEST_TEXT, "text")
LENGTH = _whole(-LARGEST_LENGTH_NM, LARGEST_LENGTH_NM, "length")
TRUTH = Check(lambda value: isinstance(value, bool), "expected.truth")

ENVELOPE: Mapping[str, Check] = {
    "domain": _one_of((EVENT_DOMAIN,), "domain"),
    "type": Check(lambda value: isinstance(value, str), "expected.text"),
    "device": _matching(r"[A-Za-z0-9_-]{43}", "device"),
    "sequence": _whole(1, LARGEST_INTEGER, "count"),
    "previous": _or_null(HASH),
    "setup": UUID,
    "sheet": HASH,
    "app": _matching(r"[A-Za-z0-9.+_-]{1,64}", "version"),
    "person": SHORT_ID,
    "at_utc": TIME,
    "elapsed_ms": _whole(0, LARGEST_INTEGER, "count"),
    "step": _or_null(STEP_ID),
    "data": Check(lambda value: isinstance(value, dict), "expected.object"),
}

DATA: Mapping[str, Mapping[str, Check]] = {
    "setup.started": {"machine": SHORT_ID, "display": _one_of(DISPLAYS, "choice")},
    "setup.resumed": {"away_ms": _whole(0, LARGEST_INTEGER, "count")},
    "caution.read": {"caution": NAME},
    "board.checked": {"found": _one_of(FOUND, "choice"), "text": TEXT},
    "step.done": {"answer": NAME},
    "tool.read": {"typed": TYPED, "matches": TRUTH},
    "slot.read": {"typed": TYPED, "outcome": _one_of(SLOT_OUTCOMES, "choice")},
    "values.copied": {
        "typed": _by_axis(TYPED),
        "values_nm": _by_axis(LENGTH),
        "compared": _by_axis(_one_of(COMPARED, "choice")),
    },
    "label.read": {"typed": TYPED},
    "slot.cleared": {"typed": _by_axis(TYPED), "values_nm": _by_axis(LENGTH)},
    "slot.zeroed": {"label": TYPED, "typed": _by_axis(TYPED), "values_nm": _by_axis(LENGTH)},
    "row.put_back": {
        "label": TYPED,
        "typed": _by_axis(TYPED),
        "values_nm": _by_axis(LENGTH),
        "lead": SHORT_ID,
    },
    "touch.entered": {
        "axis": AXIS,
        "typed": TYPED,
        "value_nm": LENGTH,
        "verdict": _one_of(VERDICTS, "choice"),
        "difference_nm": _or_null(_whole(-2 * LARGEST_LENGTH_NM, 2 * LARGEST_LENGTH_NM, "length")),
    },
    "touch.read_again": {
        "axis": AXIS,
        "typed": TYPED,
        "value_nm": LENGTH,
        "verdict": _one_of(VERDICTS, "choice"),
        "difference_nm": _or_null(_whole(-2 * LARGEST_LENGTH_NM, 2 * LARGEST_LENGTH_NM, "length")),
    },
    "stop.lifted": {
        "axis": AXIS,
        "lead": SHORT_ID,
        "decision": _one_of(LIFTS, "choice"),
        "reason": TEXT,
    },
    "axis.given_up": {"axis": AXIS},
    "square.entered": {
        "axis": AXIS,
        "typed": _two(TYPED),
        "values_nm": _two(LENGTH),
        "apart_nm": _whole(1, LARGEST_LENGTH_NM, "length"),
        "error_nm": LENGTH,
        "told": TRUTH,
    },
    "touch.repeated": {"axis": AXIS},
    "touch.kept": {"axis": AXIS, "because": _one_of(BECAUSE, "choice")},
    "question.put": {"question": UUID, "axis": _or_null(AXIS), "text": TEXT},
    "worry.raised": {"worry": _one_of(WORRIES, "choice"), "text": TEXT},
    "hold.pressed": {},
    "trouble.met": {"trouble": _one_of(TROUBLES, "choice"), "touched": TRUTH, "reset": TRUTH},
    "step.reopened": {"reopened": STEP_ID, "reason": TEXT},
    "setup.broken_off": {},
    "break.explained": {"reason": _one_of(BREAK_REASONS, "choice"), "text": TEXT},
    "break.undone": {},
    "setup.left": {},
    "setup.left_unsigned": {},
    "setup.handed_over": {"to": SHORT_ID},
    "setup.taken_over": {"from_setup": UUID, "from_person": SHORT_ID},
    "setup.finished": {"outcome": _one_of(OUTCOMES, "choice")},
    "setup.signed": {"meaning": _one_of((PERFORMED,), "choice")},
}

# An event that can close a step names that step.
CLOSING = frozenset({
    "caution.read",
    "board.checked",
    "step.done",
    "tool.read",
    "slot.read",
    "values.copied",
    "label.read",
    "slot.cleared",
    "slot.zeroed",
    "square.entered",
    "touch.entered",
    "touch.read_again",
    "touch.repeated",
    "touch.kept",
    "setup.finished",
    "setup.signed",
})  # fmt: skip


def read_event(payload: bytes) -> dict[str, Any]:
    """Return the event in these signed bytes, with exactly the fields of its type.

    Raises a `JsonError` for bytes that are not strict JSON and an `EventError` that names the field at fault.
    """
    return check_event(read_json(payload))


def check_event(event: Any) -> dict[str, Any]:
    """Return the same event after every field was looked at. Raises an `EventError`."""
    if not isinstance(event, dict):
        raise EventNotAnObjectError
    _check_fields(event, ENVELOPE, "")
    fields = DATA.get(event["type"])
    if fields is None:
        raise EventTypeUnknownError(type=event["type"][:SHOWN_CHARACTERS])
    _check_fields(event["data"], fields, "data.")
    if (event["previous"] is None) != (event["sequence"] == 1):
        raise EventChainWrongError(sequence=event["sequence"])
    if event["type"] in CLOSING and event["step"] is None:
        raise EventFieldWrongError(field="step", expected_code="expected.step_id")
    return event


def _check_fields(values: dict[str, Any], checks: Mapping[str, Check], before: str) -> None:
    if values.keys() != checks.keys():
        _refuse_names(values, checks, before)
    for name, check in checks.items():
        if not check.passes(values[name]):
            raise EventFieldWrongError(field=before + name, expected_code=check.expected_code)


def _refuse_names(values: dict[str, Any], checks: Mapping[str, Check], before: str) -> None:
    for name in checks:
        if name not in values:
            raise EventFieldMissingError(field=before + name)
    unknown = min(values.keys() - checks.keys())
    raise EventFieldUnknownError(field=before + unknown[:SHOWN_CHARACTERS])
