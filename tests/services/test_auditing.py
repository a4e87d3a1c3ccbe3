"""The self-audit works everything out again and names the record at fault."""

import json
import os
import sqlite3
import subprocess
from typing import Any

import pytest

from tests.kit.house import House
from webapp.domain.evidence.tree import leaf_hash
from webapp.services.evidence.auditing import Fault, Outcome, audit, last_run, run


def tamper(house: House, *statements: str) -> Any:
    """Somebody with the file and a tool: triggers go first, then the row."""
    house.store.close()
    connection = sqlite3.connect(house.folder / "zerokeep.db")
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in names:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        assert connection.execute(statement).rowcount == 1, statement
    connection.commit()
    connection.close()
    return [fault.code for fault in audit(house.store)]


def test_a_whole_store_has_no_fault(house: House) -> None:
    house.signed_off()
    assert audit(house.store) == []


def ran(house: House) -> Any:
    with house.store.reading():
        rows = house.store.ledger.changes(kind="audit.ran")
    return [json.loads(row["text"])["data"] for row in rows]


def test_a_run_stands_on_the_ledger_with_what_it_looked_at_and_found(house: House) -> None:
    house.signed_off()
    assert last_run(house.store) is None
    with house.store.reading():
        size = house.store.ledger.size()
    outcome = run(house.store, house.clock())
    assert (outcome.entries, outcome.records, outcome.faults) == (size, 0, ())
    assert ran(house) == [{"entries": size, "records": 0, "faults": 0, "found": []}]
    assert last_run(house.store) == outcome.as_dict()
    assert run(house.store, house.clock()).faults == ()


def test_what_a_run_finds_stands_on_the_ledger_by_record(house: House) -> None:
    house.signed_off()
    tamper(house, "UPDATE sheet SET text = text || ' '")
    outcome = run(house.store, house.clock())
    assert [fault.code for fault in outcome.faults] == ["audit.sheet"]
    found = last_run(house.store)
    assert found
    assert found["faults"] == 1
    assert found["found"][0]["record"].startswith("sheet ")


def test_many_findings_are_counted_and_the_first_are_listed() -> None:
    faults = tuple(Fault("audit.leaf", f"leaf at {place}") for place in range(250))
    said = Outcome("2026-11-25T08:00:00.000Z", 250, 0, faults).as_dict()
    assert (said["faults"], len(said["found"])) == (250, 100)


def test_others_may_write_while_a_copy_is_looked_at_and_no_copy_is_left(house: House) -> None:
    walk = house.signed()
    with house.store.copied() as copy, copy.reading():
        before = copy.ledger.size()
        house.sign_off(walk.setup)
        assert copy.ledger.size() == before
    assert list(house.folder.glob("looked-at-*")) == []


def test_copies_of_a_killed_process_go_and_those_of_a_running_one_stay(house: House) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    killed = house.folder / f"looked-at-{ended.pid}-x.db"
    running = house.folder / f"looked-at-{os.getpid()}-x.db"
    for left in (killed, running):
        left.write_bytes(b"")
    with house.store.copied():
        assert not killed.exists()
        assert running.exists()
        (own,) = [path for path in house.folder.glob("looked-at-*") if path != running]
        assert own.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    ("statement", "code"),
    [
        (
            "UPDATE event SET jws = replace(jws, 'A', 'B') WHERE type = 'setup.signed'",
            "audit.event_signature",
        ),
        ("UPDATE event SET person = 'ivo' WHERE type = 'setup.signed'", "audit.event_row"),
        (
            "UPDATE event SET at_utc = '2026-11-25T09:00:00.000Z' WHERE type = 'setup.signed'",
            "audit.event_row",
        ),
        (
            "UPDATE event SET id = replace(id, substr(id, 1, 4), 'ffff') WHERE type = 'setup.signed'",
            "audit.event_id",
        ),
        (
            "UPDATE change SET text = replace(text, 'ines', 'ivos') WHERE type = 'setup.signed_off'",
            "audit.change_row",
        ),
        ("UPDATE change SET text = text || ' ' WHERE type = 'setup.signed_off'", "audit.change_row"),
        ("UPDATE change SET by = 'ivo' WHERE type = 'setup.signed_off'", "audit.change_row"),
        ("DELETE FROM change WHERE type = 'setup.signed_off'", "audit.entry_missing"),
        ("DELETE FROM event WHERE type = 'setup.signed'", "audit.entry_missing"),
        ("DELETE FROM leaf WHERE position = 5", "audit.leaf_missing"),
        ("DELETE FROM leaf WHERE position = (SELECT max(position) FROM leaf)", "audit.leaf_missing"),
        ("UPDATE leaf SET hash = zeroblob(32) WHERE position = 3", "audit.leaf"),
        ("UPDATE node SET hash = zeroblob(32) WHERE level = 2 AND number = 0", "audit.node"),
        ("DELETE FROM node WHERE level = 1 AND number = 1", "audit.node"),
        ("UPDATE sheet SET text = text || ' '", "audit.sheet"),
    ],
)
def test_tampering_is_found(house: House, statement: str, code: str) -> None:
    house.signed_off()
    assert code in tamper(house, statement)


def test_a_changed_text_with_its_leaf_made_to_fit_is_found_in_the_tree(house: House) -> None:
    house.signed_off()
    house.accept(house.walk().start().until("board").parts)  # so that its leaf has neighbours in the tree
    with house.store.reading():
        row = house.store.ledger.changes(kind="setup.signed_off")[0]
    text = row["text"].replace("reviewed and accepted", "reviewed and rejected")
    faults = tamper(
        house,
        # the statement is the tampering itself
        f"UPDATE change SET text = '{text}' WHERE position = {row['position']}",  # noqa: S608
        f"UPDATE leaf SET hash = x'{leaf_hash(text.encode()).hex()}' WHERE position = {row['position']}",  # noqa: S608
    )
    assert set(faults) <= {"audit.node", "audit.root"}
    assert faults
