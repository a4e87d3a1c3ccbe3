"""A database that somebody edits by hand, with every key and every right on the server's machine: who finds
what.

Each edit is one statement on the file with the triggers taken off and put back, or one change of a file; the
audit has to name its place. Then comes what an audit alone does not find, who finds it, and what nobody can.
"""
# ruff: noqa: S608 - the statements are the tampering itself

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from tests.kit.filled import fill
from tests.kit.house import House
from tests.kit.tampering import without_triggers
from webapp.domain.evidence.tree import append, leaf_hash
from webapp.domain.plain.json_strict import canonical_text
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit.auditing import audit, run
from webapp.services.evidence.ledger import has_head, head
from webapp.store import Store
from webapp.store.covered_rows import COVERED, EVENT_COLUMNS, EVENTS, NOT_COVERED, ONLY_NOTED, Covered, digest

EVENT = Covered(
    EVENTS,
    ("position",),
    ("id", "device", "sequence", "setup", "type", "person", "sheet", "at_utc", "received_at_utc", "problems"),
)
TABLES = (*COVERED, EVENT)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, keyring: KeyRing) -> Path:
    """A shop with a row in every table of which notes are made, audited once."""
    house = House(tmp_path_factory.mktemp("filled"), keyring)
    fill(house)
    run(house.store, house.clock())
    house.store.close()
    return house.folder


def edit(database: Path, *statements: str) -> None:
    """Edit the file with another tool: triggers off, edit, triggers on."""
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA ignore_check_constraints = ON")
    with without_triggers(connection.execute):
        for statement in statements:
            assert connection.execute(statement).rowcount > 0, statement
    connection.commit()
    connection.close()


def found(folder: Path) -> list[str]:
    store = Store(folder / "zerokeep.db")
    try:
        return [f"{fault.code} {fault.record}" for fault in audit(store)]
    finally:
        store.close()


def an_other_value(column: str, type_: str) -> str:
    """SQL for a value of the same type that is not the one there."""
    return f"coalesce({column}, 0) + 1" if type_ in {"INTEGER", "REAL"} else f"coalesce({column}, '') || 'x'"


def first_row(table: Covered) -> str:
    return " AND ".join(
        f"{column} = (SELECT {column} FROM {table.name} ORDER BY {', '.join(table.key)} LIMIT 1)"
        for column in table.key[:1]
    )


def test_a_fresh_store_has_every_row_noted(filled: Path, tmp_path: Path) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    assert found(tmp_path / "shop") == []


def test_every_column_of_every_table_is_covered_or_said_not_to_be(filled: Path) -> None:
    connection = sqlite3.connect(filled / "zerokeep.db")
    covered = {table.name: {*table.key, *table.others, *table.since} for table in COVERED}
    covered[EVENTS] = {*EVENT_COLUMNS}
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        columns = {row[1] for row in connection.execute(f"PRAGMA table_info({name})")}
        said = {column for column in columns if name in NOT_COVERED or f"{name}.{column}" in NOT_COVERED}
        assert columns == covered.get(name, set()) | said, name
        assert not covered.get(name, set()) & said
        if name in covered:
            assert connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0], name
    connection.close()


def test_a_changed_value_in_any_column_of_any_table_is_found(filled: Path, tmp_path: Path) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    database, kept = tmp_path / "shop" / "zerokeep.db", filled / "zerokeep.db"
    connection = sqlite3.connect(kept)
    types = {
        table.name: {row[1]: row[2] for row in connection.execute(f"PRAGMA table_info({table.name})")}
        for table in TABLES
    }
    connection.close()
    columns = [(table, column) for table in TABLES for column in (*table.others, *table.since)]
    assert len(columns) > 120
    for table, column in columns:
        shutil.copy(kept, database)
        value = an_other_value(column, types[table.name][column])
        edit(database, f"UPDATE {table.name} SET {column} = {value} WHERE {first_row(table)}")
        said = found(tmp_path / "shop")
        # An event's row is held against what was signed, and what the server adds to it is noted by upload.
        named = [one for one in said if one.startswith((f"audit.row_changed {table.name} ", "audit.event_"))]
        assert named, (table.name, column)


