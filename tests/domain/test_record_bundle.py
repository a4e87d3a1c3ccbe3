"""A record's five files: one spelling only, and nothing is lost between files and bundle."""

import base64
import hashlib
import json

import pytest

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import (
    RecordBundle,
    RecordEventNotJwsError,
    RecordFileMissingError,
    RecordFileNotCanonicalError,
    RecordFileUnknownError,
    RecordFileWrongError,
    from_files,
)
from webapp.words import say

EVENT = {
    "domain": "zerokeep/event/1", "type": "hold.pressed", "device": "d" * 43, "sequence": 1, "previous": None,
    "setup": "7b0f3c1e-0000-4000-8000-000000000001", "sheet": "a" * 64, "app": "0.1.0", "person": "mara",
    "at_utc": "2026-11-25T08:03:12.345Z", "elapsed_ms": 5, "step": "x.touch", "data": {},
}  # fmt: skip


def encoded(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def jws(event: dict[str, object]) -> str:
    return f"{encoded(b'{}')}.{encoded(json.dumps(event).encode())}.{encoded(b'signature')}"


def bundle() -> RecordBundle:
    return RecordBundle(
        sheet_text='{"domain":"zerokeep/sheet/1"}',
        events=(jws(EVENT), jws({**EVENT, "sequence": 2, "previous": "b" * 64})),
        devices=({"id": "d" * 43, "name": "tablet 2", "jwk": {"kty": "EC"}},),
        decisions=(canonical_text({"type": "setup.signed_off", "data": {"note": "gut ✓"}}),),
        record={"domain": "zerokeep/record/1", "setup": "7b0f3c1e", "step_pace": None},
    )


def test_files_and_bundle_are_two_spellings_of_one_value() -> None:
    assert from_files(bundle().files()) == bundle()


def test_a_record_without_decisions_keeps_an_empty_file() -> None:
    one = RecordBundle(bundle().sheet_text, bundle().events, bundle().devices, (), bundle().record)
    assert one.files()["decisions.jsonl"] == b""
    assert from_files(one.files()) == one


def test_the_fingerprint_changes_with_every_file() -> None:
    files = bundle().files()
    assert list(files) == ["sheet.json", "events.jsonl", "devices.json", "decisions.jsonl", "record.json"]
    others = [
        RecordBundle(
            '{"domain":"other"}', bundle().events, bundle().devices, bundle().decisions, bundle().record
        ),
        RecordBundle(bundle().sheet_text, (), bundle().devices, bundle().decisions, bundle().record),
        RecordBundle(bundle().sheet_text, bundle().events, (), bundle().decisions, bundle().record),
        RecordBundle(bundle().sheet_text, bundle().events, bundle().devices, (), bundle().record),
        RecordBundle(bundle().sheet_text, bundle().events, bundle().devices, bundle().decisions, {}),
    ]
    assert len({one.digest() for one in [bundle(), *others]}) == 6


def test_an_event_s_id_is_the_hash_of_what_was_signed() -> None:
    first = bundle().decoded_events()[0]
    signed = bundle().events[0].rpartition(".")[0]
    assert first == {"id": hashlib.sha256(signed.encode()).hexdigest(), **EVENT}


def test_a_missing_file_is_named() -> None:
    files = bundle().files()
    del files["devices.json"]
    with pytest.raises(RecordFileMissingError) as refused:
        from_files(files)
    assert refused.value.fields == {"name": "devices.json"}


def test_a_file_that_no_record_has_is_named() -> None:
    with pytest.raises(RecordFileUnknownError) as refused:
        from_files({**bundle().files(), "more.txt": b""})
    assert refused.value.fields == {"name": "more.txt"}


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("record.json", b'{ "domain":"zerokeep/record/1","setup":"7b0f3c1e","step_pace":null}'),
        ("devices.json", b"[ ]"),
        ("events.jsonl", b"a.b.c"),
        ("decisions.jsonl", b'{"b":1,"a":2}\n'),
        ("decisions.jsonl", b'{"a":2}\r\n'),
    ],
)
def test_another_spelling_of_a_file_is_refused(name: str, data: bytes) -> None:
    with pytest.raises(RecordFileNotCanonicalError) as refused:
        from_files({**bundle().files(), name: data})
    assert refused.value.fields == {"name": name}


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("record.json", b'{"domain":"zerokeep/sheet/1"}'),
        ("record.json", b"[]"),
        ("devices.json", b"{}"),
        ("devices.json", b"[1]"),
        ("sheet.json", b"[]"),
        ("sheet.json", b"\xff"),
        ("events.jsonl", b"\xff\n"),
    ],
)
def test_a_file_that_is_not_what_its_name_says_is_refused(name: str, data: bytes) -> None:
    with pytest.raises(RecordFileWrongError) as refused:
        from_files({**bundle().files(), name: data})
    assert refused.value.fields == {"name": name}
    assert say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize("data", [b"{", b'{"a":1,"a":2}'])
def test_a_sheet_that_is_no_strict_json_is_refused(data: bytes) -> None:
    with pytest.raises(DomainError):
        from_files({**bundle().files(), "sheet.json": data})


@pytest.mark.parametrize("line", ["", "a", "a.b", "a.!.c", "a.YR.c", f"{jws(EVENT)}.d", "ä.e30.c"])
def test_a_line_that_is_no_compact_jws_is_refused(line: str) -> None:
    one = RecordBundle(bundle().sheet_text, (jws(EVENT), line), bundle().devices, (), bundle().record)
    with pytest.raises(RecordEventNotJwsError) as refused:
        one.decoded_events()
    assert refused.value.fields == {"line": 2}
