"""A page costs the same in a shop of a thousand setups as in one of ten.

Counted, never timed: statements, and the steps of SQLite's own machine (sqlite3_progress_handler), which are
the same on every run.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.kit.grown import EVENTS_A_SETUP, grow, setup_id
from tests.kit.statements import noted
from tests.web.conftest import Site, make_site
from webapp.domain.usual.drift import LOOK_BACK
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.evidence.entries import STRETCH as STRETCH_OF_LEDGER
from webapp.services.intake.intake import check_pending_seals
from webapp.services.numbers.long_axis import STRETCH
from webapp.services.setups.listing import STRETCH as STRETCH_OF_SETUPS
from webapp.services.setups.recording import unsealed

FEW, SOME, MANY = 10, 60, 1_000
STEPS = 100
A_PAGE, STEPS_A_ROW = 100, 25
# A setup in the list is read with what it is found by; where several things are asked for, a stretch of
# setups is looked through, and of the ledger a stretch of places.
STEPS_A_SETUP, STEPS_A_LOOK = 75, 25
LOOKED = {"/desk/setups": min(MANY, STRETCH_OF_SETUPS), "/audit": min(4 * MANY, STRETCH_OF_LEDGER)}
# Of an axis a stretch is read and what leads up to it, each value with who brought it.
AXIS = "/desk/fixtures/vise-a/X"
ROWS_OF_AXIS, STEPS_A_VALUE = STRETCH + LOOK_BACK, 35
SIZE_BITS = (MANY * EVENTS_A_SETUP).bit_length()
GROWING = {"setup", "event", "leaf", "node", "change", "record", "sheet", "sheet_part", "kept_value",
           "kept_change", "question", "waiting", "set_aside", "session"}  # fmt: skip
PAGES = (
    "/", "/wall", "/desk", "/desk/sign-together", "/desk/procedures", "/desk/procedures/shop",
    "/desk/procedures/shop/preview", "/desk/procedures/shop/glass?step=x.search",
    "/desk/setups", "/desk/setups?person=mara", "/desk/setups.csv",
    "/desk/setups?worry=fell&words=floor", "/desk/setups?slot=G54", "/desk/setups?verdict=ask",
    "/desk/setups?cause=chip", "/desk/setups?words=floor&machine=mill-1", "/desk/setups?slot=G54&person=mara",
    "/desk/setups?cause=chip&verdict=ask&from=2024-01-08", "/desk/setups.json?words=nobody+said+this",
    "/desk/setups?machine=mill-1&state=signed_off",
    "/desk/setups?from=2024-01-08&to=2024-01-08",
    f"/desk/setups?after=2024-01-08T09:17:00.000Z_{setup_id(5)}",
    "/audit", "/audit?before=12", "/audit/15", "/audit?what=session&by=mara&words=number",
    "/audit?from=2024-01-08&to=2024-01-08", "/audit?words=nobody+said+this", "/audit/entries.csv",
    "/desk/slots", "/desk/slots?words=mar&only=person", "/desk/slots?only=used", "/desk/slots?only=ended",
    "/desk/slots?person=mara&machine=mill-1", "/desk/slots.csv", "/desk/people", "/desk/people.json",
    "/desk/machines",
    "/desk/people/mara", "/desk/let-in", "/desk/tablets", "/desk/fixtures",
    "/desk/fixtures/vise-a/seating", "/desk/shop", "/desk/shop/machine/mill-1", "/desk/set-up",
    "/desk/shop/machine/mill-1/use",
    "/desk/slots/mill-1/G54", "/desk/slots/term", AXIS, f"{AXIS}/matters",
)  # fmt: skip

SOUGHT = {path for path in PAGES if path.count("=") > 1 or "words=" in path or "what=" in path}


@dataclass
class Cost:
    """What the database did for one page."""

    statements: int = 0
    steps: int = 0


def cost_of(site: Site, path: str) -> Cost:
    """Ask for a page twice and count the second time, when what a process keeps is kept."""
    lead = site.signed_in("ines")
    lead.page(path)
    cost = Cost()
    connection = site.app.extensions["zerokeep"].store._database._connection()

    def step() -> int:
        cost.steps += STEPS
        return 0

    def statement(_: str) -> None:
        cost.statements += 1

    connection.set_progress_handler(step, STEPS)
    connection.set_trace_callback(statement)
    try:
        lead.page(path)
    finally:
        connection.set_progress_handler(None, STEPS)
        connection.set_trace_callback(None)
    return cost


@pytest.fixture(scope="module")
def shops(
    tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]
) -> Iterator[tuple[Site, Site]]:
    few, many = (make_site(tmp_path_factory.mktemp("grown"), keys) for _ in range(2))
    grow(few.house, FEW)
    grow(many.house, MANY)
    yield few, many
    for site in (few, many):
        site.house.store.close()
        site.app.extensions["zerokeep"].close()


@pytest.mark.parametrize("path", PAGES)
def test_a_page_costs_the_same_in_a_shop_that_has_run_for_long(shops: tuple[Site, Site], path: str) -> None:
    few, many = (cost_of(site, path) for site in shops)
    # The root of the hash tree is read from one stored hash for each set bit of its size (RFC 6962);
    # either end of a day is found by halving.
    halved = (1 + path.count("from=") + path.count("to=")) * SIZE_BITS
    assert many.statements <= few.statements + (halved if path.startswith("/audit") else 0)
    assert many.steps <= 1.5 * few.steps + steps_of_rows(path)


def steps_of_rows(path: str) -> int:
    """A page shows a hundred rows where there are so many, and ten where there are ten."""
    if path.startswith(AXIS):
        return ROWS_OF_AXIS * STEPS_A_VALUE
    of_setups = path.partition("?")[0].startswith("/desk/setups")
    rows = A_PAGE * (STEPS_A_SETUP if of_setups else STEPS_A_ROW)
    looked = LOOKED["/desk/setups" if of_setups else "/audit"] if path in SOUGHT else 0
    return rows + looked * STEPS_A_LOOK


def table_named(name: str, statement: str) -> str:
    """The table of a name in a plan, which may be another name for it."""
    found = re.search(rf'"(\w+)" AS "{name}"', statement)
    return found[1] if found else name


def test_no_page_and_no_start_reads_a_whole_table_that_grows(shops: tuple[Site, Site]) -> None:
    """Asked of the database: its plan for every statement of every page, and of what a start looks for
    (EXPLAIN QUERY PLAN).
    """
    _, many = shops
    lead, statements = many.signed_in("ines"), set()
    connection = many.app.extensions["zerokeep"].store._database._connection()
    connection.set_trace_callback(statements.add)
    for path in PAGES:
        lead.page(path)
    parts = many.app.extensions["zerokeep"]
    check_pending_seals(parts.store, parts.keyring, parts.now())
    unsealed(parts.store)
    connection.set_trace_callback(None)
    plans = {
        statement: [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {statement}")]
        for statement in statements
        if statement.startswith("SELECT")
    }
    assert len(plans) > 30
    scans = {
        (table_named(line.split()[1], statement), statement)
        for statement, plan in plans.items()
        for line in plan
        if line.startswith("SCAN") and "INDEX" not in line
    }
    assert {table for table, _ in scans} & GROWING == set(), scans


def test_every_statement_of_a_page_finds_its_rows_by_an_index_on_a_server_too(
    tmp_path: Path, keys: tuple[Path, KeyRing]
) -> None:
    """Asked of the server: its plan (EXPLAIN) where it reads a whole table only if nothing else is left."""
    site = make_site(tmp_path, keys, on_server=True)
    grow(site.house, SOME)
    database, lead = site.app.extensions["zerokeep"].store._database, site.signed_in("ines")
    with noted(database) as asked:
        for path in PAGES:
            lead.page(path)
    connection, lines = database._connection(), set()
    connection.execute("SET enable_seqscan = off")
    for statement, values in asked:
        if statement.startswith("SELECT") and "pg_" not in statement:
            plan = connection.execute(f"EXPLAIN {statement}".encode(), values).fetchall()
            lines |= {(statement, line) for (line,) in plan}
    scans = {
        (line.split(" on ")[1].split()[0], statement) for statement, line in lines if "Seq Scan on" in line
    }
    assert len({statement for statement, _ in lines}) > 15
    assert {table for table, _ in scans} & GROWING == set(), scans
    site.house.store.close()
    site.app.extensions["zerokeep"].close()
