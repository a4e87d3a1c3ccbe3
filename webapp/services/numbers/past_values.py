"""Past values from a table: looked at without changing anything, and taken in.

Rules:
- a table that is looked at and the table that is taken in go through the same reading,
  line by line as it comes;
- each line that is refused stays out, with its reason; the others become kept values of the seating that
  they name, marked as imported, in one transaction, with the hash of the file and its counts on the ledger;
- what is kept already is refused, so the same file twice changes nothing; a line that names a setup of this
  store is refused by that name: what a tablet signed is not added to by a table;
- a line whose values are readable and doubted (see `past_doubts`) is refused, or stands out to be asked
  about: it is taken only where the lead names it (`all_the_same`), and the ledger keeps which those were;
- a value counts as one that a setup brought: nobody signed it, and it says so wherever it is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from itertools import islice
from typing import TYPE_CHECKING, Literal

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.fitted_machine import fixtures_of
from webapp.domain.shop.shop import Machine
from webapp.domain.usual.history_csv import (
    HistoryRow,
    Known,
    MachineLimits,
    RefusedLine,
    decode_lines,
    read_history,
)
from webapp.services.errors import NothingToImport
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.numbers.past_doubts import Judge
from webapp.services.numbers.values_told import digest_of_table
from webapp.services.people.access import must_be_lead
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ImportedSetupRow, ImportRow, KeptWithOrigin

# Gives the table's bytes from the start, each time it is called.
Source = Callable[[], Iterable[bytes]]
AT_A_TIME = 2_000
MOST_TOLD = 500
LONGEST_NAME = 120


# Which of the doubted lines the lead takes all the same, by number; EVERY for all of them.
EVERY: Literal["every"] = "every"
AllTheSame = Collection[int] | Literal["every"]


@dataclass(frozen=True)
class AskedLine:
    """A line that is asked about, why, and whether it is taken all the same."""

    line: int
    reasons: tuple[Finding, ...]
    taken: bool


@dataclass
class Looked:
    """What an import does: setups and values by fixture,
    the refused and the asked lines (the first MOST_TOLD of each), the hash.
    """

    sha256: str = ""
    setups: int = 0
    values: int = 0
    refused: int = 0
    lines: list[RefusedLine] = field(default_factory=list)
    by_fixture: dict[str, int] = field(default_factory=dict)
    asked: int = 0
    asked_taken: int = 0
    asked_lines: list[AskedLine] = field(default_factory=list)
    outside_seating: int = 0
    first_at_utc: str | None = None
    last_at_utc: str | None = None


Told = RefusedLine | AskedLine
Tell = Callable[[Told], None]


def look(
    store: Store,
    source: Source,
    now: datetime,
    tell: Tell | None = None,
    *,
    all_the_same: AllTheSame = (),
) -> Looked:
    """What taking the table in would do.
    `tell` hears of every refused and asked line. Raises a HistoryCsvError.

    The store is read in short views of its own, so that nobody waits for a long table.
    """
    return _counted(store, source, now, tell, all_the_same)[0]


def take_in(
    store: Store,
    source: Source,
    name: str,
    by: str,
    now: datetime,
    tell: Tell | None = None,
    *,
    all_the_same: AllTheSame = (),
) -> Looked:
    """Take the table in. Raises RoleMissing, NothingToImport, a HistoryCsvError; nothing stays then."""
    looked = Looked()
    with store.writing():
        if by != SERVER:
            must_be_lead(store, by)
        number = store.numbers.next_import()
        # Rows name their import; its own row is written first and completed by what the ledger says of it.
        total, judge = _counted(store, source, now, tell, all_the_same)
        digest = total.sha256
        if not total.setups:
            raise NothingToImport(refused=total.refused, asked=total.asked)
        counts = {"setups": total.setups, "values_kept": total.values, "refused": total.refused}
        shown = name[:LONGEST_NAME]
        store.numbers.add_import(
            {
                "number": number,
                "sha256": digest,
                "name": shown,
                "setups": total.setups,
                "values_kept": total.values,
                "refused": total.refused,
                "by": by,
                "at_utc": utc_text(now),
            }
        )
        for rows in _parts(store, source, now, looked, judge, None, all_the_same):
            _keep(store, number, rows)
        fixtures = [{"fixture": one, "values": count} for one, count in sorted(looked.by_fixture.items())]
        data = {"sha256": digest, "name": shown, **counts, "by_fixture": fixtures}
        data["rows_sha256"] = digest_of_table(store, number)
        if looked.asked:
            lines = [one.line for one in looked.asked_lines if one.taken]
            data |= {
                "asked": looked.asked,
                "taken_all_the_same": looked.asked_taken,
                "lines_all_the_same": lines,
            }
        change(store, "history.imported", by, digest, None, data, now)
    return looked


def _counted(
    store: Store, source: Source, now: datetime, tell: Tell | None, all_the_same: AllTheSame
) -> tuple[Looked, Judge]:
    """Read the table once; where its own middle then doubts a line, once more: only that is told anew."""
    with store.reading():
        judge, told = Judge(store), set[int]()

    def once(line: Told) -> None:
        if tell is not None and line.line not in told:
            told.add(line.line)
            tell(line)

    looked = _read_through(store, source, now, judge, once, all_the_same)
    with store.reading():
        doubts_more = judge.settle()
    if doubts_more:
        looked = _read_through(store, source, now, judge, once, all_the_same)
    return looked, judge


def _read_through(
    store: Store, source: Source, now: datetime, judge: Judge, tell: Tell, all_the_same: AllTheSame
) -> Looked:
    looked = Looked()
    for _ in _parts(store, source, now, looked, judge, tell, all_the_same):
        pass
    return looked


def _parts(
    store: Store,
    source: Source,
    now: datetime,
    looked: Looked,
    judge: Judge,
    tell: Tell | None,
    all_the_same: AllTheSame,
) -> Iterator[list[HistoryRow]]:
    """The rows that can be taken, in stretches, while `looked` is filled."""
    digest = sha256()

    def chunks() -> Iterator[bytes]:
        for chunk in source():
            digest.update(chunk)
            yield chunk

    with store.reading():
        spans, limits = _spans(store), _known(store, now)
    rows = read_history(decode_lines(chunks()), limits)
    while stretch := list(islice(rows, AT_A_TIME)):
        taken = []
        with store.reading():
            known = _known_setups(store, [row for row in stretch if isinstance(row, HistoryRow)])
            sorted_out = [_sorted_out(item, known, judge, all_the_same) for item in stretch]
        for found in sorted_out:
            if isinstance(found, RefusedLine):
                _refuse(looked, found, tell)
                continue
            row, asked = found
            if asked is not None:
                _ask(looked, asked, tell)
            if asked is None or asked.taken:
                _count(looked, row, spans)
                taken.append(row)
        yield taken
    looked.sha256 = digest.hexdigest()


def _known_setups(store: Store, rows: list[HistoryRow]) -> dict[str, str]:
    """Why these rows' setups cannot come again, by their id."""
    ids = [row.past_id for row in rows]
    known = dict.fromkeys((setup for setup, _ in store.numbers.kept_setups(ids)), "history.kept_already")
    own = store.setups.setups_by_id([row.setup for row in rows if row.names_a_setup])
    return known | dict.fromkeys(own, "history.setup_of_this_store")


