"""Past values from a table: looked at without changing anything, taken in, and written out again.

Rules:
- a table that is looked at and the table that is taken in go through the same reading, line by line as it comes;
- each line that is refused stays out, with its reason; the others become kept values of the seating that
  they name, marked as imported, in one transaction, with the hash of the file and its counts on the ledger;
- what is kept already is refused, so the same file twice changes nothing;
- a value counts as one that a setup brought: nobody signed it, and it says so wherever it is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from itertools import islice
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.events import HASH
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.history_csv import (
    HistoryRow,
    Known,
    MachineLimits,
    RefusedLine,
    decode_lines,
    read_history,
    write_history,
)
from webapp.services.errors import NoSuchUpload, NothingToImport
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people.access import must_be_lead
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store

# Gives the table's bytes from the start, each time it is called.
Source = Callable[[], Iterable[bytes]]
AT_A_TIME = 2_000
MOST_TOLD = 500
LONGEST_NAME = 120
MOST_STAGED = 8


@dataclass
class Looked:
    """What an import does: setups and values by fixture, the refused lines (the first MOST_TOLD of them), the hash."""

    sha256: str = ""
    setups: int = 0
    values: int = 0
    refused: int = 0
    lines: list[RefusedLine] = field(default_factory=list)
    by_fixture: dict[str, int] = field(default_factory=dict)
    outside_seating: int = 0
    first_at_utc: str | None = None
    last_at_utc: str | None = None


def look(
    store: Store, source: Source, now: datetime, tell: Callable[[RefusedLine], None] | None = None
) -> Looked:
    """What taking the table in would do. `tell` hears of every refused line. Raises a HistoryCsvError."""
    looked = Looked()
    with store.reading():
        for _ in _parts(store, source, now, looked, tell):
            pass
    return looked


def take_in(
    store: Store,
    source: Source,
    name: str,
    by: str,
    now: datetime,
    tell: Callable[[RefusedLine], None] | None = None,
) -> Looked:
    """Take the table in. Raises RoleMissing, NothingToImport, a HistoryCsvError; nothing stays then."""
    looked = Looked()
    with store.writing():
        if by != SERVER:
            must_be_lead(store, by)
        number = store.numbers.next_import()
        # Rows name their import; its own row is written first and completed by what the ledger says of it.
        digest, total = _counted(store, source, now, tell)
        if not total.setups:
            raise NothingToImport(refused=total.refused)
        counts = {"setups": total.setups, "values_kept": total.values, "refused": total.refused}
        shown = name[:LONGEST_NAME]
        store.numbers.add_import(
            {"number": number, "sha256": digest, "name": shown, "by": by, "at_utc": utc_text(now), **counts}
        )
        for rows in _parts(store, source, now, looked, None):
            _keep(store, number, rows)
        fixtures = [{"fixture": one, "values": count} for one, count in sorted(looked.by_fixture.items())]
        data = {"sha256": digest, "name": shown, **counts, "by_fixture": fixtures}
        change(store, "history.imported", by, digest, None, data, now)
    return looked


def _counted(
    store: Store, source: Source, now: datetime, tell: Callable[[RefusedLine], None] | None
) -> tuple[str, Looked]:
    looked = Looked()
    for _ in _parts(store, source, now, looked, tell):
        pass
    return looked.sha256, looked


def _parts(
    store: Store,
    source: Source,
    now: datetime,
    looked: Looked,
    tell: Callable[[RefusedLine], None] | None,
) -> Iterator[list[HistoryRow]]:
    """The rows that can be taken, in stretches, while `looked` is filled. Inside the caller's transaction."""
    digest = sha256()

    def chunks() -> Iterator[bytes]:
        for chunk in source():
            digest.update(chunk)
            yield chunk

    spans = _spans(store)
    rows = read_history(decode_lines(chunks()), _known(store, now))
    while stretch := list(islice(rows, AT_A_TIME)):
        good = [row for row in stretch if isinstance(row, HistoryRow)]
        kept = store.numbers.kept_setups([row.past_id for row in good])
        known = {setup for setup, _ in kept}
        taken = [row for row in good if row.past_id not in known]
        again = [
            RefusedLine(row.line, Finding("history.kept_already")) for row in good if row.past_id in known
        ]
        for line in sorted(
            [*(row for row in stretch if isinstance(row, RefusedLine)), *again], key=lambda line: line.line
        ):
            _refuse(looked, line, tell)
        for row in taken:
            _count(looked, row, spans)
        yield taken
    looked.sha256 = digest.hexdigest()


