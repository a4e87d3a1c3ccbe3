"""What a record is made of: the files that go into the PDF, and nothing else.
The printed page is a function of them.

Rules of this module:
- Five files: sheet.json (the exact text that the tablet had), events.jsonl (one compact JWS a line, in device
  order), devices.json, decisions.jsonl (one canonical JSON text a line), record.json. Files and bundle are
  two spellings of one value: `from_files(bundle.files()) == bundle`, and there is one spelling only.
- A sixth, ledger.json, says where they stand in the ledger, under a signed head. Records from before heads
  were signed, and those that are not sealed, have none.
- Events and decisions are kept as the text that was signed or logged; nothing is written anew to be compared.
- Line ends are single line feeds, also after the last line (JSON Lines).
- No signature is checked here: the proof room does that.
"""

from __future__ import annotations

from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, NotRequired, TypedDict, cast

from webapp.domain.evidence.decisions import Decision
from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.events import read_event
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.declared import Fault
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import canonical_bytes, canonical_text, read_json
from webapp.domain.record.ledger_head import LARGEST_FILE_BYTES, RECORD_DOMAIN, LedgerHead
from webapp.domain.record.ledger_proofs import LEDGER_FILE, LEDGER_PROOFS, LedgerProofs
from webapp.domain.setup.step_times import PacedStep

FILE_NAMES = ("sheet.json", "events.jsonl", "devices.json", "decisions.jsonl", "record.json")


class RecordError(DomainError):
    """Files do not make a record."""


class RecordFileMissingError(RecordError):
    """A file that every record has is missing."""

    code = "record.file_missing"
    field_names = ("name",)


class RecordFileUnknownError(RecordError):
    """A file is there that no record has."""

    code = "record.file_unknown"
    field_names = ("name",)


class RecordFileNotCanonicalError(RecordError):
    """A file holds another spelling than the one that a record has."""

    code = "record.file_not_canonical"
    field_names = ("name",)


class RecordFileWrongError(RecordError):
    """A file is readable but is not what its name says."""

    code = "record.file_wrong"
    field_names = ("name",)


class RecordEventNotJwsError(RecordError):
    """A line of the events is no compact JWS."""

    code = "record.event_not_jws"
    field_names = ("line",)


class DeviceInRecord(TypedDict):
    """A tablet whose events the record holds: its name in the shop and its public key."""

    id: str
    name: str | None
    jwk: dict[str, str] | None


class PersonInRecord(TypedDict):
    """Somebody whom the record names."""

    id: str
    name: str
    roles: list[str]


class RecordFile(TypedDict):
    """What stands in record.json. Early records have neither `edition` nor `step_pace`."""

    domain: str
    edition: NotRequired[int]
    setup: str
    shop: str
    people: list[PersonInRecord]
    sealed_at_utc: str | None
    ledger: LedgerHead | None
    renderer: dict[str, str]
    step_pace: NotRequired[list[PacedStep]]


@dataclass(frozen=True)
class RecordBundle:
    """One setup's evidence, as text and plain values. `record` and `devices` hold plain JSON values."""

    sheet_text: str
    events: tuple[str, ...]
    devices: tuple[DeviceInRecord, ...]
    decisions: tuple[str, ...]
    record: RecordFile
    ledger: LedgerProofs | None = None

    def files(self) -> dict[str, bytes]:
        """Return the bytes of the files by name, in the order that they are printed in."""
        proofs = {LEDGER_FILE: canonical_bytes(self.ledger)} if self.ledger else {}
        return {
            "sheet.json": self.sheet_text.encode("utf-8"),
            "events.jsonl": _lines_bytes(self.events),
            "devices.json": canonical_bytes(list(self.devices)),
            "decisions.jsonl": _lines_bytes(self.decisions),
            "record.json": canonical_bytes(self.record),
            **proofs,
        }

    def digest(self) -> str:
        """Return the SHA-256, in lower-case hex, of names and hashes of all files: its fingerprint."""
        lines = (f"{name} {sha256(data).hexdigest()}\n" for name, data in self.files().items())
        return sha256("".join(lines).encode("ascii")).hexdigest()

    def sheet(self) -> WrittenSheet:
        """Return the sheet as a plain value. Raises a `JsonError` for text that is not strict JSON."""
        sheet = read_json(self.sheet_text.encode("utf-8"), LARGEST_FILE_BYTES)
        if not isinstance(sheet, dict):
            raise RecordFileWrongError(name="sheet.json")
        return cast("WrittenSheet", sheet)

    def decoded_events(self) -> list[Event[Any]]:
        """Return every event as its payload with its `id` added, in order.
        Raises a `RecordError`, a `JsonError` or an `EventError`.
        """
        return [_event(jws, line) for line, jws in enumerate(self.events, 1)]

    def decoded_decisions(self) -> list[Decision]:
        """Return every decision as a plain value, in order. Raises a `JsonError`."""
        return [read_json(text.encode("utf-8")) for text in self.decisions]


