"""The self-audit: everything that is stored is worked out again and compared.

Rules: events are verified with their tablet's key and hashed again, leaves and nodes are made anew from the
texts, every sealed file and every picture is read and hashed, those of published steps too, chains are
followed, every row beside the ledger is compared with what was noted of it when this program last changed it
(see row_notes.py). What does not fit is named by its record, never repaired. Each run stands on the ledger
with what it looked at, what it found and the root that the ledger had, so that nobody has to take it on trust
that somebody looked (OWASP ASVS 5.0, 16.3; ISO/IEC 17025:2017 7.11, from memory), and so that the next run
can go on from there: the whole is worked out again every seven days, after a finding, and when asked for.
Whatever the size of the shop, a run holds one stretch of the ledger in memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

from typing_extensions import TypedDict

from webapp.domain.evidence import tree
from webapp.domain.plain.declared import Fault as NotOfShape
from webapp.domain.plain.declared import Shape
from webapp.proof.ledger.printed_head import printed_head
from webapp.services.audit import long_rows, people, shop_rows, step_picture_files
from webapp.services.audit.derived import misfits
from webapp.services.audit.row_notes import NO_NOTES, Notes, NotesSaid, changed_rows, notes_until_now
from webapp.services.audit.unreadable import readable
from webapp.services.evidence import photo_entries
from webapp.services.evidence.ledger import SERVER, change, has_head, keep_head, said_by
from webapp.services.evidence.ledger_walk import AUDIT_RAN, Fault, Stretch, Walk
from webapp.services.evidence.photo_entries import KeptPicture
from webapp.services.evidence.tombstones import tombstone
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.kept_head import Head
    from webapp.store.rows import ChangeRow, RecordRow, SheetRow

MOST_LISTED = 100
SHEETS_AT_A_TIME, RECORDS_AT_A_TIME = 4, 500  # a sheet is put together while it is read
WHOLE_EVERY = timedelta(days=7)
SEALED = "record.sealed"
Row = TypeVar("Row")


class FoundFault(TypedDict):
    """A fault as it stands on the ledger."""

    code: str
    record: str


class Audited(TypedDict):
    """What one run looked at and found: entries `first` up to, not including, `entries`, sealed records, of
    many faults the first. `root` (hex) is the one worked out over all entries, empty where that could not be
    done; `whole_at_utc` is when everything was last looked at, `whole_entries` the ledger's size then;
    `notes` is None for runs from before notes were made.
    """

    at_utc: str
    whole_at_utc: str
    whole_entries: int
    first: int
    entries: int
    root: str
    records: int
    faults: int
    found: list[FoundFault]
    notes: NotesSaid | None


AUDITED: Shape[Audited] = Shape(Audited)


@dataclass(slots=True)
class Outcome:
    """What one run looked at, and what it found: `count` faults, of many the first in `faults`."""

    at_utc: str
    whole_at_utc: str
    first: int = 0
    entries: int = 0
    root: str = ""
    records: int = 0
    count: int = 0
    faults: list[Fault] = field(default_factory=list)
    notes: Notes = NO_NOTES
    whole_entries: int | None = None

    def take(self, found: Iterable[Fault]) -> None:
        """Count faults and keep the first."""
        for fault in found:
            self.count += 1
            if len(self.faults) < MOST_LISTED:
                self.faults.append(fault)

    def as_dict(self) -> Audited:
        """Plain JSON."""
        return {
            "at_utc": self.at_utc,
            "whole_at_utc": self.whole_at_utc,
            "whole_entries": self.entries if self.whole_entries is None else self.whole_entries,
            "first": self.first,
            "entries": self.entries,
            "root": self.root,
            "records": self.records,
            "faults": self.count,
            "found": [{"code": fault.code, "record": fault.record} for fault in self.faults],
            "notes": {"number": self.notes.number, "sha256": self.notes.sha256},
        }


def run(store: Store, now: datetime, *, only_new: bool = False) -> Outcome:
    """Audit what is stored as of `now`, so that nobody has to wait, and put the outcome on the ledger.

    `only_new`: go on from the last run where that found nothing and the whole is not due.
    """
    since = _may_go_on_from(store, now) if only_new else None
    outcome = _whole(store, now) if since is None else _new(store, since, now)
    said = {name: value for name, value in outcome.as_dict().items() if name != "at_utc"}
    with store.writing():
        change(store, AUDIT_RAN, SERVER, "ledger", None, said, now)
    keep_head(store)
    return outcome


def last_run(store: Store) -> Audited | None:
    """What the newest run put on the ledger, as Outcome.as_dict gives it; None before the first."""
    with store.reading():
        rows = store.ledger.changes(kind=AUDIT_RAN, newest=MOST_LISTED)
    return next((said for row in rows if (said := _said(row)) is not None), None)


def _said(row: ChangeRow) -> Audited | None:
    """What a run put on the ledger; None where that cannot be read: the walk along the ledger names it."""
    at_utc = row["at_utc"]
    # Early runs were of the whole, and knew no notes.
    early = {"at_utc": at_utc, "whole_at_utc": at_utc, "first": 0, "root": "", "notes": None}
    data = said_by(row["text"])
    found = AUDITED.read({**early, "whole_entries": data.get("entries"), **data})
    return None if isinstance(found, NotOfShape) else found


def audit(store: Store) -> list[Fault]:
    """All faults, none in a whole store. Takes about as long as taking in everything again."""
    kept = _read_kept(store)
    return [*everything(store, Outcome("", "")), *_kept_head(store, kept)]


def everything(store: Store, outcome: Outcome) -> Iterator[Fault]:
    """Every fault, one at a time, read in short transactions of its own while others go on working: nothing
    is copied, and nobody waits. The head kept apart is left out.

    `outcome` gets what was looked at.
    """
    yield from readable("database", _damage(store))
    yield from readable("layout", _layout(store))
    yield from readable("ledger", _ledger(store, outcome))
    yield from readable(
        "sheet", _sheets(store, _in_pieces(store, store.sheets.all_sheets(), SHEETS_AT_A_TIME))
    )
    yield from readable("record", _records(store, outcome))
    yield from readable("photo", _photos(store, photo_entries.all_kept(store)))
    yield from readable("step picture", step_picture_files.misfits(store))
    yield from readable("setup", misfits(store))
    yield from readable("person", people.misfits(store))
    yield from shop_rows.misfits(store)
    yield from long_rows.misfits(store)
    yield from changed_rows(store)
    yield from readable("row_change", _notes(store, outcome, NO_NOTES))


def what_came(store: Store, since: Audited, outcome: Outcome) -> Iterator[Fault]:
    """Faults in what came since an earlier run, read in short transactions of its own:
    meant for the file in use.
    """
    kept = _read_kept(store)
    yield from readable("ledger", _ledger_since(store, since["entries"], outcome))
    yield from _kept_head(store, kept)
    noted = since["notes"]
    start = Notes(noted["number"], noted["sha256"]) if noted else NO_NOTES
    yield from readable("row_change", _notes(store, outcome, start))


def _ledger_since(store: Store, first: int, outcome: Outcome) -> Iterator[Fault]:
    with store.reading():
        until = store.ledger.size()
        edge = {place: store.ledger.hash_at(place) or b"" for place in tree.frontier(first)}
    outcome.entries = until
    walk = Walk(store, first, edge)
    for stretch in walk.stretches(until):
        yield from walk.faults(stretch)
        yield from _named_in(store, stretch, outcome)
    outcome.root = (walk.root() or b"").hex()


def _read_kept(store: Store) -> Head | Fault | None:
    """The head kept apart from the ledger, read before the ledger is:
    one kept meanwhile is of a later one.
    """
    try:
        return store.kept_head.read()
    except ValueError:
        return Fault("audit.head", f"file {store.kept_head.path.name}")


def _kept_head(store: Store, kept: Head | Fault | None) -> Iterator[Fault]:
    """Whether the ledger still has the head that was kept apart from it, and whether there is one."""
    if isinstance(kept, Fault):
        yield kept
        return
    if kept is None:
        if _kept_before(store):
            yield Fault("audit.head", f"file {store.kept_head.path.name}, which is gone")
        return
    with store.reading():
        held = has_head(store, *kept)
    if not held:
        yield Fault("audit.head", f"head of {kept.size} entries in {store.kept_head.path.name}")


def _kept_before(store: Store) -> bool:
    """Whether a head has to lie there: twice something was written behind which one is kept. After the first
    time a full disk or a crash may have kept it from being written.
    """
    with store.reading():
        return sum(len(store.ledger.changes(kind=kind, newest=2)) for kind in (AUDIT_RAN, SEALED)) > 1


def _notes(store: Store, outcome: Outcome, start: Notes) -> Iterator[Fault]:
    for found in notes_until_now(store, start):
        if isinstance(found, Fault):
            yield found
        else:
            outcome.notes = found


def _may_go_on_from(store: Store, now: datetime) -> Audited | None:
    """The last run, where it found nothing, the ledger still has its root, and the whole is not due."""
    last = last_run(store)
    if last is None or last["faults"] or not last["root"]:
        return None
    if not timedelta(0) <= now - from_text(last["whole_at_utc"]) < WHOLE_EVERY:
        return None
    with store.reading():
        try:
            same = store.ledger.root(last["entries"]).hex() == last["root"]
        except tree.TreeError:
            return None
    return last if same else None


def _whole(store: Store, now: datetime) -> Outcome:
    outcome = Outcome(utc_text(now), utc_text(now))
    kept = _read_kept(store)
    outcome.take(everything(store, outcome))
    outcome.take(_kept_head(store, kept))
    return outcome


def _new(store: Store, since: Audited, now: datetime) -> Outcome:
    outcome = Outcome(utc_text(now), since["whole_at_utc"], since["entries"])
    outcome.whole_entries = since["whole_entries"]
    outcome.take(what_came(store, since, outcome))
    return outcome


def _ledger(store: Store, outcome: Outcome) -> Iterator[Fault]:
    """Every entry with its leaf and its nodes; also those that have no leaf any more."""
    walk, at_end = Walk(store), None
    while at_end is None:
        with store.reading():
            until = store.ledger.places()
        for stretch in walk.stretches(until):
            yield from walk.faults(stretch)
        at_end = _at_end(store, walk, until, outcome)
    yield from at_end


def _at_end(store: Store, walk: Walk, until: int, outcome: Outcome) -> list[Fault] | None:
    """What is wrong behind the last entry; None where more came since the walk began."""
    with store.reading():
        if store.ledger.places() > until:
            return None
        outcome.entries = store.ledger.size()
        outcome.root = (walk.root() or b"").hex()
        return list(walk.faults_at_end())


def _in_pieces(store: Store, rows: Iterator[Row], at_a_time: int) -> Iterator[Row]:
    """The same rows, so many read in each transaction."""
    while True:
        with store.reading():
            piece = list(islice(rows, at_a_time))
        yield from piece
        if len(piece) < at_a_time:
            return


def _damage(store: Store) -> Iterator[Fault]:
    yield from (Fault("audit.database", text) for text in store.damage())


def _layout(store: Store) -> Iterator[Fault]:
    """A trigger that somebody put in works as if this program had; one that is gone refuses nothing."""
    with store.reading():
        changed = store.changed_layout()
    yield from (Fault("audit.layout", name) for name in changed)


def _records(store: Store, outcome: Outcome) -> Iterator[Fault]:
    for row in _in_pieces(store, store.records.all_records(), RECORDS_AT_A_TIME):
        outcome.records += 1
        yield from _record(store, row)


def _sheets(store: Store, rows: Iterable[SheetRow]) -> Iterator[Fault]:
    for row in rows:
        if not row["text"]:
            with store.reading():
                let_go = not store.old_sheets.is_named(row["hash"])
            if let_go:
                continue
        whole = sha256(row["text"].encode("utf-8", "surrogatepass")).hexdigest() == row["hash"]
        if not whole or not long_rows.fits_its_text(row):
            yield Fault("audit.sheet", f"sheet {row['hash']}")


def _record(store: Store, row: RecordRow) -> Iterator[Fault]:
    name = f"record {row['sha256']} of setup {row['setup']}"
    pdf = store.records.files.whole(row["sha256"])
    if pdf is None:
        with store.reading():  # after the file: a tombstone is there before its file goes
            disposed = tombstone(store, row) is not None
        if not disposed:
            yield Fault("audit.record_file", name)
        return
    printed = printed_head(pdf)
    with store.reading():
        held = printed is None or has_head(store, printed["size"], printed["root"])
    if not held:
        yield Fault("audit.printed_head", name)


def _photos(store: Store, kept: Iterable[KeptPicture]) -> Iterator[Fault]:
    """Pictures that the ledger names and that are gone or another file, but for those of disposed records."""
    for one in kept:
        if store.photos.is_whole(one.sha256):
            continue
        with store.reading():  # after the file, as with a record's
            record = store.records.record(one.setup)
            disposed = record is not None and tombstone(store, record) is not None
        if not disposed:
            yield Fault("audit.photo_file", f"photo {one.sha256} of setup {one.setup}")


def _named_in(store: Store, stretch: Stretch, outcome: Outcome) -> Iterator[Fault]:
    """The sheets that these events were made on, and the files that these changes say were kept."""
    kept = [row for row in stretch.changes if row["type"] == photo_entries.KEPT]
    yield from _photos(store, map(photo_entries.of_entry, kept))
    for hash_ in sorted({row["sheet"] for row in stretch.events}):
        with store.reading():
            sheet = store.sheets.sheet(hash_)
        yield from _sheets(store, [sheet]) if sheet else [Fault("audit.sheet", f"sheet {hash_}")]
    for sealed in (row for row in stretch.changes if row["type"] == SEALED and row["setup"]):
        with store.reading():
            record = store.records.record(str(sealed["setup"]))
        outcome.records += 1
        yield from (
            _record(store, record)
            if record
            else [Fault("audit.record_file", f"record of setup {sealed['setup']}")]
        )
