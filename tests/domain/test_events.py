"""An event is taken with exactly its fields, or refused by name."""

from __future__ import annotations

import json
from typing import Any

import pytest

from webapp.domain.evidence import events
from webapp.domain.evidence.events import (
    CLOSING,
    KINDS,
    EventChainWrongError,
    EventFieldMissingError,
    EventFieldUnknownError,
    EventFieldWrongError,
    EventNotAnObjectError,
    EventTypeUnknownError,
    read_event,
)
from webapp.domain.plain.json_strict import JsonRepeatedNameError
from webapp.words import catalogue

GOOD_DATA: dict[str, dict[str, Any]] = {
    "setup.started": {"machine": "mill-1", "display": "standalone"},
    "setup.resumed": {"away_ms": 90_000},
    "caution.read": {"caution": "door"},
    "caution.carried": {"caution": "door", "read_at_utc": "2026-11-25T08:03:12.345Z", "read_event": "a" * 64},
    "board.checked": {"found": "clear", "text": ""},
    "step.done": {"answer": "done"},
    "checks.ticked": {"ticked": ["homed", "coolant"]},
    "tool.read": {"typed": "30", "matches": True},
    "slot.read": {"typed": "G54", "outcome": "own"},
    "values.copied": {
        "typed": {"X": "-1.000", "Y": "0", "Z": "2"},
        "values_nm": {"X": -1_000_000, "Y": 0, "Z": 2_000_000},
        "compared": {"X": "same", "Y": "changed", "Z": "not_seen_before"},
    },
    "slot.cleared": {"typed": {"X": "0", "Y": "0", "Z": "0"}, "values_nm": {"X": 0, "Y": 0, "Z": 0}},
    "trigger.read": {"axis": "X", "typed": "-2", "value_nm": -2_000_000, "surface_nm": 996_000},
    "touch.entered": {
        "axis": "X",
        "typed": "1",
        "value_nm": 1_000_000,
        "verdict": "ask",
        "difference_nm": None,
    },
    "square.entered": {
        "axis": "Y",
        "typed": ["-152.400", "-152.391"],
        "values_nm": [-152_400_000, -152_391_000],
        "apart_nm": 100_000_000,
        "error_nm": 13_500,
        "told": True,
    },
    "touch.read_again": {
        "axis": "X",
        "typed": "1",
        "value_nm": 1_000_000,
        "verdict": "stop",
        "difference_nm": 200_000,
    },
    "stop.lifted": {"axis": "X", "lead": "ines", "decision": "go_on", "reason": "A plate."},
    "axis.given_up": {"axis": "X"},
    "label.read": {"typed": "G55"},
    "slot.zeroed": {
        "label": "G54",
        "typed": {"X": "0", "Y": "0", "Z": "0"},
        "values_nm": {"X": 0, "Y": 0, "Z": 0},
    },
    "row.put_back": {
        "label": "G55",
        "typed": {"X": "-1.000", "Y": "0", "Z": "2"},
        "values_nm": {"X": -1_000_000, "Y": 0, "Z": 2_000_000},
        "lead": "ines",
    },
    "trouble.met": {"trouble": "held", "touched": False, "reset": True},
    "setup.left": {},
    "setup.left_unsigned": {},
    "setup.handed_over": {"to": "ivo"},
    "setup.taken_over": {"from_setup": "9b2f8c1e-0000-4000-8000-000000000002", "from_person": "ivo"},
    "touch.repeated": {"axis": "Y"},
    "chip.wiped": {"axis": "Y"},
    "touch.kept": {"axis": "Z", "because": "repeat"},
    "question.put": {
        "question": "9b2f8c1e-0000-4000-8000-00000000000a",
        "axis": None,
        "text": "Chips?\nYes.",
    },
    "worry.raised": {"worry": "other", "text": "A smell."},
    "hold.pressed": {},
    "beside.named": {"who": "ines"},
    "photo.taken": {"sha256": "a" * 64, "bytes": 187_331, "width": 1280, "height": 960},
    "input.aged": {},
    "step.reopened": {"reopened": "x.touch", "reason": "mistyped"},
    "setup.broken_off": {},
    "break.explained": {"reason": "machine", "text": ""},
    "break.undone": {},
    "setup.finished": {"outcome": "complete"},
    "setup.signed": {"meaning": "performed"},
}


def event(kind: str = "hold.pressed", **changes: Any) -> dict[str, Any]:
    return {
        "domain": "zerokeep/event/1",
        "type": kind,
        "device": "k" * 43,
        "sequence": 2,
        "previous": "a" * 64,
        "setup": "9b2f8c1e-0000-4000-8000-000000000001",
        "sheet": "b" * 64,
        "app": "0.1.0",
        "person": "mara",
        "at_utc": "2026-11-25T08:03:12.345Z",
        "elapsed_ms": 1200,
        "step": "x.touch" if kind in CLOSING else None,
        "data": GOOD_DATA[kind],
    } | changes


def sent(value: Any) -> bytes:
    return json.dumps(value).encode()


def test_the_examples_cover_every_type() -> None:
    assert GOOD_DATA.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", KINDS)
def test_a_whole_event_of_each_type_is_taken(kind: str) -> None:
    assert read_event(sent(event(kind))) == event(kind)


