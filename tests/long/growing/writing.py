"""Setups like the original ones, many of them, written straight into the tables: signed, hashed and true.

Each is an original's events with times, numbers and names of its own, signed again by its tablet; leaves,
nodes and hashes follow from them, and the rows beside the ledger are what the fold made of the original; what
was seen last in a slot is what the fold makes of the newest of them. So the audit finds nothing, and every
page shows them as it shows others.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature

from tests.kit.device import Device
from tests.kit.house import House
from tests.long.growing.originals import Original, stand_in
from webapp.domain.evidence import tree
from webapp.domain.plain.json_strict import canonical_bytes, canonical_text
from webapp.proof.keys.jws import EVENT_TYPE
from webapp.services.evidence.entries import SEALED
from webapp.services.setups import stored_setups
from webapp.store import Store
from webapp.store.repositories.found import PUT_TERM, PUT_WORDS
from webapp.store.repositories.ledger import INSERT_LEAF, INSERT_NODE

AT_A_TIME = 1_000
MILLISECONDS = len("2026-11-25T08:00:00.000")
OWN = ("setup", "sequence", "previous", "at_utc")
SETUP = (
    "device", "sheet", "machine", "person", "status", "outcome", "signature", "probe_in_spindle",
)  # fmt: skip
INSERT_SETUP = (
    f"INSERT INTO setup (id, {', '.join(SETUP)}, started_at_utc, last_at_utc, sealed) "  # noqa: S608
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
INSERT_VALUE = (
    "INSERT INTO kept_value (setup, axis, fixture, seating, value_nm, at_utc, left_out_reason, imported) "
    "VALUES (?, ?, ?, ?, ?, ?, NULL, NULL)"
)
INSERT_CHANGE = (
    "INSERT INTO change (position, text, type, by, subject, setup, at_utc) VALUES (?, ?, ?, ?, ?, ?, ?)"
)
INSERT_RECORD = "INSERT INTO record (setup, sha256, bytes, sealed_at_utc) VALUES (?, ?, ?, ?)"
SIGNED_WITH = ec.ECDSA(hashes.SHA256())


def setup_id(number: int) -> str:
    """The id of one of these setups, counted from 0: they lie about as ids of chance do."""
    return str(UUID(bytes=sha256(number.to_bytes(8, "big")).digest()[:16], version=4))


@dataclass(frozen=True)
class Span:
    """When the first of these setups began, and how far apart they are."""

    first: datetime
    apart: timedelta

    @classmethod
    def before(cls, end: datetime, setups: int, years: float) -> Span:
        """So many setups over these years, the last of them a day before the end."""
        whole = timedelta(days=365.25 * years)
        return cls((end - whole - timedelta(days=1)).astimezone(UTC), whole / max(setups, 1))


class Signer:
    """A tablet that signs as fast as its key can."""

    def __init__(self, device: Device) -> None:
        self.device = device
        header = {"alg": "ES256", "kid": device.id, "typ": EVENT_TYPE}
        self._header = _base64url(canonical_bytes(header))

    def signed(self, setup: str, at_utc: str, rest: str) -> tuple[str, str]:
        """The id and the signed text of the next event of the chain; `rest` is the JSON after its own
        fields.
        """
        device = self.device
        device.sequence += 1
        own = f'"setup":"{setup}","at_utc":"{at_utc}","sequence":{device.sequence}'
        payload = f'{{{own},"previous":"{device.previous}",{rest}'
        signing_input = f"{self._header}.{_base64url(payload.encode())}"
        raw = signing_input.encode("ascii")
        r, s = decode_dss_signature(device.key.sign(raw, SIGNED_WITH))
        device.previous = sha256(raw).hexdigest()
        signature = _base64url(r.to_bytes(32, "big") + s.to_bytes(32, "big"))
        return device.previous, f"{signing_input}.{signature}"


def _base64url(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode("ascii")


@dataclass
class Batch:
    """Rows of some setups, and the ledger's entries in their order."""

    start: int
    setups: list[tuple[Any, ...]]
    values: list[tuple[Any, ...]]
    terms: list[tuple[str, str, str]]
    words: list[tuple[str, str, str]]
    records: list[tuple[Any, ...]]
    changes: list[tuple[Any, ...]]
    events: list[list[tuple[Any, ...]]]
    leaves: list[tuple[str, bytes]]

    @property
    def place(self) -> int:
        """Where the next entry of the ledger goes."""
        return self.start + len(self.leaves)

    def entry(self, kind: str, text: str) -> int:
        """Put an entry at the ledger's end; its place."""
        place = self.place
        self.leaves.append((kind, tree.leaf_hash(text.encode())))
        return place


