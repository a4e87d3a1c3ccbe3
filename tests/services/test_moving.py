"""A shop is carried from a file to a server and back, and is the same shop in each."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.kit.house import House
from tests.kit.postgresql import server
from webapp.server.audit_room import audit_apart
from webapp.services.audit.auditing import audit
from webapp.store import Store, moving
from webapp.store.errors import NotTheSame, TargetNotEmpty


def notes(store: Store) -> list[object]:
    with store.reading():
        return list(store.row_changes.notes(0, 100_000))


def test_a_shop_is_the_same_on_a_server_and_back_in_a_file(house: House, tmp_path: Path) -> None:
    house.signed_off()
    there = Store.open(server().emptied(), house.folder)
    carried = moving.carry(house.store, there)
    assert carried.rows > 100
    assert audit(there) == []
    assert notes(there) == notes(house.store)
    back = Store.open(tmp_path / "back.db", house.folder)
    assert moving.carry(there, back) == carried
    assert audit(back) == []
    assert notes(back) == notes(house.store)
    with back.reading():
        assert (back.ledger.size(), back.ledger.root().hex()) == carried[1:]
    with pytest.raises(TargetNotEmpty, match="leaf"):
        moving.carry(back, there)
    apart = audit_apart(server().address(), house.folder)
    assert (apart["faults"], apart["entries"]) == (0, carried.entries)
    # The shop goes on there: numbers follow, and what is kept for ever still is.
    with there.writing():
        there.people.authorise("mara", "mill-1", "a", None)
        there.ledger.append_change("{}", kind="t", by="b", subject="s", setup=None, at_utc="a")
    with there.reading():
        assert there.row_changes.changed("authorisation").found == []
    for store in (there, back, house.store):
        store.close()


def test_what_came_over_otherwise_is_taken_back(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    there = Store.open(server().emptied(), house.folder)
    put_rows = Store.put_rows

    def put_otherwise(self: Store, statement: str, rows: list[tuple[object, ...]]) -> None:
        if "INTO person_name " in statement:
            rows = [tuple("Ines Vargas" if value == "Ines Varga" else value for value in row) for row in rows]
        put_rows(self, statement, rows)

    monkeypatch.setattr(Store, "put_rows", put_otherwise)
    with pytest.raises(NotTheSame, match="the rows of person_name"):
        moving.carry(house.store, there)
    with there.reading():
        assert (there.people.everybody(), there.ledger.size()) == ([], 0)
    there.close()
    house.store.close()


def test_every_table_is_carried_over(house: House) -> None:
    with house.store.reading():
        made = {name for (name,) in house.store.ask("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {*moving.TABLES, *moving.MADE_BY_TRIGGERS} == made - {"migration"}
    house.store.close()


def test_a_row_that_was_changed_on_the_server_by_another_hand_is_named(house: House) -> None:
    there = Store.open(server().emptied(), house.folder)
    moving.carry(house.store, there)
    with server().administered() as administrator:
        administrator.execute("UPDATE slot SET owner = 'ivo' WHERE machine = 'mill-1' AND label = 'G54'")
        administrator.execute("UPDATE change SET by = 'ivo' WHERE position = 1")
    found = {(fault.code, fault.record) for fault in audit(there)}
    assert ("audit.row_changed", 'slot ["mill-1","G54"]') in found
    (entry,) = [record for code, record in found if code == "audit.change_row"]
    assert entry.endswith(" at 1")
    there.close()
    house.store.close()
