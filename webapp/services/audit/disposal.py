"""Sealed records that are not kept any more: a tombstone with the hash on the ledger, then the file is gone.

Rules:
- nothing goes by itself: a lead is named and a reason is given, and both stand on the ledger before the first
  file is taken away, each record with its hash, so that a copy that left earlier is still known here;
- what goes is the sealed file. Events and decisions stay, because the ledger's tree is over their texts; so
  does the row that says which file it was;
- a record is disposed of by its age since it was sealed, never a single one that somebody would rather not
  have: all that are older go, or none;
- a shop goes on meanwhile: tombstones are written so many in a transaction, all of them before the first file
  goes. What a crash or a disk left undone, the next call does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from webapp.services.evidence import tombstones
from webapp.services.evidence.ledger import change
from webapp.services.evidence.tombstones import DISPOSED
from webapp.services.people.access import must_be_lead
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import RecordRow

AT_A_TIME = 50


class Disposed(NamedTuple):
    """How many records got a tombstone, and why a file that has one still lies there, one error for each."""

    records: int
    left: list[OSError]


class Asked(NamedTuple):
    """Why records go, who says so (a lead), and when."""

    reason: str
    by: str
    now: datetime


def older_than(store: Store, years: int, now: datetime) -> list[RecordRow]:
    """Records that were sealed so many years (1 or more) before `now` and are still kept, by setup."""
    before = f"{now.year - years:04}{now:-%m-%dT%H:%M:%S.000Z}"
    with store.reading():
        gone = tombstones.disposed(store)
        old = (row for row in store.records.all_records() if row["sealed_at_utc"] < before)
        return [row for row in old if row["sha256"] not in gone]


def dispose(
    store: Store, records: Iterable[RecordRow], asked: Asked, between: Callable[[], None] = lambda: None
) -> Disposed:
    """Write a tombstone for each, then take the files away. Raises RoleMissing, ReasonMissing.

    `between` is called after every transaction, for others who want to write.
    """
    asked = asked._replace(reason=reason_text(asked.reason))
    rows, count = iter(records), 0
    while True:
        piece = list(islice(rows, AT_A_TIME))
        with store.writing():
            must_be_lead(store, asked.by)
            count += sum(_bury(store, row, asked) for row in piece)
        if len(piece) < AT_A_TIME:
            return Disposed(count, sweep(store))
        between()


def _bury(store: Store, row: RecordRow, asked: Asked) -> bool:
    """Write one tombstone; whether there was none yet."""
    if tombstones.tombstone(store, row) is not None:
        return False
    data = {"sha256": row["sha256"], "bytes": row["bytes"], "sealed_at_utc": row["sealed_at_utc"]}
    # Of no setup: what was decided in it does not change with it.
    change(store, DISPOSED, asked.by, row["setup"], None, {**data, "reason": asked.reason}, asked.now)
    return True


def sweep(store: Store) -> list[OSError]:
    """Take away every file that has a tombstone; what kept each of those that could not be."""
    left = []
    for sha256 in tombstones.hashes(store):
        try:
            store.records.files.remove(sha256)
        except OSError as error:
            left.append(error)
    return left
