"""What there is of backups: when one was made last, when one was tried, and when that is too long ago.

Rules: each backup and each drill is a change on the ledger; from those alone it is told whether a lead has to
be reminded. A shop without a sealed record has nothing yet that could not be made again. To whom backups are
encrypted is what the ledger says, not what a file beside it says: a key that somebody put there would open
every later backup, and the owner's would open none.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from webapp.services.evidence.ledger import SERVER, change
from webapp.services.times import from_text

if TYPE_CHECKING:
    from webapp.store import Store

MADE, TRIED, KEY_MADE = "backup.made", "backup.tried", "backup.key_made"
SEALED = "record.sealed"
LONGEST = timedelta(days=7)
LONGEST_UNTRIED = timedelta(days=100)


@dataclass(frozen=True)
class Reminder:
    """A code of the words catalogue and its fields."""

    code: str
    fields: Mapping[str, str | int]


def note(store: Store, kind: str, data: Mapping[str, object], now: datetime) -> None:
    """Say on the ledger that a backup was made (MADE), tried (TRIED), or that its key was made (KEY_MADE)."""
    with store.writing():
        change(store, kind, SERVER, "backup", None, data, now)


def is_recipient(store: Store, recipient: str) -> bool:
    """Whether backups are to be encrypted to this public key: the ledger's newest word on it."""
    with store.reading():
        rows = store.ledger.changes(kind=KEY_MADE, newest=1)
    return bool(rows) and json.loads(rows[0]["text"])["data"].get("recipient") == recipient


def reminder(store: Store, now: datetime) -> Reminder | None:
    """What whoever runs the server is to be reminded of, None while a backup is young and was tried."""
    with store.reading():
        if not store.ledger.changes(kind=SEALED, newest=1):
            return None
        made, tried = _newest(store, MADE), _newest(store, TRIED)
    if made is None:
        return Reminder("backup.never_made", {})
    if now - made > LONGEST:
        return Reminder("backup.old", {"days": (now - made).days})
    if tried is None or now - tried > LONGEST_UNTRIED:
        return Reminder("backup.untried", {})
    return None


@dataclass(frozen=True, slots=True)
class Newest:
    """When a backup was last made and last tried; None before the first."""

    made: datetime | None
    tried: datetime | None


def newest(store: Store) -> Newest:
    """When a backup was last made and last tried."""
    with store.reading():
        return Newest(_newest(store, MADE), _newest(store, TRIED))


def _newest(store: Store, kind: str) -> datetime | None:
    rows = store.ledger.changes(kind=kind, newest=1)
    return from_text(rows[0]["at_utc"]) if rows else None
