"""Sealed records that are not kept any more: a tombstone with the hash on the ledger, then the file is gone.

Rules:
- nothing goes by itself: a lead is named and a reason is given, and both stand on the ledger before the first
  file is taken away, each record with its hash, so that a copy that left earlier is still known here;
- what goes is the sealed file, and with it the pictures of its setup, whose hashes stand in its events and
  decisions. Those stay, because the ledger's tree is over their texts; so does the row that says which file
  it was;
- a record is disposed of by its age since it was sealed, never a single one that somebody would rather not
  have: all that are older go, or none;
- a shop goes on meanwhile: tombstones are written so many in a transaction, all of them before the first
  file goes. Each says before which time all go, so that a server which starts after a crash goes on with the
  others under the same lead's word. What a disk left undone, the next start or the next call does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from webapp.services.evidence import photo_entries, tombstones
from webapp.services.evidence.ledger import change, said_by
from webapp.services.evidence.tombstones import DISPOSED
from webapp.services.people.access import must_be_lead
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.files import HashedFiles
    from webapp.store.rows import RecordRow

AT_A_TIME = 50


class Disposed(NamedTuple):
    """How many records got a tombstone, and why a file that has one still lies there, one error for each."""

    records: int
    left: list[OSError]


class Asked(NamedTuple):
    """Why records go, who says so (a lead), when, and the time before which all that were sealed go; empty
    where only those that are named do.
    """

    reason: str
    by: str
    now: datetime
    all_before_utc: str = ""


def years_before(years: int, now: datetime) -> str:
    """So many years (1 or more) before `now`."""
    return f"{now.year - years:04}{now:-%m-%dT%H:%M:%S.000Z}"


def older_than(store: Store, years: int, now: datetime) -> list[RecordRow]:
    """Records that were sealed so many years (1 or more) before `now` and are still kept, by setup."""
    with store.reading():
        return _sealed_before(store, years_before(years, now))


def _sealed_before(store: Store, before_utc: str) -> list[RecordRow]:
    gone = tombstones.disposed(store)
    old = (row for row in store.records.all_records() if row["sealed_at_utc"] < before_utc)
    return [row for row in old if row["sha256"] not in gone]


def go_on(store: Store, now: datetime) -> Disposed:
    """Finish what a crash left of the last disposal: the other tombstones, then the files. Nothing to do
    where there was none, or all of it was done.
    """
    with store.reading():
        last = tombstones.last(store)
        said = said_by(last["text"]) if last else {}
        before_utc = str(said.get("all_before_utc") or "")
        left = _sealed_before(store, before_utc) if before_utc else []
    if last is None:
        return Disposed(0, [])
    asked = Asked(str(said.get("reason")), last["by"], now, before_utc)
    count = 0
    for start in range(0, len(left), AT_A_TIME):
        with store.writing():
            count += sum(_bury(store, row, asked) for row in left[start : start + AT_A_TIME])
    return Disposed(count, sweep(store))


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
    data: dict[str, str | int] = {
        "sha256": row["sha256"],
        "bytes": row["bytes"],
        "sealed_at_utc": row["sealed_at_utc"],
    }
    # Of no setup: what was decided in it does not change with it.
    if asked.all_before_utc:
        data["all_before_utc"] = asked.all_before_utc
    change(store, DISPOSED, asked.by, row["setup"], None, {**data, "reason": asked.reason}, asked.now)
    return True


def sweep(store: Store) -> list[OSError]:
    """Take away every file that has a tombstone, and the pictures of its setup; what kept each of those that
    could not be.
    """
    records = _removed(store.records.files, tombstones.hashes(store))
    return [*records, *_removed(store.photos, _pictures_to_go(store))]


def _removed(files: HashedFiles, hashes: Iterable[str]) -> list[OSError]:
    left = []
    for sha256 in hashes:
        try:
            files.remove(sha256)
        except OSError as error:
            left.append(error)
    return left


def _pictures_to_go(store: Store) -> set[str]:
    """Pictures of setups whose record has a tombstone, but for those that another setup has as well."""
    with store.reading():
        gone = {row["subject"] for row in tombstones.disposed(store).values()}
    going, staying = set[str](), set[str]()
    for kept in photo_entries.all_kept(store) if gone else ():
        (going if kept.setup in gone else staying).add(kept.sha256)
    return going - staying
