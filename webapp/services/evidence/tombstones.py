"""What the ledger says of sealed records that were disposed of (services/audit/disposal.py)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, RecordRow

DISPOSED = "record.disposed"
AT_A_TIME = 500
# Quotes in a reason are escaped in JSON, so that nothing typed looks like this.
_HASH = re.compile(r'"sha256":"([0-9a-f]{64})"')


def tombstone(store: Store, record: RecordRow) -> ChangeRow | None:
    """The entry that says that a record was disposed of, None for one that is kept. Inside a transaction.

    For one record; whoever goes through many asks `disposed` once.
    """
    found = store.ledger.changes_about_record(DISPOSED, record["setup"])
    return next((one for one in found if _hash(one) == record["sha256"]), None)


def disposed(store: Store) -> dict[str, ChangeRow]:
    """Every record that was disposed of: its hash (hex) and the entry. Inside a transaction; one query."""
    found = store.ledger.changes(kind=DISPOSED, newest=None)
    return {hash_: row for row in found if (hash_ := _hash(row))}


def hashes(store: Store) -> Iterator[str]:
    """The same records' hashes in the order of the ledger, read in stretches, each in a transaction of its
    own, so that a caller may take its time with each.
    """
    after = -1
    while True:
        with store.reading():
            rows = store.ledger.changes_of([DISPOSED], after, AT_A_TIME)
        yield from filter(None, map(_hash, rows))
        if len(rows) < AT_A_TIME:
            return
        after = rows[-1]["position"]


def last(store: Store) -> ChangeRow | None:
    """The last such entry, None before the first. Inside a transaction."""
    return next(iter(store.ledger.changes(kind=DISPOSED, newest=1)), None)


def newest(store: Store) -> int | None:
    """The place on the ledger of the last such entry, None before the first. Inside a transaction."""
    found = last(store)
    return found["position"] if found else None


def not_kept(store: Store) -> dict[str, str]:
    """Records that no audit can look at any more, each with when and by whom. Inside a transaction."""
    return {
        f"record {hash_}": f"disposed of {said['at_utc']} by {said['by']}"
        for hash_, said in disposed(store).items()
    }


def _hash(row: ChangeRow) -> str | None:
    found = _HASH.search(row["text"])
    return found[1] if found else None
