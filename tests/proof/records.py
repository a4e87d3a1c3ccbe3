"""A small finished setup as a record: signed events, decisions, and a renderer for the pages."""

import json
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from tests.kit.reviewing import bound
from tests.proof.pdfs import AT_UTC, pdf_of
from webapp.domain.evidence import tree
from webapp.domain.evidence.checkpoint import Checkpoint
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.record.edition import PAGES_EDITION
from webapp.domain.record.ledger_proofs import proofs_of
from webapp.proof.keys import jws
from webapp.proof.keys.key_ring import new_head_signer

SETUP = "3e2b8c1a-5d47-4f0e-9a61-0c7d2b9e4f15"
OTHER_SETUP = "b91f0c52-77aa-4d38-8f5e-2f6f0d1c3a90"
SHEET = canonical_text({"domain": "zerokeep/sheet/1", "machine": {"id": "mill-1"}, "note": "Ø 6 mm"})
RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
SIGNER = new_head_signer()
STRANGERS = 7


@dataclass(frozen=True)
class Tablet:
    """Signs events into one chain."""

    key: ec.EllipticCurvePrivateKey

    @property
    def device(self) -> str:
        return jws.public_jwk(self.key.public_key())["kid"]

    def listed(self) -> dict[str, Any]:
        return {"id": self.device, "name": "Tablet 1", "jwk": jws.public_jwk(self.key.public_key())}

    def event(
        self, kind: str, data: dict[str, Any], sequence: int, previous: str | None, **changes: Any
    ) -> str:
        values = {
            "domain": "zerokeep/event/1",
            "type": kind,
            "device": self.device,
            "sequence": sequence,
            "previous": previous,
            "setup": SETUP,
            "sheet": sha256(SHEET.encode()).hexdigest(),
            "app": "0.1.0",
            "person": "mara",
            "at_utc": f"2026-11-25T08:00:{sequence:02d}.000Z",
            "elapsed_ms": 1000 * sequence,
            "step": "ready.eyes",
            "data": data,
            **changes,
        }
        return jws.sign(canonical_text(values).encode(), self.key, self.device, jws.EVENT_TYPE)


TABLET = Tablet(ec.derive_private_key(90_001, ec.SECP256R1()))
KINDS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("setup.started", {"machine": "mill-1", "display": "standalone"}),
    ("caution.read", {"caution": "eyes"}),
    ("touch.entered", {"axis": "X", "typed": "12.345", "value_nm": 12345000, "verdict": "agrees",
    "difference_nm": 0}),
    ("hold.pressed", {}),
    ("setup.finished", {"outcome": "complete"}),
    ("setup.signed", {"meaning": "performed"}),
)  # fmt: skip


def chain(first: int = 1, previous: str | None = None) -> list[str]:
    """The events of the setup, from sequence `first` on."""
    events: list[str] = []
    for sequence, (kind, data) in enumerate(KINDS, start=first):
        events.append(TABLET.event(kind, data, sequence, jws.event_id(events[-1]) if events else previous))
    return events


def decision(kind: str, data: dict[str, Any], by: str, **changes: Any) -> str:
    values = {
        "domain": "zerokeep/change/1",
        "type": kind,
        "at_utc": AT_UTC,
        "by": by,
        "subject": SETUP,
        "setup": SETUP,
        "data": data,
        **changes,
    }
    return canonical_text(values)


def verified_for(event: str, person: str = "mara") -> str:
    return decision("signature.verified", {"event": event, "person": person, "key": "k"}, "server")


def signed_off(claim: Any, by: str = "ines") -> str:
    """A sign-off that says that this was read."""
    return decision(
        "setup.signed_off", {"meaning": "reviewed and accepted", "note": "", "reviewed": claim}, by
    )


SIGNED_OFF = signed_off(None)


def ledger_of(record: RecordBundle) -> tuple[list[str], list[int], list[int]]:
    """All texts of a ledger in which this record's entries stand among others', and where."""
    texts, places = [], []
    for number, text in enumerate((*record.events, *record.decisions)):
        texts += [f"stranger {number} {one}" for one in range(STRANGERS)]
        places.append(len(texts))
        texts.append(text)
    return texts, places[: len(record.events)], places[len(record.events) :]


def in_ledger(record: RecordBundle, **changes: Any) -> RecordBundle:
    """The record with the places of its entries in that ledger, under a signed head."""
    texts, events, decisions = ledger_of(record)
    growth = tree.append(0, {}, [tree.leaf_hash(text.encode()) for text in texts])
    nodes = {(node.level, node.index): node.hash for node in growth.new_nodes}
    head = Checkpoint(SIGNER.name, growth.size, growth.root.hex())
    made = proofs_of(events, decisions, growth.size, nodes.get)
    ledger = {**made, "note": SIGNER.sign(head.text), "key": SIGNER.verifier.text, **changes}
    told = {**record.record, "ledger": {"size": head.size, "root": head.root}}
    return replace(record, record=told, ledger=ledger)


@cache
def bundle() -> RecordBundle:
    """A whole record of a whole setup."""
    events = chain()
    record = {
        "domain": "zerokeep/record/1",
        "edition": PAGES_EDITION,
        "setup": SETUP,
        "shop": "Millbrook Teaching Shop",
        "people": [{"id": "mara", "name": "Mara Lindqvist", "roles": ["operator"]}],
        "sealed_at_utc": AT_UTC,
        "ledger": {"size": 9, "root": "00" * 32},
        "renderer": RENDERER,
        "step_pace": None,
    }
    decisions = (verified_for(jws.event_id(events[-1])), SIGNED_OFF)
    return in_ledger(bound(RecordBundle(SHEET, tuple(events), (TABLET.listed(),), decisions, record)))


def changed(**changes: Any) -> RecordBundle:
    """The record with some of its files replaced, signed off as it then is."""
    return in_ledger(bound(replace(bundle(), **changes)))


def render(record: RecordBundle) -> bytes:
    """Pages that print what the events say, with the record's files attached;
    the same bytes for the same record.
    """
    return _render(tuple(record.files().items()))


@cache
def _render(files: tuple[tuple[str, bytes], ...]) -> bytes:
    payloads = [line.split(".")[1] for line in dict(files)["events.jsonl"].decode().split("\n")[:-1]]
    rows = "".join(f"<li>{json.loads(jws.from_base64url(payload))['type']}</li>" for payload in payloads)
    return pdf_of(
        (
            "<html lang='en'><head><title>Record</title></head>"
            f"<body><h1>Record</h1><ol>{rows}</ol></body></html>"
        ),
        dict(files),
    )
