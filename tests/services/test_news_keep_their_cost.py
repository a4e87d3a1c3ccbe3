"""News: nothing is compiled while nothing changed, one machine's touch is one machine's sheet, no change is
missed.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import SHOP
from tests.services.test_procedures import in_other_words, publish
from tests.services.test_worrying import raised
from webapp.services.evidence.ledger import change
from webapp.services.intake import enrolling
from webapp.services.numbers import seatings
from webapp.services.people import accounts, rights
from webapp.services.sheets import preparing
from webapp.services.shop import procedures, slots
from webapp.store.steps.erasable import NAMED_ON_SHEETS
from webapp.store.steps.on_sheets import MORE_ON_SHEETS, ON_SHEETS

# Read beside what is counted: sheets themselves, what names them,
# and events, each of which puts its setup's row anew.
NOT_COUNTED = {
    "sheet",
    "sheet_at_fixture",
    "sheet_named",
    "sheet_version",
    "sheet_part",
    "event",
    "leaf",
    "change",
    "sqlite_master",
    "kept_change",
    "json_each",
}


def news(house: House, **changes: Any) -> dict[str, Any]:
    payload = {"domain": "zerokeep/request/1", "challenge": "c", "have": [], "setups": [], **changes}
    asked = enrolling.read_request(
        house.store, house.device.signed(payload, enrolling.REQUEST_TYPE), house.clock()
    )
    return enrolling.news(house.store, house.keyring, asked, house.clock())


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The machines whose sheets were worked out, one entry each time."""
    found: list[str] = []
    inputs = preparing._inputs

    def counted(store: Any, place: Any, now: Any) -> Any:
        found.append(place.machine)
        return inputs(store, place, now)

    monkeypatch.setattr(preparing, "_inputs", counted)
    return found


def test_every_table_that_a_sheet_is_compiled_from_is_counted(house: House) -> None:
    """Asked of the database itself: which tables the compiling reads (sqlite3_set_authorizer)."""
    house.signed_off()
    read: set[str] = set()

    def note(action: int, table: str | None, *_: Any) -> int:
        if action == sqlite3.SQLITE_READ and table:
            read.add(table)
        return sqlite3.SQLITE_OK

    connection = house.store._database._connection()
    house.clock.forward(hours=7)
    connection.set_authorizer(note)
    house.sheet()
    connection.set_authorizer(None)
    assert len(read) > 10
    assert read - NOT_COUNTED <= {table for table, _, _ in (*ON_SHEETS, *MORE_ON_SHEETS, NAMED_ON_SHEETS)}


def test_a_touch_at_one_machine_compiles_the_sheet_of_that_machine(house: House, compiled: list[str]) -> None:
    news(house)
    assert sorted(compiled) == ["mill-1", "mill-2"]
    house.accept(house.walk().start().until("touch").parts)
    compiled.clear()
    for _ in range(3):
        news(house)
    assert compiled == ["mill-1"]


@pytest.mark.parametrize("kind", ["session.started", "audit.run", "code.made"])
def test_what_stands_on_the_ledger_and_on_no_sheet_compiles_nothing(
    house: House, compiled: list[str], kind: str
) -> None:
    news(house)
    compiled.clear()
    with house.store.writing():
        change(house.store, kind, "ines", "ines", None, {}, house.clock())
    news(house)
    assert compiled == []


def test_a_draft_that_is_saved_compiles_nothing_and_its_publishing_every_sheet(
    house: House, compiled: list[str]
) -> None:
    news(house)
    compiled.clear()
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    draft = procedures.edit(house.store, "shop", draft.seen, in_other_words, "ines", house.clock())
    news(house)
    assert compiled == []
    publish(house.store, "shop", draft.seen, "Cloth.", "ines", house.clock())
    news(house)
    assert sorted(compiled) == ["mill-1", "mill-2"]


def test_for_the_clock_alone_one_sheet_a_call_is_looked_at(house: House, compiled: list[str]) -> None:
    news(house)
    compiled.clear()
    house.clock.moment += preparing.CHECK_AGAIN + timedelta(seconds=1)
    news(house)
    assert len(compiled) == 1
    news(house)
    assert sorted(compiled) == ["mill-1", "mill-2"]
    news(house)
    assert len(compiled) == 2
    house.clock.moment += preparing.LATEST_CHECK + timedelta(seconds=1)
    news(house)
    assert len(compiled) == 4


def test_a_tablet_that_has_all_gets_no_list_until_something_changes(house: House) -> None:
    first = news(house)
    assert all(sheet["text"] for sheet in first["sheets"])
    known = {"have": [sheet["hash"] for sheet in first["sheets"]], "sheets_sha256": first["sheets_sha256"]}
    again = news(house, **known)
    assert (again["sheets"], again["sheets_sha256"]) == (None, first["sheets_sha256"])
    assert len(str(again)) < 2_000
    house.accept(house.walk().start().until("touch").parts)
    later = news(house, **known)
    fresh = [sheet for sheet in later["sheets"] if sheet["text"]]
    assert (len(later["sheets"]), len(fresh)) == (2, 1)
    assert later["sheets_sha256"] != first["sheets_sha256"]


