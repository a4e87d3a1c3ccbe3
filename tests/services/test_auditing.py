"""The self-audit works everything out again and names the record at fault."""

import sqlite3
from typing import Any

import pytest

from tests.kit.house import House
from webapp.domain.tree import leaf_hash
from webapp.services.auditing import audit


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