def from_files(files: Mapping[str, bytes]) -> RecordBundle:
    """Return the bundle in these files. Raises a `RecordError` or a `JsonError` that names the file."""
    for name in FILE_NAMES:
        if name not in files:
            raise RecordFileMissingError(name=name)
    for name in sorted(files.keys() - {*FILE_NAMES, LEDGER_FILE}):
        raise RecordFileUnknownError(name=name[:80])
    devices = read_json(files["devices.json"], LARGEST_FILE_BYTES)
    record = read_json(files["record.json"], LARGEST_FILE_BYTES)
    if not isinstance(devices, list) or not all(isinstance(device, dict) for device in devices):
        raise RecordFileWrongError(name="devices.json")
    if not isinstance(record, dict) or record.get("domain") != RECORD_DOMAIN:
        raise RecordFileWrongError(name="record.json")
    bundle = RecordBundle(
        _text(files, "sheet.json"),
        _lines(files, "events.jsonl"),
        tuple(devices),
        _lines(files, "decisions.jsonl"),
        cast("RecordFile", record),
        _proofs(files[LEDGER_FILE]) if LEDGER_FILE in files else None,
    )
    _check_spelling(bundle, files)
    return bundle


def _check_spelling(bundle: RecordBundle, files: Mapping[str, bytes]) -> None:
    for name, data in bundle.files().items():
        if data != files[name]:
            raise RecordFileNotCanonicalError(name=name)
    bundle.sheet()
    for decision in bundle.decisions:
        if canonical_text(read_json(decision.encode("utf-8"))) != decision:
            raise RecordFileNotCanonicalError(name="decisions.jsonl")


def _proofs(data: bytes) -> LedgerProofs:
    found = LEDGER_PROOFS.read(read_json(data, LARGEST_FILE_BYTES))
    if isinstance(found, Fault):
        raise RecordFileWrongError(name=LEDGER_FILE)
    return found


def _lines_bytes(lines: tuple[str, ...]) -> bytes:
    return "".join(f"{line}\n" for line in lines).encode("utf-8")


def _text(files: Mapping[str, bytes], name: str) -> str:
    if len(files[name]) > LARGEST_FILE_BYTES:
        raise RecordFileWrongError(name=name)
    try:
        return files[name].decode("utf-8")
    except UnicodeDecodeError:
        raise RecordFileWrongError(name=name) from None


def _lines(files: Mapping[str, bytes], name: str) -> tuple[str, ...]:
    return tuple(_text(files, name).split("\n")[:-1])


def _event(jws: str, line: int) -> Event[Any]:
    try:
        header, payload_text, _ = jws.split(".")
        signed = f"{header}.{payload_text}".encode("ascii")
        payload = _from_base64url(payload_text)
    except ValueError:
        raise RecordEventNotJwsError(line=line) from None
    return {**read_event(payload), "id": sha256(signed).hexdigest()}


def _from_base64url(text: str) -> bytes:
    value = urlsafe_b64decode(text.encode("ascii") + b"=" * (-len(text) % 4))
    if urlsafe_b64encode(value).rstrip(b"=").decode("ascii") != text:
        raise ValueError(text)
    return value
