"""A backup was brought back: the ledger goes on from an earlier head, and says so by a signed statement.

Rules: tablets hold heads and events that the ledger had and has no longer. The statement names the head that
the ledger goes on from, when and why, and is signed with the key that tablets know; it stands on the ledger
and in every answer to a tablet. A tablet that sees another statement than before sends again what it still
holds. What a tablet would have to report as a ledger that went back is explained by it, and stays visible.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from webapp.domain.plain.json_strict import canonical_bytes
from webapp.proof.keys.jws import sign
from webapp.services.evidence.ledger import RESTORED, SERVER, change, head
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store

EPOCH_DOMAIN = "zerokeep/epoch/1"
EPOCH_TYPE = "zerokeep-epoch+jws"
LONGEST_REASON = 500
MOST_LISTED = 5
SHOWN = timedelta(days=30)


class Restored(NamedTuple):
    """When and why a backup was brought back, and the size of the ledger that it was."""

    at_utc: str
    reason: str
    size: int


def open_epoch(
    store: Store,
    keyring: KeyRing,
    reason: str,
    now: datetime,
    backup: Mapping[str, str | int] | None = None,
) -> str:
    """Take the ledger as it is for the right one after a backup was brought back; the signed statement.

    The head that was kept beside the database goes onto the ledger with it, and `backup`, which says what was
    brought back. Raises OSError.
    """
    try:
        before = store.kept_head.read()
    except ValueError:
        before = None
    kept = {"size": before.size, "root": before.root} if before else None
    with store.writing():
        restored = head(store)
        said = {
            "domain": EPOCH_DOMAIN,
            "restored": {"size": restored["size"], "root": restored["root"]},
            "at_utc": utc_text(now),
            "reason": reason[:LONGEST_REASON],
        }
        statement = sign(canonical_bytes(said), keyring.receipt_key, keyring.receipt_key_id, EPOCH_TYPE)
        data = {"kept": kept, "reason": said["reason"], "statement": statement, "backup": dict(backup or {})}
        change(store, RESTORED, SERVER, "ledger", None, data, now)
    with store.reading():
        found = head(store)
    store.kept_head.replace(found["size"], found["root"])
    return statement


def newest(store: Store) -> str | None:
    """The same in a transaction of its own."""
    with store.reading():
        return current(store)


def recent(store: Store, now: datetime) -> list[Restored]:
    """When and why a backup was brought back in the last days, newest first."""
    with store.reading():
        rows = store.ledger.changes(kind=RESTORED, newest=MOST_LISTED)
    return [
        Restored(row["at_utc"], str(json.loads(row["text"])["data"]["reason"]), row["position"])
        for row in rows
        if now - from_text(row["at_utc"]) <= SHOWN
    ]


def current(store: Store) -> str | None:
    """The newest statement, None for a ledger that never went back. Inside a transaction."""
    for row in store.ledger.changes(kind=RESTORED, newest=1):
        found = json.loads(row["text"])["data"].get("statement")
        return None if found is None else str(found)
    return None
