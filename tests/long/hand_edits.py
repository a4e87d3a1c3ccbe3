"""Who finds what, when somebody with every key and every right on the server edits the database by hand.

Three ways to edit: the row alone; the row, and a note of the change behind all others, as if the program had
made it; and the row, its notes, and everything that hangs on them written anew up to the ledger's root, the
kept head and a head that the shop's own key signs. Four who might find it: an audit; whoever holds an old
record, made before the edit and handed out; whoever holds a head that was signed after the last audit before
the edit; and nobody.

`python -m tests.long hand_edits` prints the whole table; the test command plays a slice of it.
"""
# ruff: noqa: S608 - the statements are the tampering itself

from __future__ import annotations

import json
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.kit.clock import Clock
from tests.kit.filled import fill
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.kit.tampering import without_triggers
from webapp.domain.evidence.checkpoint import Checkpoint
from webapp.domain.evidence.tree import append, leaf_hash
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.record.bundle import RecordBundle
from webapp.proof.ledger.signed_note import NoteSigner
from webapp.services.audit.auditing import audit
from webapp.services.audit.auditing import run as audit_run
from webapp.services.audit.row_notes import Notes, notes_until_now
from webapp.services.evidence.ledger import has_head
from webapp.services.evidence.signed_heads import compare, sign_head
from webapp.services.setups.recording import proven_bundle
from webapp.store import Store
from webapp.store.covered_rows import COVERED, NOT_COVERED, Covered, digest

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
ALONE, NOTED, ANEW = "the row alone", "with a note", "written anew"
AUDIT, RECORD, HEAD = "an audit", "an old record", "an old head"


@dataclass(frozen=True)
class Shop:
    """A shop as it was when somebody took a record and a signed head of it away, and its keys."""

    folder: Path
    record: RecordBundle
    note: str
    signer: NoteSigner


@dataclass(frozen=True)
class Edit:
    """What is changed: a row of a table, the text of a change on the ledger, or a file beside the database;
    and how. A file gets this statement behind its end, or is taken out where there is none.
    """

    what: str
    statement: str
    table: Covered | None = None
    position: int | None = None
    file: str | None = None
    way: str = ALONE


def shop_in(folder: Path) -> Shop:
    """A shop with a row in every table; a record is taken away, an audit runs, then a head is taken away."""
    house = House(folder, fixed_keyring(folder / "keys", Clock()))
    setup, signer = fill(house), house.keyring.head_signer
    record = proven_bundle(house.store, setup, signer, house.clock(), RENDERER)
    audit_run(house.store, house.clock())
    note = sign_head(house.store, signer)
    house.store.close()
    return Shop(folder, record, note, signer)


def open_file(folder: Path) -> sqlite3.Connection:
    """The database with no trigger in the way."""
    connection = sqlite3.connect(folder / "zerokeep.db")
    connection.execute("PRAGMA ignore_check_constraints = ON")
    connection.create_function("row_digest", 1, digest, deterministic=True)
    return connection


def columns_of(connection: sqlite3.Connection, table: Covered) -> dict[str, str]:
    """The columns of a table as the database has it that can be changed, each with its type: all but its key
    and those that no note is made of.
    """
    found = {row[1]: row[2] for row in connection.execute(f"PRAGMA table_info({table.name})")}
    left_out = {*table.key} | {one for one in found if f"{table.name}.{one}" in NOT_COVERED}
    return {name: kind for name, kind in found.items() if name not in left_out}


def another_value(column: str, kind: str) -> str:
    """SQL for a value of this type that is not the one there, and means another."""
    if kind == "REAL":
        return f"coalesce({column}, 0) + 1"
    return f"coalesce({column}, 0) = 0" if kind == "INTEGER" else f"coalesce({column}, '') || 'x'"


