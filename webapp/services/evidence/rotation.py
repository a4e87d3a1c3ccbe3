"""Which of the server's keys is due to be renewed.

Rules: each renewal by command is a change on the ledger; from those alone it is told how old a key is, and a
key that was never renewed is as old as the ledger. How long a key is kept is this program's choice (NIST SP
800-57 part 1, table 1, has one to three years for keys that sign; from memory): what a former one signed
stays good. The seal has a term of its own (proof/keys/seal_term.py).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from webapp.services.evidence.safekeeping import Reminder
from webapp.services.evidence.succession import HEAD_KEY_RENEWED, PIN_KEY_RENEWED, RECEIPT_KEY_RENEWED
from webapp.services.times import from_text

if TYPE_CHECKING:
    from webapp.store import Store

PASSPHRASE_RENEWED = "key_passphrase.renewed"  # noqa: S105 - the kind of an entry
A_YEAR = timedelta(days=365)


class Term(NamedTuple):
    """What `zerokeep renew-key` calls a key, the entry of its renewal, and after how many years it is due."""

    which: str
    kind: str
    years: int


TERMS = (
    Term("pins", PIN_KEY_RENEWED, 1),
    Term("receipts", RECEIPT_KEY_RENEWED, 2),
    Term("passphrase", PASSPHRASE_RENEWED, 2),
    Term("heads", HEAD_KEY_RENEWED, 3),
)


def reminders(store: Store, now: datetime) -> list[Reminder]:
    """What is due to be renewed; nothing in a young shop."""
    with store.reading():
        first = store.ledger.changes_between(0, 1)
        if not first:
            return []
        made = from_text(first[0]["at_utc"])
        since = {term: _newest(store, term.kind) or made for term in TERMS}
    return [
        Reminder("keys.due", {"which": term.which, "years": term.years, "day": f"{at:%Y-%m-%d}"})
        for term, at in since.items()
        if now - at > term.years * A_YEAR
    ]


def _newest(store: Store, kind: str) -> datetime | None:
    rows = store.ledger.changes(kind=kind, newest=1)
    return from_text(rows[0]["at_utc"]) if rows else None