def _refuse(looked: Looked, line: RefusedLine, tell: Callable[[RefusedLine], None] | None) -> None:
    looked.refused += 1
    if len(looked.lines) < MOST_TOLD:
        looked.lines.append(line)
    if tell is not None:
        tell(line)


def _count(looked: Looked, row: HistoryRow, spans: dict[str, tuple[str, str | None]]) -> None:
    since, until = spans[row.seating]
    looked.setups += 1
    looked.values += len(row.values_nm)
    looked.by_fixture[row.fixture] = looked.by_fixture.get(row.fixture, 0) + len(row.values_nm)
    looked.outside_seating += row.at_utc < since or (until is not None and row.at_utc >= until)
    looked.first_at_utc = min(looked.first_at_utc or row.at_utc, row.at_utc)
    looked.last_at_utc = max(looked.last_at_utc or row.at_utc, row.at_utc)


def _known(store: Store, now: datetime) -> Known:
    machines = {
        machine: MachineLimits(
            {axis: (low, high) for axis, (low, high) in value["travel_nm"].items()}, value["fixture"]
        )
        for machine, value in store.shop.items("machine").items()
    }
    seatings = {
        fixture: frozenset(row["id"] for row in store.shop.seatings(fixture))
        for fixture in store.shop.items("fixture")
    }
    return Known(machines, seatings, utc_text(now))


def _spans(store: Store) -> dict[str, tuple[str, str | None]]:
    return {
        row["id"]: (row["since_utc"], row["until_utc"])
        for fixture in store.shop.items("fixture")
        for row in store.shop.seatings(fixture)
    }


def _keep(store: Store, number: int, rows: list[HistoryRow]) -> None:
    setups = [(row.past_id, number, row.line, row.machine, row.person, row.setup, row.note) for row in rows]
    values = [
        (row.past_id, axis, row.fixture, row.seating, value_nm, row.at_utc, row.left_out.get(axis), number)
        for row in rows
        for axis, value_nm in row.values_nm.items()
    ]
    store.numbers.add_past(setups, values)


def imports(store: Store) -> list[dict[str, Any]]:
    """Files that were taken in, newest first."""
    with store.reading():
        return store.numbers.imports()


def past_setup(store: Store, setup: str) -> list[dict[str, Any]]:
    """The values of a past setup that was imported, with where they come from; nothing for any other id."""
    with store.reading():
        return store.numbers.kept_of(setup) if store.numbers.imported(setup) else []


def export(store: Store, fixture: str | None = None) -> Iterator[str]:
    """The lines of a table of all kept values, left-out ones marked: in inches where every machine shows them, else mm.

    The lines are read in one view of the store: use them up before anything else.
    """
    with store.reading():
        machines = store.shop.items("machine")
        inches = bool(machines) and all(value["unit"] == "in" for value in machines.values())
        display = Display(Unit.INCH, 4) if inches else Display(Unit.MM, 3)
        yield from write_history(_rows(store, fixture), display)


def _rows(store: Store, fixture: str | None) -> Iterator[HistoryRow]:
    held: list[dict[str, Any]] = []
    for row in store.numbers.all_kept(fixture):
        if held and held[0]["setup"] != row["setup"]:
            yield _as_row(held)
            held = []
        held.append(row)
    if held:
        yield _as_row(held)


def _as_row(rows: list[dict[str, Any]]) -> HistoryRow:
    first = rows[0]
    return HistoryRow(
        0,
        first["at_utc"],
        first["machine"] or "",
        first["fixture"],
        first["seating"],
        first["person"] or "",
        first["named"] or first["setup"],
        {row["axis"]: row["value_nm"] for row in rows},
        first["note"],
        {row["axis"]: row["left_out_reason"] for row in rows if row["left_out_reason"] is not None},
    )


def stage(store: Store, data: bytes) -> str:
    """Keep a table that was looked at until it is taken in; its SHA-256. Older ones go."""
    digest = store.incoming.write(data)
    store.incoming.keep_newest(MOST_STAGED)
    return digest


def staged(store: Store, digest: str) -> bytes:
    """A table that was looked at. Raises NoSuchUpload."""
    if not (HASH.passes(digest) and store.incoming.is_whole(digest)):
        raise NoSuchUpload
    return store.incoming.read(digest)


def drop(store: Store, digest: str) -> None:
    """Forget a table that was taken in."""
    store.incoming.remove(digest)