LEDGER_EDITS = (
    ("UPDATE leaf SET hash = zeroblob(32) WHERE position = 3", "leaf at 3"),
    ("DELETE FROM leaf WHERE position = (SELECT max(position) FROM leaf)", "at "),
    ("UPDATE node SET hash = zeroblob(32) WHERE level = 2 AND number = 1", "node 1 of level 2"),
    (
        "UPDATE change SET text = replace(text, 'ines', 'ivos') WHERE type = 'setup.signed_off'",
        "setup.signed_off",
    ),
    ("DELETE FROM change WHERE type = 'setup.signed_off'", "leaf at"),
    ("UPDATE event SET jws = replace(jws, 'A', 'B') WHERE type = 'setup.signed'", "event "),
    ("DELETE FROM row_change WHERE number = 7", "row_change up to"),
    ("UPDATE row_change SET new = old WHERE old IS NOT NULL AND new IS NOT NULL", "row_change up to"),
    ("UPDATE row_change SET key = '[0]' WHERE number = 3", "row_change up to"),
)

# What cannot be read at all must not keep the rest from being looked at.
NO_TEXT = "CAST(x'ff' AS TEXT)"
UNREADABLE_EDITS = (
    ("UPDATE change SET text = 'x' WHERE type = 'audit.ran'", "audit.change_row change audit.ran at"),
    ("UPDATE change SET text = '[]' WHERE type = 'audit.ran'", "audit.change_row change audit.ran at"),
    (
        "UPDATE change SET text = '{\"data\": 7}' WHERE type = 'audit.ran'",
        "audit.change_row change audit.ran at",
    ),
    (f"UPDATE change SET text = {NO_TEXT} WHERE type = 'audit.ran'", "audit.unreadable ledger"),
    (f"UPDATE person SET name = {NO_TEXT} WHERE id = 'ines'", "audit.unreadable person"),
    (f"UPDATE row_change SET new = {NO_TEXT} WHERE number = 3", "audit.unreadable row_change"),
    (f"UPDATE sheet SET text = {NO_TEXT}", "audit.unreadable sheet"),
    (f"UPDATE question SET text = {NO_TEXT}", "audit.unreadable question"),
    ("UPDATE set_aside SET fields = 'x'", "audit.row_changed set_aside"),
    ("UPDATE device SET jwk = 'x'", "audit.row_changed device"),
    ("UPDATE device SET jwk = '7'", "audit.row_changed device"),
)


def test_what_cannot_be_read_is_named_and_the_rest_is_looked_at_all_the_same(
    filled: Path, tmp_path: Path
) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    for statement, place in UNREADABLE_EDITS:
        shutil.copy(filled / "zerokeep.db", tmp_path / "shop" / "zerokeep.db")
        edit(
            tmp_path / "shop" / "zerokeep.db",
            statement,
            "UPDATE z_check SET made_with = 'b' WHERE number = 1",
        )
        said = found(tmp_path / "shop")
        assert any(one.startswith(place) for one in said), (statement, said)
        assert "audit.row_changed z_check [1]" in said, statement


def row_edits() -> list[tuple[str, str]]:
    """For each table a row that is taken out, and a value of one that is changed."""
    found = []
    for table in TABLES:
        found.append((f"DELETE FROM {table.name} WHERE {first_row(table)}", f"{table.name} "))
        column = table.others[-1]
        value = an_other_value(column, "INTEGER" if column in WHOLE_NUMBERS else "TEXT")
        found.append(
            (f"UPDATE {table.name} SET {column} = {value} WHERE {first_row(table)}", f"{table.name} ")
        )
    return found


WHOLE_NUMBERS = {"active", "sealed", "imported", "stop_length_nm", "factor_hundredths"}
EDITS = (*row_edits(), *LEDGER_EDITS)


def test_sixty_hand_edits_are_each_named_with_their_place(filled: Path, tmp_path: Path) -> None:
    assert len(EDITS) >= 60
    shutil.copytree(filled, tmp_path / "shop")
    for statement, place in EDITS:
        shutil.copy(filled / "zerokeep.db", tmp_path / "shop" / "zerokeep.db")
        edit(tmp_path / "shop" / "zerokeep.db", statement)
        assert any(place in one for one in found(tmp_path / "shop")), statement