def _sorted_out(
    item: HistoryRow | RefusedLine, known: dict[str, str], judge: Judge, all_the_same: AllTheSame
) -> RefusedLine | tuple[HistoryRow, AskedLine | None]:
    if isinstance(item, RefusedLine):
        return item
    if item.past_id in known:
        return RefusedLine(item.line, Finding(known[item.past_id], {"setup": item.setup or item.past_id}))
    doubts = judge.doubts(item)
    wrong = next((one for one in doubts if one.refused), None)
    judge.gather(item)
    if wrong is not None:
        return RefusedLine(item.line, wrong.reason)
    if not doubts:
        return item, None
    taken = all_the_same == EVERY or item.line in all_the_same
    return item, AskedLine(item.line, tuple(one.reason for one in doubts), taken)


def _ask(looked: Looked, line: AskedLine, tell: Tell | None) -> None:
    looked.asked += 1
    looked.asked_taken += line.taken
    if len(looked.asked_lines) < MOST_TOLD:
        looked.asked_lines.append(line)
    if tell is not None:
        tell(line)


def _refuse(looked: Looked, line: RefusedLine, tell: Tell | None) -> None:
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
            {axis: (low, high) for axis, (low, high) in value["travel_nm"].items()},
            fixtures_of(value),
            Display(Unit(value["unit"]), value["decimals"]),
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


def imports(store: Store) -> list[ImportRow]:
    """Files that were taken in, newest first."""
    with store.reading():
        return store.numbers.imports()


def past_setup(store: Store, setup: str) -> list[KeptWithOrigin]:
    """The values of a past setup that was imported, with where they come from; nothing for any other id."""
    with store.reading():
        return store.numbers.kept_of(setup) if store.numbers.imported(setup) else []


@dataclass(frozen=True)
class PastPage:
    """A past setup: its values, the line and the table it comes from,
    its fixture's name, its machine's display.
    """

    rows: tuple[KeptWithOrigin, ...]
    line: ImportedSetupRow
    table: ImportRow
    fixture: str
    display: Display


def past_page(store: Store, setup: str) -> PastPage | None:
    """What the page of a past setup shows, None for an id of none."""
    with store.reading():
        line, rows = store.numbers.imported(setup), store.numbers.kept_of(setup)
        if line is None or not rows:
            return None
        table = next(one for one in store.numbers.imports() if one["number"] == rows[0]["imported"])
        machine = store.shop.item("machine", rows[0]["machine"])
        fixture = store.shop.item("fixture", rows[0]["fixture"])
    display = from_plain(Machine, machine).display if machine else Display(Unit.MM, 3)
    name = str(fixture["name"]) if fixture else rows[0]["fixture"]
    return PastPage(tuple(rows), line, table, name, display)
