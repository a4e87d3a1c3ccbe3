"""Sealed records that are not kept any more: a tombstone with the hash on the ledger, then the file is gone.

Rules:
- nothing goes by itself: a lead is named and a reason is given, and both stand on the ledger before the first
  file is taken away, each record with its hash, so that a copy that left earlier is still known here;
- what goes is the sealed file. Events and decisions stay, because the ledger's tree is over their texts; so
  does the row that says which file it was;
- a record is disposed of by its age since it was sealed, never a single one that somebody would rather not
  have: all that are older go, or none.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.services.evidence.ledger import change
from webapp.services.evidence.tombstones import DISPOSED, tombstone
from webapp.services.people.access import must_be_lead
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import RecordRow


def older_than(store: Store, years: int, now: datetime) -> list[RecordRow]:
    """Records that were sealed so many years (1 or more) before `now` and are still kept, by setup."""
    before = f"{now.year - years:04}{now:-%m-%dT%H:%M:%S.000Z}"
    with store.reading():
        old = [row for row in store.records.all_records() if row["sealed_at_utc"] < before]
        return [row for row in old if tombstone(store, row) is None]


def dispose(store: Store, records: Iterable[RecordRow], reason: str, by: str, now: datetime) -> int:
    """Write a tombstone for each, then take the files away; how many. Raises RoleMissing, ReasonMissing.

    Files that a crash left behind their tombstones go with the next call of `sweep`.
    """
    reason, rows = reason_text(reason), list(records)
    with store.writing():
        must_be_lead(store, by)
        for row in rows:
            data = {"sha256": row["sha256"], "bytes": row["bytes"], "sealed_at_utc": row["sealed_at_utc"]}
            # Of no setup: what was decided in it does not change with it.
            change(store, DISPOSED, by, row["setup"], None, {**data, "reason": reason}, now)
    sweep(store)
    return len(rows)


def sweep(store: Store) -> None:
    """Take away every file that has a tombstone."""
    with store.reading():
        gone = [row["sha256"] for row in store.records.all_records() if tombstone(store, row)]
    for sha256 in gone:
        store.records.files.remove(sha256)