LAYOUT_EDITS = (
    ("DROP TRIGGER event_no_delete", "trigger event_no_delete"),
    ("DROP INDEX change_decides_once", "index change_decides_once"),
    ("CREATE TRIGGER more AFTER INSERT ON waiting BEGIN DELETE FROM waiting; END", "trigger more"),
    ("CREATE VIEW more AS SELECT 1", "view more"),
    ("ALTER TABLE slot ADD COLUMN more TEXT", "table slot"),
)


def test_what_works_by_itself_in_the_database_is_held_against_what_made_it(
    filled: Path, tmp_path: Path
) -> None:
    """A trigger that somebody put in would change rows with notes that fit, as if this program had."""
    shutil.copytree(filled, tmp_path / "shop")
    for statement, place in LAYOUT_EDITS:
        shutil.copy(filled / "zerokeep.db", tmp_path / "shop" / "zerokeep.db")
        connection = sqlite3.connect(tmp_path / "shop" / "zerokeep.db")
        connection.execute(statement)
        connection.commit()
        connection.close()
        assert f"audit.layout {place}" in found(tmp_path / "shop"), statement


def test_an_event_put_in_by_another_hand_is_named(filled: Path, tmp_path: Path) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    edit(
        tmp_path / "shop" / "zerokeep.db",
        "INSERT INTO event SELECT 90000, 'another', jws, device, sequence, setup, type, person, sheet, "
        "at_utc, "
        "received_at_utc, problems FROM event LIMIT 1",
    )
    assert "audit.row_changed event 90000" in found(tmp_path / "shop")


def test_no_hash_of_a_secret_outlives_its_row(filled: Path) -> None:
    """Not in the notes either, and counts of failed tries, which strangers make, leave none."""
    connection = sqlite3.connect(filled / "zerokeep.db")
    keys = {
        row[0] for row in connection.execute("SELECT key FROM row_change WHERE name IN ('session', 'code')")
    }
    assert len(keys) >= 2
    for name, column in (("session", "token_hash"), ("code", "hash")):
        for (secret,) in connection.execute(f"SELECT {column} FROM {name}"):
            assert not [one for one in keys if secret in one]
    assert not connection.execute("SELECT 1 FROM row_change WHERE name = 'throttle'").fetchall()
    connection.close()


def test_an_upload_of_events_is_one_note(tmp_path: Path, keyring: KeyRing) -> None:
    house = House(tmp_path, keyring)
    before = notes_of(house)
    house.accept(house.walk().through().parts)
    assert len(notes_of(house)) - len(before) < 10  # events come by the dozen
    assert [one.name for one in notes_of(house)].count("event") == 1


def notes_of(house: House) -> list[Any]:
    with house.store.reading():
        return house.store.row_changes.notes(0, 10_000)


def test_a_changed_or_lost_file_is_named(filled: Path, tmp_path: Path) -> None:
    for number, change_it in enumerate(
        (lambda path: path.write_bytes(b"%PDF another"), lambda path: path.unlink())
    ):
        folder = tmp_path / str(number)
        shutil.copytree(filled, folder)
        (record,) = [path for path in (folder / "records").rglob("*") if path.is_file()]
        change_it(record)
        assert [one for one in found(folder) if one.startswith("audit.record_file")]
    shutil.copytree(filled, tmp_path / "head")
    (tmp_path / "head" / "ledger-head.json").write_text('{"size": 3, "root": "00"}')
    assert [one for one in found(tmp_path / "head") if one.startswith("audit.head head of 3")]
    (tmp_path / "head" / "ledger-head.json").write_text("nothing")
    assert "audit.head file ledger-head.json" in found(tmp_path / "head")
    (tmp_path / "head" / "ledger-head.json").unlink()
    assert found(tmp_path / "head") == ["audit.head file ledger-head.json, which is gone"]


def test_a_tail_that_was_cut_off_everywhere_is_given_away_by_the_head_kept_apart(
    filled: Path, tmp_path: Path, keyring: KeyRing
) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    house = House(tmp_path / "shop", keyring, loaded=True)
    shutil.copy(filled / "zerokeep.db", tmp_path / "before.db")
    house.clock.forward(days=1)
    house.device.sequence, house.device.previous = 0, None
    run(house.store, house.clock())
    house.store.close()
    shutil.copy(
        tmp_path / "before.db", tmp_path / "shop" / "zerokeep.db"
    )  # an older database, whole in itself
    (fault,) = found(tmp_path / "shop")
    assert fault.startswith("audit.head head of ")


