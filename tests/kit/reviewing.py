"""A record whose sign-offs say what was read, worked out from what the record holds."""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256

from webapp.domain.evidence.reviewed import reviewed
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import RecordBundle
from webapp.proof.keys.jws import event_id


def bound(record: RecordBundle) -> RecordBundle:
    """The record with every sign-off said to be about all its events and the decisions before it."""
    sheet_hash = sha256(record.sheet_text.encode()).hexdigest()
    ids = [event_id(compact) for compact in record.events]
    texts: list[str] = []
    for text in record.decisions:
        value = json.loads(text)
        if isinstance(value, dict) and value["type"] == "setup.signed_off" and "data" in value:
            value["data"]["reviewed"] = reviewed(record.record["setup"], sheet_hash, ids, texts)
            texts.append(canonical_text(value))
        else:
            texts.append(text)
    return replace(record, decisions=tuple(texts))
