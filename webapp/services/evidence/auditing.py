"""The self-audit: everything that is stored is worked out again and compared.

Rules: events are verified with their tablet's key and hashed again, leaves and nodes are made anew from the texts,
every sealed file is read and hashed, chains are followed. What does not fit is named by its record, never repaired.
Each run stands on the ledger with what it looked at and what it found, so that nobody has to take it on trust that
somebody looked (OWASP ASVS 5.0, 16.3; ISO/IEC 17025:2017 7.11, from memory).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Literal, TypedDict, cast

from webapp.domain.evidence import tree
from webapp.domain.plain.json_strict import canonical_text
from webapp.proof.errors import JwsRefused
from webapp.proof.jws import DeviceKey
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import EventRow

AUDIT_RAN = "audit.ran"
MOST_LISTED = 100
KEPT_IN_EVENT: tuple[Literal["device", "sequence", "setup", "type", "person", "sheet", "at_utc"], ...] = (
    "device",
    "sequence",
    "setup",
    "type",
    "person",
    "sheet",
    "at_utc",
)
KEPT_IN_CHANGE: tuple[Literal["type", "by", "subject", "setup", "at_utc"], ...] = (
    "type", "by", "subject", "setup", "at_utc",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """A record that is not what it was: a code of the words catalogue, and which record."""

    code: str
    record: str


class FoundFault(TypedDict):
    """A fault as it stands on the ledger."""

    code: str
    record: str


class Audited(TypedDict):
    """What one run looked at and found; of many faults the first."""

    at_utc: str
    entries: int
    records: int
    faults: int
    found: list[FoundFault]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one run looked at, and what it found."""

    at_utc: str
    entries: int
    records: int
    faults: tuple[Fault, ...]

    def as_dict(self) -> Audited:
        """Plain JSON: {"at_utc", "entries", "records", "faults", "found": [{"code", "record"}]}, the first of many."""
        found: list[FoundFault] = [
            {"code": fault.code, "record": fault.record} for fault in self.faults[:MOST_LISTED]
        ]
        return {
            "at_utc": self.at_utc,
            "entries": self.entries,
            "records": self.records,
            "faults": len(self.faults),
            "found": found,
        }


def run(store: Store, now: datetime) -> Outcome:
    """Audit a copy of what is stored as of `now`, so that nobody has to wait, and put the outcome on the ledger."""
    with store.copied() as copy:
        faults = audit(copy)
        with copy.reading():
            outcome = Outcome(utc_text(now), copy.ledger.size(), copy.records.count(), tuple(faults))
    said = {name: value for name, value in outcome.as_dict().items() if name != "at_utc"}
    with store.writing():
        change(store, AUDIT_RAN, SERVER, "ledger", None, said, now)
    return outcome


def last_run(store: Store) -> Audited | None:
    """What the newest run put on the ledger, as Outcome.as_dict gives it; None before the first."""
    with store.reading():
        rows = store.ledger.changes(kind=AUDIT_RAN, newest=1)
    if not rows:
        return None
    return cast("Audited", {"at_utc": rows[0]["at_utc"], **json.loads(rows[0]["text"])["data"]})


def audit(store: Store) -> list[Fault]:
    """All faults, none in a whole store. Takes about as long as taking in everything again."""
    with store.reading():
        faults = [Fault("audit.database", text) for text in store.damage()]
        entries: dict[int, tuple[str, bytes]] = {}
        faults += _events(store, entries)
        faults += _changes(store, entries)
        faults += _tree(store, entries)
        faults += _sheets(store)
        faults += _records(store)
    return faults


def _events(store: Store, entries: dict[int, tuple[str, bytes]]) -> Iterator[Fault]:
    keys: dict[str, DeviceKey] = {}
    known: set[str] = set()
    for row in store.setups.all_events():
        entries[row["position"]] = ("event", _leaf(row["jws"]))
        yield from _event(store, row, keys, known)
        known.add(row["id"])


def _event(store: Store, row: EventRow, keys: dict[str, DeviceKey], known: set[str]) -> Iterator[Fault]:
    record = f"event {row['id']} at {row['position']}"
    try:
        if row["device"] not in keys:
            device = store.devices.device(row["device"])
            keys[row["device"]] = DeviceKey.from_jwk(device["jwk"] if device else {})
        verified = keys[row["device"]].verify(row["jws"])
        payload = json.loads(verified.payload_bytes)
    except (JwsRefused, ValueError):
        yield Fault("audit.event_signature", record)
        return
    if verified.event_id != row["id"]:
        yield Fault("audit.event_id", record)
    if any(payload[name] != row[name] for name in KEPT_IN_EVENT):
        yield Fault("audit.event_row", record)
    previous = payload["previous"]
    if previous is not None and previous not in known and not store.setups.set_aside_by_id([previous]):
        yield Fault("audit.event_chain", record)


def _changes(store: Store, entries: dict[int, tuple[str, bytes]]) -> Iterator[Fault]:
    for row in store.ledger.all_changes():
        record = f"change {row['type']} at {row['position']}"
        entries[row["position"]] = ("change", _leaf(row["text"]))
        try:
            value = json.loads(row["text"])
            fits = canonical_text(value) == row["text"] and all(
                value[name] == row[name] for name in KEPT_IN_CHANGE
            )
        except (ValueError, KeyError, TypeError):
            fits = False
        if not fits:
            yield Fault("audit.change_row", record)


def _leaf(text: str) -> bytes:
    """The leaf that this entry should have; the texts themselves are too many to be kept in memory."""
    return tree.leaf_hash(text.encode("utf-8", "surrogatepass"))


def _tree(store: Store, entries: dict[int, tuple[str, bytes]]) -> Iterator[Fault]:
    """Leaves against the texts, nodes against the leaves, the root against both."""
    hashes: list[bytes] = []
    for place, row in enumerate(store.ledger.all_leaves()):
        kind, hashed = entries.pop(row["position"], ("", b""))
        record = f"leaf at {row['position']}"
        if row["position"] != place:
            yield Fault("audit.leaf_missing", f"leaf at {place}")
            return
        if not kind:
            yield Fault("audit.entry_missing", record)
        elif kind != row["kind"] or hashed != bytes(row["hash"]):
            yield Fault("audit.leaf", record)
        hashes.append(bytes(row["hash"]))
    yield from (Fault("audit.leaf_missing", f"{kind} at {place}") for place, (kind, _) in entries.items())
    yield from _nodes(store, hashes)


def _nodes(store: Store, hashes: list[bytes]) -> Iterator[Fault]:
    growth = tree.append(0, {}, hashes)
    right = {(node.level, node.index): node.hash for node in growth.new_nodes if node.level}
    stored = store.ledger.nodes()
    for level, index in sorted(right.keys() | stored.keys()):
        if right.get((level, index)) != stored.get((level, index)):
            yield Fault("audit.node", f"node {index} of level {level}")
    try:
        if store.ledger.root(len(hashes)) != growth.root:
            yield Fault("audit.root", f"root of {len(hashes)} leaves")
    except tree.TreeError:
        yield Fault("audit.root", f"root of {len(hashes)} leaves")


def _sheets(store: Store) -> Iterator[Fault]:
    for row in store.setups.all_sheets():
        if sha256(row["text"].encode("utf-8", "surrogatepass")).hexdigest() != row["hash"]:
            yield Fault("audit.sheet", f"sheet {row['hash']}")


def _records(store: Store) -> Iterator[Fault]:
    for row in store.records.records():
        if not store.records.files.is_whole(row["sha256"]):
            yield Fault("audit.record_file", f"record {row['sha256']} of setup {row['setup']}")