@pytest.mark.parametrize("kind", KINDS)
def test_a_missing_data_field_is_refused_for_each_type(kind: str) -> None:
    for name in GOOD_DATA[kind]:
        short = {key: value for key, value in GOOD_DATA[kind].items() if key != name}
        with pytest.raises(EventFieldMissingError) as refused:
            read_event(sent(event(kind, data=short)))
        assert refused.value.fields == {"field": f"data.{name}"}


@pytest.mark.parametrize("kind", KINDS)
def test_a_data_field_too_many_is_refused_for_each_type(kind: str) -> None:
    with pytest.raises(EventFieldUnknownError) as refused:
        read_event(sent(event(kind, data=GOOD_DATA[kind] | {"extra": 1})))
    assert refused.value.fields == {"field": "data.extra"}


@pytest.mark.parametrize("kind", KINDS)
def test_each_data_field_of_another_kind_is_refused(kind: str) -> None:
    for name in GOOD_DATA[kind]:
        for wrong in ([], 1.5, "NOT ONE OF THEM\x00", {"X": 1}, -1 if "nm" not in name else "1"):
            with pytest.raises(EventFieldWrongError) as refused:
                read_event(sent(event(kind, data=GOOD_DATA[kind] | {name: wrong})))
            assert refused.value.fields["field"] == f"data.{name}"


@pytest.mark.parametrize("name", tuple(events.ENVELOPE.expected))
def test_a_missing_field_is_refused(name: str) -> None:
    short = {key: value for key, value in event().items() if key != name}
    with pytest.raises(EventFieldMissingError) as refused:
        read_event(sent(short))
    assert refused.value.fields == {"field": name}


def test_a_field_too_many_is_refused() -> None:
    with pytest.raises(EventFieldUnknownError):
        read_event(sent(event(__proto__={})))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("domain", "zerokeep/event/2"),
        ("device", "short"),
        ("sequence", 0),
        ("sequence", True),
        ("sequence", 2.0),
        ("previous", "A" * 64),
        ("setup", "9B2F8C1E-0000-4000-8000-000000000001"),
        ("sheet", None),
        ("app", ""),
        ("person", "Mara"),
        ("person", "-mara"),
        ("at_utc", "2026-11-25T08:03:12Z"),
        ("at_utc", "2026-02-30T08:03:12.345Z"),
        ("at_utc", "2026-11-25T24:03:12.345Z"),
        ("at_utc", "2026-11-25T08:03:12.345+00:00"),
        ("elapsed_ms", -1),
        ("elapsed_ms", None),
        ("step", "x"),
        ("step", "x.touch\n"),
        ("data", []),
        ("type", 3),
    ],
)
def test_a_field_that_cannot_hold_its_value_is_refused(name: str, value: Any) -> None:
    with pytest.raises(EventFieldWrongError) as refused:
        read_event(sent(event(**{name: value})))
    assert refused.value.fields["field"] == name


@pytest.mark.parametrize(
    ("name", "value"),
    [("bytes", 0), ("bytes", 256 * 1024 + 1), ("width", 0), ("width", 1281), ("height", 1281)],
)
def test_a_picture_is_bounded_before_it_is_sent(name: str, value: int) -> None:
    with pytest.raises(EventFieldWrongError):
        read_event(sent(event("photo.taken", data=GOOD_DATA["photo.taken"] | {name: value})))


def test_an_unknown_type_is_refused_with_its_name() -> None:
    with pytest.raises(EventTypeUnknownError) as refused:
        read_event(sent(event() | {"type": "spindle.started"}))
    assert refused.value.fields == {"type": "spindle.started"}


@pytest.mark.parametrize(("sequence", "previous"), [(1, "a" * 64), (2, None)])
def test_a_chain_that_does_not_hold_together_is_refused(sequence: int, previous: str | None) -> None:
    with pytest.raises(EventChainWrongError):
        read_event(sent(event(sequence=sequence, previous=previous)))


def test_the_first_event_of_a_device_names_none_before_it() -> None:
    assert read_event(sent(event(sequence=1, previous=None)))["previous"] is None


@pytest.mark.parametrize("kind", sorted(CLOSING))
def test_an_event_that_closes_a_step_must_name_it(kind: str) -> None:
    with pytest.raises(EventFieldWrongError) as refused:
        read_event(sent(event(kind, step=None)))
    assert refused.value.fields["field"] == "step"


@pytest.mark.parametrize("payload", [b"[]", b"null", b'"x"', b"1"])
def test_what_is_no_object_is_refused(payload: bytes) -> None:
    with pytest.raises(EventNotAnObjectError):
        read_event(payload)


def test_a_repeated_name_is_refused_before_anything_is_looked_at() -> None:
    with pytest.raises(JsonRepeatedNameError):
        read_event(sent(event())[:-1] + b',"person":"ivo"}')


def test_typed_text_has_a_length_that_fits_a_display() -> None:
    data = GOOD_DATA["slot.read"] | {"typed": "G" * 41}
    with pytest.raises(EventFieldWrongError):
        read_event(sent(event("slot.read", data=data)))


def test_every_expectation_has_words() -> None:
    shapes = [events.ENVELOPE, *events.OF_KIND.values()]
    assert {code for shape in shapes for code in shape.expected.values()} <= catalogue().keys()