class Grower:
    """Puts setups into a store, each like the next of the originals."""

    def __init__(self, house: House, originals: list[Original], span: Span, first: int = 0) -> None:
        self.house, self.originals, self.span, self.count = house, originals, span, first
        self.signers = {one.device.id: Signer(one.device) for one in originals}
        self.rests = [[_rest(payload) for payload in one.payloads] for one in originals]

    def until(self, setups: int) -> None:
        """Let there be so many of these setups."""
        store = self.house.store
        while self.count < setups:
            with store.writing():
                batch = Batch(store.ledger.size(), [], [], [], [], [], [], [], [])
                for number in range(self.count, min(self.count + AT_A_TIME, setups)):
                    self._setup(number, batch)
                    self.count += 1
                self._write(batch)
        self._see_slots()

    def _see_slots(self) -> None:
        """Let the register say what the newest of each original saw in its slot."""
        store = self.house.store
        with store.writing():
            for number in range(max(0, self.count - len(self.originals)), self.count):
                stored_setups.refresh(store, setup_id(number))

    def _setup(self, number: int, batch: Batch) -> None:
        which = number % len(self.originals)
        one, setup = self.originals[which], setup_id(number)
        shift = self.span.first + number * self.span.apart - one.began
        ids = dict(self._events(one, self.rests[which], setup, shift, batch))
        first, last = (_moved(one.payloads[place]["at_utc"], shift) for place in (0, -1))
        batch.setups.append((setup, *(one.row[name] for name in SETUP), first, last, True))
        batch.values += [
            (
                setup,
                row["axis"],
                row["fixture"],
                row["seating"],
                row["value_nm"],
                _moved(row["at_utc"], shift),
            )
            for row in one.values
        ]
        batch.terms += [(setup, term, first) for term in one.terms]
        batch.words += [(setup, one.words, first)] if one.words else []
        for change in one.changes:
            changed = _changed(change, one.setup, setup, shift, ids)
            if changed["type"] == SEALED:
                changed["data"] = self._record(setup)
                batch.records.append((setup, *changed["data"].values(), changed["at_utc"]))
            _put_change(changed, setup, batch)

    def _events(
        self, one: Original, rests: list[str], setup: str, shift: timedelta, batch: Batch
    ) -> Iterator[tuple[str, str]]:
        """The old and the new id of every event."""
        signer, rows = self.signers[one.device.id], []
        for payload, rest, old, problems in zip(one.payloads, rests, one.ids, one.problems, strict=True):
            at_utc = _moved(payload["at_utc"], shift)
            new, jws = signer.signed(setup, at_utc, rest)
            envelope = payload["device"], signer.device.sequence, setup, payload["type"], payload["person"]
            rows.append(
                (batch.entry("event", jws), new, jws, *envelope, payload["sheet"], at_utc, at_utc, problems)
            )
            yield old, new
        batch.events.append(rows)

    def _record(self, setup: str) -> dict[str, Any]:
        """What the ledger says of a sealed file, which is there."""
        data = stand_in(setup)
        digest = sha256(data).hexdigest()
        path = self.house.store.records.files.path(digest)
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.write_bytes(data)
        return {"sha256": digest, "bytes": len(data)}

    def _write(self, batch: Batch) -> None:
        store = self.house.store
        _grow_tree(store, batch)
        store.put_rows(INSERT_SETUP, batch.setups)
        for rows in batch.events:
            store.events.add_events(rows)
        store.put_rows(INSERT_CHANGE, batch.changes)
        store.put_rows(INSERT_VALUE, batch.values)
        store.put_rows(PUT_TERM, batch.terms)
        store.put_rows(PUT_WORDS, batch.words)
        store.put_rows(INSERT_RECORD, batch.records)


def _grow_tree(store: Store, batch: Batch) -> None:
    stored = {place: store.ledger.hash_at(place) or b"" for place in tree.frontier(batch.start)}
    growth = tree.append(batch.start, stored, [leaf for _, leaf in batch.leaves])
    leaves = [node for node in growth.new_nodes if not node.level]
    kinds = [kind for kind, _ in batch.leaves]
    store.put_rows(
        INSERT_LEAF, [(node.index, kind, node.hash) for node, kind in zip(leaves, kinds, strict=True)]
    )
    store.put_rows(
        INSERT_NODE, [(node.level, node.index, node.hash) for node in growth.new_nodes if node.level]
    )


def _put_change(one: dict[str, Any], setup: str, batch: Batch) -> None:
    text = canonical_text(one)
    place = batch.entry("change", text)
    batch.changes.append((place, text, one["type"], one["by"], one["subject"], setup, one["at_utc"]))


def _changed(
    change: dict[str, Any], old_setup: str, setup: str, shift: timedelta, ids: dict[str, str]
) -> dict[str, Any]:
    data = {
        name: ids.get(value, value) if isinstance(value, str) else value
        for name, value in change["data"].items()
        if name != "reviewed"  # a fingerprint of what was read there
    }
    subject = setup if change["subject"] == old_setup else ids.get(change["subject"], change["subject"])
    at_utc = _moved(change["at_utc"], shift)
    return {**change, "data": data, "at_utc": at_utc, "setup": setup, "subject": subject}


def _moved(at_utc: str, shift: timedelta) -> str:
    """The time that lies this far off, as events carry it; `utc_text` takes ten times as long."""
    return (datetime.fromisoformat(at_utc) + shift).isoformat(timespec="milliseconds")[:MILLISECONDS] + "Z"


def _rest(payload: dict[str, Any]) -> str:
    rest = {name: value for name, value in payload.items() if name not in OWN}
    return json.dumps(rest, ensure_ascii=False, separators=(",", ":"))[1:]