def row_edits(connection: sqlite3.Connection) -> Iterator[Edit]:
    """Of every table the first row is taken out, in three ways, and each of its columns changed with a note
    that fits; the last one in the two other ways as well, which do not hang on the column.
    """
    for table in COVERED:
        columns, key = columns_of(connection, table), table.key[0]
        first = f"{key} = (SELECT {key} FROM {table.name} ORDER BY {key} LIMIT 1)"
        for way in (ALONE, NOTED, ANEW):
            for column in columns if way == NOTED else [*columns][-1:]:
                value = another_value(column, columns[column])
                changed = f"UPDATE {table.name} SET {column} = {value} WHERE {first}"
                yield Edit(f"{table.name}.{column} changed", changed, table, way=way)
            yield Edit(f"{table.name} taken out", f"DELETE FROM {table.name} WHERE {first}", table, way=way)


def edits(shop: Shop) -> Iterator[Edit]:
    """Edits of rows, a word in each kind of entry, in two ways, and files."""
    connection = open_file(shop.folder)
    yield from row_edits(connection)
    rows = connection.execute("SELECT type, min(position) FROM change GROUP BY type ORDER BY 2").fetchall()
    for kind, position in rows:
        text = """replace(text, '"by":"', '"by":"x')"""
        says = f"UPDATE change SET text = {text}, by = 'x' || by WHERE position = {position}"
        for way in (ALONE, ANEW):
            yield Edit(f"entry {kind} changed", says, position=position, way=way)
    connection.close()
    yield from file_edits(shop)


def file_edits(shop: Shop) -> Iterator[Edit]:
    """A sealed record and the kept head, changed and taken out."""
    record = next(path for path in sorted((shop.folder / "records").rglob("*")) if path.is_file())
    for what, file in (
        ("sealed record", record.relative_to(shop.folder)),
        ("kept head", Path("ledger-head.json")),
    ):
        yield Edit(f"{what} changed", "x", file=str(file))
        yield Edit(f"{what} taken out", "", file=str(file))


def play_file(shop: Shop, edit: Edit, folder: Path) -> set[str]:
    """The same for a file, which is put back behind it."""
    path = folder / str(edit.file)
    whole = path.read_bytes()
    path.unlink()
    if edit.statement:
        path.write_bytes(whole + edit.statement.encode())
    try:
        return asked(shop, folder)
    finally:
        path.write_bytes(whole)


def play(shop: Shop, edit: Edit, folder: Path) -> set[str]:
    """Edit a copy of the shop in this folder; who finds it."""
    shutil.copy(shop.folder / "zerokeep.db", folder / "zerokeep.db")
    shutil.copy(shop.folder / "ledger-head.json", folder / "ledger-head.json")
    if edit.file is not None:
        return play_file(shop, edit, folder)
    connection = open_file(folder)
    with without_triggers(connection.execute):
        assert connection.execute(edit.statement).rowcount > 0, edit.statement
        if edit.table is not None and edit.way == NOTED:
            add_notes(connection, edit.table)
        if edit.table is not None and edit.way == ANEW:
            write_notes_anew(connection, edit.table)
        connection.commit()
        if edit.way == ANEW:
            write_ledger_anew(connection, folder, shop.signer)
    connection.commit()
    connection.close()
    return asked(shop, folder)


def asked(shop: Shop, folder: Path) -> set[str]:
    """Who of the three finds something: each asks only what they can ask with what they hold."""
    store = Store(folder / "zerokeep.db")
    try:
        found = set()
        if audit(store):
            found.add(AUDIT)
        if not compare(store, shop.note, [shop.signer.verifier]).holds:
            found.add(HEAD)
        with store.reading():
            if not fits_record(store, shop.record):
                found.add(RECORD)
        return found
    finally:
        store.close()


def fits_record(store: Store, record: RecordBundle) -> bool:
    """Whether the server still has the head of a record, and says of its setup what the record says."""
    head, setup = record.record["ledger"], record.record["setup"]
    assert head
    events = {row["jws"] for row in store.events.events_of(setup)}
    decisions = {row["text"] for row in store.ledger.changes_of_setup(setup)}
    return {*record.events} <= events and {*record.decisions} <= decisions and has_head(store, **head)


