"""What the ledger says of sealed records that were disposed of (services/audit/disposal.py)."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, RecordRow

DISPOSED = "record.disposed"


def tombstone(store: Store, record: RecordRow) -> ChangeRow | None:
    """The entry that says that a record was disposed of, None for one that is kept. Inside a transaction."""
    found = store.ledger.changes_about(DISPOSED, record["setup"])
    return next((one for one in found if f'"sha256":"{record["sha256"]}"' in one["text"]), None)


def not_kept(store: Store) -> dict[str, str]:
    """Records that no audit can look at any more, each with when and by whom. Inside a transaction."""
    found = {}
    for row in store.records.all_records():
        if said := tombstone(store, row):
            found[f"record {row['sha256']}"] = f"disposed of {said['at_utc']} by {said['by']}"
    return found
