"""A page costs the same in a shop of a thousand setups as in one of ten.

Counted, never timed: statements, and the steps of SQLite's own machine (sqlite3_progress_handler), which are
the same on every run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.kit.grown import EVENTS_A_SETUP, grow, setup_id
from tests.web.conftest import Site, make_site
from webapp.proof.keys import KeyRing

FEW, MANY = 10, 1_000
STEPS = 100
A_PAGE, STEPS_A_ROW = 100, 25
SIZE_BITS = (MANY * EVENTS_A_SETUP).bit_length()
GROWING = {"setup", "event", "leaf", "node", "change", "record", "sheet", "sheet_part", "kept_value",
           "kept_change", "question", "waiting", "set_aside", "session"}  # fmt: skip
PAGES = (
    "/", "/desk", "/desk/setups", "/desk/setups?person=mara", "/desk/setups?machine=mill-1&state=signed_off",
    "/desk/setups?from=2024-01-08&to=2024-01-08",
    f"/desk/setups?after=2024-01-08T09:17:00.000Z_{setup_id(5)}",
    "/audit", "/audit?before=12", "/audit/15", "/desk/slots", "/desk/people", "/desk/machines",
    "/desk/people/mara", "/desk/let-in", "/desk/tablets", "/desk/fixtures",
    "/desk/fixtures/vise-a/seating",
)  # fmt: skip


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
    # The root of the hash tree is read from one stored hash for each set bit of its size (RFC 6962).
    assert many.statements <= few.statements + (SIZE_BITS if path.startswith("/audit") else 0)
    # A page shows a hundred rows where there are so many, and ten where there are ten.
    assert many.steps <= 1.5 * few.steps + A_PAGE * STEPS_A_ROW


def test_no_page_reads_a_whole_table_that_grows(shops: tuple[Site, Site]) -> None:
    """Asked of the database: its plan for every statement of every page (EXPLAIN QUERY PLAN)."""
    _, many = shops
    lead, statements = many.signed_in("ines"), set()
    connection = many.app.extensions["zerokeep"].store._database._connection()
    connection.set_trace_callback(statements.add)
    for path in PAGES:
        lead.page(path)
    connection.set_trace_callback(None)
    plans = {
        statement: [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {statement}")]
        for statement in statements
        if statement.startswith("SELECT")
    }
    assert len(plans) > 30
    scans = {
        (line.split()[1], statement)
        for statement, plan in plans.items()
        for line in plan
        if line.startswith("SCAN") and "INDEX" not in line
    }
    assert {table for table, _ in scans} & GROWING == set(), scans