def test_news_with_nothing_new_read_little_and_write_nothing(house: House) -> None:
    first = news(house)
    known = {"have": [sheet["hash"] for sheet in first["sheets"]], "sheets_sha256": first["sheets_sha256"]}
    news(house, **known)
    statements: list[str] = []
    connection = house.store._database._connection()
    connection.set_trace_callback(statements.append)
    news(house, **known)
    connection.set_trace_callback(None)
    assert len(statements) < 20
    assert not [one for one in statements if one.startswith(("INSERT", "UPDATE", "BEGIN IMMEDIATE"))]


def test_many_who_ask_at_once_wait_for_one_compile(house: House, compiled: list[str]) -> None:
    def ask() -> None:
        preparing.current_sheet(house.store, "mill-1", house.clock())
        house.store.close()

    threads = [threading.Thread(target=ask) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert compiled == ["mill-1"]


def first_news(house: House) -> tuple[dict[str, Any], dict[str, Any]]:
    """News for a tablet that has all, used at mill-1 and used at mill-2 only."""
    first = news(house)
    known = {"have": [sheet["hash"] for sheet in first["sheets"]], "sheets_sha256": first["sheets_sha256"]}
    return {**known, "own_machines": ["mill-1"]}, {**known, "own_machines": ["mill-2"]}


def fresh(told: dict[str, Any]) -> int:
    return sum(sheet["text"] is not None for sheet in told["sheets"] or ())


def test_values_are_no_news_to_tablets_of_other_machines_until_an_hour_is_over(house: House) -> None:
    house.signed_off()
    here, elsewhere = first_news(house)
    house.clock.forward(minutes=10)
    house.signed_off()
    assert news(house, **elsewhere)["sheets"] is None
    assert fresh(news(house, **here)) == 1
    house.clock.forward(minutes=enrolling.ELSEWHERE_MINUTES)
    assert fresh(news(house, **elsewhere)) >= 1


def test_a_sheet_of_another_machine_is_kept_to_its_last_moment_and_not_in_it(tmp_path: Path) -> None:
    """Where sheets hold for an hour, as long as one is kept elsewhere."""
    assert enrolling.ELSEWHERE_MINUTES == 60
    house = House(tmp_path, shop=replace(SHOP, rules=replace(SHOP.rules, sheet_hours=1)))
    _, elsewhere = first_news(house)
    house.clock.forward(minutes=60, milliseconds=-1)
    assert house.sheet()[0] not in elsewhere["have"]
    assert fresh(news(house, **elsewhere)) == 1, "that of its own machine alone"
    house.clock.forward(milliseconds=1)
    assert fresh(news(house, **elsewhere)) == 2


def test_a_sheet_of_another_machine_that_is_just_an_hour_old_is_kept_and_none_that_is_older(
    house: House,
) -> None:
    house.signed_off()
    _, elsewhere = first_news(house)
    begun = house.clock.moment
    house.clock.forward(minutes=5)
    house.signed_off()
    house.clock.moment = begun + timedelta(minutes=enrolling.ELSEWHERE_MINUTES)
    assert fresh(news(house, **elsewhere)) == 0
    house.clock.forward(milliseconds=1)
    assert fresh(news(house, **elsewhere)) == 1


@pytest.mark.parametrize(
    "change_it",
    [
        lambda house: accounts.disable_person(house.store, "mara", "left", "ines", house.clock()),
        lambda house: rights.withdraw(house.store, "mara", "mill-1", "over", "ines", house.clock()),
        lambda house: slots.end_slot(house.store, "mill-1", "G58", "ines", house.clock()),
        lambda house: seatings.start_seating(house.store, "vise-a", "anew", "moved", "ines", house.clock()),
        lambda house: raised(house, "fell", "probe"),
    ],
    ids=["a person", "a right", "a slot", "a seating", "a worry"],
)
def test_who_may_and_what_is_off_is_told_every_tablet_at_once(
    house: House, change_it: Callable[[House], Any]
) -> None:
    house.signed_off()
    _, elsewhere = first_news(house)
    house.clock.forward(minutes=5)
    change_it(house)
    assert fresh(news(house, **elsewhere)) >= 1


def test_a_tablet_that_has_no_sheet_of_another_machine_is_sent_it_at_once(house: House) -> None:
    told = news(house, own_machines=["mill-2"])
    assert [bool(sheet["text"]) for sheet in told["sheets"]] == [True, True]