def changed_keys(
    connection: sqlite3.Connection, table: Covered
) -> list[tuple[int, str, str | None, str | None]]:
    """For each key whose row is not what was noted last: number of the last note, key, old and new digest."""
    now = dict(connection.execute(f"SELECT {table.key_of()}, {table.digest_of()} FROM {table.name}"))
    last = connection.execute(
        "SELECT max(number), key, new FROM row_change WHERE name = ? GROUP BY key", (table.name,)
    ).fetchall()
    return [(number, key, noted, now.get(key)) for number, key, noted in last if now.get(key) != noted]


def add_notes(connection: sqlite3.Connection, table: Covered) -> None:
    """Note the change behind all others, as the program's own connections would have."""
    for _, key, old, new in changed_keys(connection, table):
        connection.execute(
            "INSERT INTO row_change (name, key, old, new) VALUES (?, ?, ?, ?)", (table.name, key, old, new)
        )


def write_notes_anew(connection: sqlite3.Connection, table: Covered) -> None:
    """Make the last note of each such key fit, as if the row had never been another."""
    for number, _, _, new in changed_keys(connection, table):
        connection.execute("UPDATE row_change SET new = ? WHERE number = ?", (new, number))


def write_ledger_anew(connection: sqlite3.Connection, folder: Path, signer: NoteSigner) -> None:
    """Make every digest and root that an audit wrote down, every leaf, node, and the kept head fit again."""
    hashes = [
        leaf_hash(text.encode())
        for (text,) in connection.execute(
            "SELECT coalesce(change.text, event.jws) FROM leaf LEFT JOIN change USING (position) "
            "LEFT JOIN event USING (position) ORDER BY position"
        ).fetchall()
    ]
    ran = connection.execute("SELECT position, text FROM change WHERE type = 'audit.ran' ORDER BY position")
    for position, text in ran.fetchall():
        value = json.loads(text)
        data: dict[str, Any] = value["data"]
        data["root"] = append(0, {}, hashes[: data["entries"]]).root.hex()
        data["notes"]["sha256"] = notes_digest(folder, data["notes"]["number"])
        said = canonical_text(value)
        connection.execute("UPDATE change SET text = ? WHERE position = ?", (said, position))
        hashes[position] = leaf_hash(said.encode())
    grown = append(0, {}, hashes)
    for node in grown.new_nodes:
        table, where = (
            ("node", "level = ? AND number = ?") if node.level else ("leaf", "? = 0 AND position = ?")
        )
        connection.execute(f"UPDATE {table} SET hash = ? WHERE {where}", (node.hash, node.level, node.index))
    connection.commit()
    kept = Checkpoint(signer.name, len(hashes), grown.root.hex())
    assert signer.verifier.fits(kept.text, signer.key.sign(kept.text.encode()))
    (folder / "ledger-head.json").write_text(json.dumps({"size": kept.size, "root": kept.root}))


def notes_digest(folder: Path, number: int) -> str:
    """The digest over the notes up to this one, as an audit works it out."""
    connection = open_file(folder)
    later = connection.execute("SELECT count(*) FROM row_change WHERE number > ?", (number,)).fetchone()[0]
    connection.close()
    assert not later, "the audit has to be behind the last note"
    store = Store(folder / "zerokeep.db")
    try:
        *_, last = (one for one in notes_until_now(store) if isinstance(one, Notes))
        return last.sha256
    finally:
        store.close()


def table(shop: Shop, most: int | None, say: Callable[[str], object]) -> Counter[tuple[str, str]]:
    """Play all edits, or so many, evenly picked; a line for each; how often each way was found by whom."""
    every = list(edits(shop))
    step = max(1, len(every) // most) if most else 1
    counted: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if (shop.folder / "records").exists():
            shutil.copytree(shop.folder / "records", folder / "records")
        for edit in every[::step]:
            found = play(shop, edit, folder)
            by = ", ".join(sorted(found)) or "nobody"
            counted[edit.way, by] += 1
            say(f"{edit.way:14} {edit.what:45} {by}")
    return counted


def run(most: int | None) -> int:
    """The whole table on a shop with a row in every table."""
    with tempfile.TemporaryDirectory() as name:
        counted = table(shop_in(Path(name)), most, print)
    for (way, by), times in sorted(counted.items()):
        sys.stdout.write(f"{times:4} {way}: {by}\n")
    return 0