def test_who_forges_a_note_too_is_found_where_the_row_follows_from_events(
    filled: Path, tmp_path: Path
) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    forge(tmp_path / "shop", "question", "decision", "'touch_again'")
    assert [one for one in found(tmp_path / "shop") if one.startswith("audit.derived question")]


def test_who_forges_a_note_too_is_found_where_the_row_is_what_the_ledger_says(
    filled: Path, tmp_path: Path
) -> None:
    shutil.copytree(filled, tmp_path / "shop")
    forge(tmp_path / "shop", "probe_care", "every_days", "90")
    assert found(tmp_path / "shop") == ["audit.not_as_said probe_care probe-1"]


def test_what_no_audit_finds_when_something_that_nobody_decided_came(filled: Path, tmp_path: Path) -> None:
    """With a note forged behind the last audit nobody finds it afterwards, and `not_covered` says so."""
    shutil.copytree(filled, tmp_path / "shop")
    forge(tmp_path / "shop", "waiting", "received_at_utc", "'2026-11-25T07:00:00.000Z'")
    assert found(tmp_path / "shop") == []
    assert "waiting.received_at_utc" in ONLY_NOTED


def forge(folder: Path, name: str, column: str, value: str) -> None:
    """Change a row and write a note that fits."""
    table = next(one for one in COVERED if one.name == name)
    database = folder / "zerokeep.db"
    edit(database, f"UPDATE {name} SET {column} = {value} WHERE {first_row(table)}")
    connection = sqlite3.connect(database)
    connection.create_function("row_digest", 1, digest, deterministic=True)
    connection.execute(
        f"INSERT INTO row_change (name, key, old, new) SELECT '{name}', {table.key_of()}, 'x', "
        f"{table.digest_of()} "
        f"FROM {name} WHERE {first_row(table)}"
    )
    connection.commit()
    connection.close()


def test_a_ledger_written_anew_with_every_digest_is_found_by_whoever_holds_an_old_head(
    filled: Path, tmp_path: Path
) -> None:
    """Every leaf, node, root that an audit wrote down and the kept head are made to fit:
    an audit finds nothing, and the head that a record prints does not fit.
    """
    shutil.copytree(filled, tmp_path / "shop")
    store = Store(tmp_path / "shop" / "zerokeep.db")
    with store.reading():
        printed = head(store)
        row = store.ledger.changes(kind="setup.signed_off")[0]
    store.close()
    said = row["text"].replace("reviewed and accepted", "reviewed and rejected")
    assert said != row["text"]
    write_anew(tmp_path / "shop", {row["position"]: said})
    assert found(tmp_path / "shop") == []
    with store.reading():
        assert not has_head(store, printed["size"], printed["root"])
        assert has_head(store, **head(store))
    store.close()


def write_anew(folder: Path, texts: dict[int, str]) -> None:
    """Put these texts in place of changes, and make everything that hangs on them fit again."""
    connection = sqlite3.connect(folder / "zerokeep.db")
    hashes = [bytes(row[0]) for row in connection.execute("SELECT hash FROM leaf ORDER BY position")]
    ran = dict(
        connection.execute("SELECT position, text FROM change WHERE type = 'audit.ran' ORDER BY position")
    )
    connection.close()
    edits = []
    for position in sorted({*texts, *ran}):
        text = texts.get(position, ran.get(position, ""))
        if position in ran:  # the root that this audit wrote down
            value = json.loads(text)
            value["data"]["root"] = append(0, {}, hashes[: value["data"]["entries"]]).root.hex()
            text = canonical_text(value)
        hashes[position] = leaf_hash(text.encode())
        edits.append(
            f"UPDATE change SET text = '{text.replace(chr(39), chr(39) * 2)}' WHERE position = {position}"
        )
    grown = append(0, {}, hashes)
    for node in grown.new_nodes:
        where = (
            f"level = {node.level} AND number = {node.index}" if node.level else f"position = {node.index}"
        )
        edits.append(
            f"UPDATE {'node' if node.level else 'leaf'} SET hash = x'{node.hash.hex()}' WHERE {where}"
        )
    edit(folder / "zerokeep.db", *edits)
    (folder / "ledger-head.json").write_text(json.dumps({"size": len(hashes), "root": grown.root.hex()}))
