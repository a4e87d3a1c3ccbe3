"""The self-audit works everything out again and names the record at fault."""

import json
import resource
import sqlite3
import threading
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.kit.grown import grow
from tests.kit.house import House
from tests.kit.shop import RULES, SHOP
from tests.kit.tampering import without_triggers
from webapp.domain.evidence.tree import append, leaf_hash
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit import auditing, row_notes
from webapp.services.audit.auditing import (
    Fault,
    Outcome,
    audit,
    everything,
    last_run,
    run,
    what_came,
)
from webapp.services.evidence.epochs import open_epoch
from webapp.services.evidence.ledger import change, keep_head
from webapp.services.evidence.ledger_walk import A_STRETCH


def tamper(house: House, *statements: str) -> Any:
    """Somebody with the file and a tool: triggers go first, then the row."""
    house.store.close()
    connection = sqlite3.connect(house.folder / "zerokeep.db")
    with without_triggers(connection.execute):
        for statement in statements:
            assert connection.execute(statement).rowcount == 1, statement
    connection.commit()
    connection.close()
    return [fault.code for fault in audit(house.store)]


def test_a_whole_store_has_no_fault(house: House) -> None:
    house.signed_off()
    assert audit(house.store) == []


def test_a_whole_store_of_a_shop_with_a_time_zone_has_no_fault(tmp_path: Path, keyring: KeyRing) -> None:
    """Its sheets carry the zone's offsets from the moment at which they were made."""
    shop = replace(SHOP, rules=replace(RULES, time_zone="Europe/Oslo"))
    house = House(tmp_path, keyring, shop)
    house.signed_off()
    assert audit(house.store) == []
    house.store.close()


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
    assert (outcome.first, outcome.entries, outcome.records, outcome.faults) == (0, size, 0, [])
    with house.store.reading():
        root = house.store.ledger.root(size).hex()
    said = {
        "first": 0,
        "entries": size,
        "whole_entries": size,
        "root": root,
        "records": 0,
        "faults": 0,
        "found": [],
    }
    notes = {"number": outcome.notes.number, "sha256": outcome.notes.sha256}
    assert ran(house) == [{**said, "whole_at_utc": outcome.at_utc, "notes": notes}]
    assert last_run(house.store) == outcome.as_dict()
    assert run(house.store, house.clock()).faults == []


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
    outcome = Outcome("2026-11-25T08:00:00.000Z", "2026-11-25T08:00:00.000Z")
    outcome.take(Fault("audit.leaf", f"leaf at {place}") for place in range(250))
    said = outcome.as_dict()
    assert (said["faults"], len(said["found"])) == (250, 100)


def test_what_comes_while_the_whole_is_looked_at_is_no_fault(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is copied: setups, a sign-off and a kept head come between any two pieces."""
    house.signed_off()
    open_one = house.signed()

    def grown(of: Callable[..., Any], deed: Callable[[], object]) -> Callable[..., Any]:
        def first_the_deed(*arguments: Any) -> Any:
            deed()
            return of(*arguments)

        return first_the_deed

    def signed_off_and_kept() -> None:
        house.sign_off(open_one.setup)
        keep_head(house.store)

    monkeypatch.setattr(auditing, "_at_end", grown(auditing._at_end, _once(house.signed_off)))
    monkeypatch.setattr(auditing, "misfits", grown(auditing.misfits, house.signed))
    monkeypatch.setattr(auditing, "changed_rows", grown(auditing.changed_rows, signed_off_and_kept))
    monkeypatch.setattr(row_notes, "_in_pieces", grown(row_notes._in_pieces, _once(house.signed)))
    outcome = run(house.store, house.clock())
    assert outcome.faults == []
    kept = house.store.kept_head.read()
    assert kept is not None
    assert kept.size > outcome.entries


def _once(deed: Callable[[], object]) -> Callable[[], None]:
    left = [deed]
    return lambda: left.pop()() if left else None  # type: ignore[func-returns-value, return-value]


def test_a_kept_head_that_an_older_database_lacks_stays_until_the_restore_is_accepted(house: House) -> None:
    """However far that database has grown since, and whatever the audit found."""
    house.signed_off()
    house.store.close()
    database = house.folder / "zerokeep.db"
    older = database.read_bytes()
    run(house.store, house.clock())
    evidence = house.store.kept_head.read()
    assert evidence is not None
    house.store.close()
    database.write_bytes(older)
    house.device.sequence, house.device.previous = 0, None
    house.clock.forward(days=1)
    with house.store.writing():
        for _ in range(5):
            change(house.store, "setting.changed", "ines", "shop", None, {}, house.clock())
    keep_head(house.store)  # as a sealed record does
    assert house.store.kept_head.read() == evidence
    assert [fault.code for fault in run(house.store, house.clock()).faults] == ["audit.head"]
    assert house.store.kept_head.read() == evidence
    assert [fault.code for fault in run(house.store, house.clock()).faults] == ["audit.head"]
    open_epoch(house.store, house.keyring, "The disk failed; the backup of the night.", house.clock())
    assert run(house.store, house.clock()).faults == []
    with house.store.reading():
        (row,) = house.store.ledger.changes(kind="ledger.restored")
    assert json.loads(row["text"])["data"]["kept"] == {"size": evidence.size, "root": evidence.root}


def test_a_writer_of_the_head_waits_for_the_one_before_and_the_larger_head_stays(house: House) -> None:
    kept = house.store.kept_head
    kept.write(1, "aa", lambda _: True)
    larger = threading.Thread(target=lambda: kept.write(9, "ff", lambda _: True))

    def while_the_larger_comes(_: object) -> bool:
        larger.start()
        larger.join(timeout=0.5)  # it gets as far as it is let
        return True

    kept.write(5, "cc", while_the_larger_comes)
    larger.join()
    assert kept.read() == (9, "ff")
    assert [path.name for path in house.folder.glob(".ledger-head*")] == []


def test_a_last_run_that_cannot_be_read_leaves_the_one_before(house: House) -> None:
    house.signed_off()
    first = run(house.store, house.clock())
    run(house.store, house.clock())
    codes = tamper(
        house,
        (
            "UPDATE change SET text = 'x' WHERE position = (SELECT "
            "max(position) FROM change WHERE type = 'audit.ran')"
        ),
    )
    assert {"audit.change_row", "audit.leaf"} <= set(codes)
    assert last_run(house.store) == first.as_dict()
    assert "audit.leaf" in {fault.code for fault in run(house.store, house.clock(), only_new=True).faults}


def test_damage_is_found_without_and_confirmed_with_a_lock(house: House) -> None:
    house.signed()
    engine = house.store._database.engine
    assert engine.is_whole()
    with house.store.writing():
        assert house.store._database.engine.is_whole()  # nobody waits for somebody who writes
    house.store.close()
    file = house.folder / "zerokeep.db"
    with sqlite3.connect(file) as connection:
        (page,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'setup_newest_of_machine'"
        ).fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    data = bytearray(file.read_bytes())
    data[(page - 1) * size + 3 : (page - 1) * size + 5] = b"\xff\xff"
    file.write_bytes(bytes(data))
    assert not engine.is_whole()
    found = [fault.record for fault in everything(house.store, Outcome("", ""))]
    assert any("database" in record for record in found), found


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


def test_a_later_run_goes_on_where_the_last_one_ended_and_the_whole_comes_after_a_week(house: House) -> None:
    house.signed_off()
    first = run(house.store, house.clock(), only_new=True)
    assert (first.first, first.whole_at_utc) == (0, first.at_utc)  # there was none to go on from
    house.clock.forward(days=1)
    house.signed_off()
    second = run(house.store, house.clock(), only_new=True)
    assert (second.first, second.faults, second.whole_at_utc) == (first.entries, [], first.at_utc)
    with house.store.reading():
        assert second.root == house.store.ledger.root(second.entries).hex()
    house.clock.forward(days=6)
    assert run(house.store, house.clock(), only_new=True).first == 0
    house.clock.forward(days=1)
    assert run(house.store, house.clock()).first == 0  # asked for all of it


def test_a_later_run_reads_no_entry_before_where_the_last_one_ended(house: House) -> None:
    house.signed_off()
    first = run(house.store, house.clock())
    house.signed_off()
    statements: list[str] = []
    connection = house.store._database._connection()
    connection.set_trace_callback(statements.append)
    found = run(house.store, house.clock(), only_new=True)
    connection.set_trace_callback(None)
    ranges = [one for one in statements if "BETWEEN" in one or '"position" >= ' in one]
    assert ranges
    assert all(f'"position" >= {first.entries}' in one for one in ranges)
    assert found.entries > found.first == first.entries
    assert not [one for one in statements if "integrity_check" in one]


@pytest.mark.parametrize(
    ("statement", "code"),
    [
        (
            "UPDATE event SET person = 'ivo' WHERE position = (SELECT max(position) FROM event)",
            "audit.event_row",
        ),
        (
            "UPDATE change SET text = text || ' ' WHERE position = (SELECT max(position) FROM change)",
            "audit.leaf",
        ),
        (
            (
                "UPDATE node SET hash = zeroblob(32) WHERE level = 1 AND number = "
                "(SELECT max(number) FROM node WHERE level = 1)"
            ),
            "audit.node",
        ),
        (
            (
                "UPDATE sheet SET text = text || ' ' WHERE hash = "
                "(SELECT sheet FROM event ORDER BY position DESC LIMIT 1)"
            ),
            "audit.sheet",
        ),
    ],
)
def test_what_was_altered_of_the_new_is_found_by_a_run_of_the_new(
    house: House, statement: str, code: str
) -> None:
    house.signed_off()
    run(house.store, house.clock())
    house.clock.forward(days=1)
    house.signed_off()
    tamper(house, statement)
    outcome = run(house.store, house.clock(), only_new=True)
    assert outcome.first > 0
    assert code in {fault.code for fault in outcome.faults}
    house.clock.forward(days=1)
    assert run(house.store, house.clock(), only_new=True).first == 0  # after a finding the whole is looked at


def test_a_record_that_is_gone_is_found_by_a_run_of_the_new(house: House) -> None:
    walk = house.signed_off()
    run(house.store, house.clock())
    with house.store.writing():
        digest = "ab" * 32
        house.store.records.add(walk.setup, digest, 7, "2026-11-25T09:00:00.000Z")
        data = {"sha256": digest, "bytes": 7}
        change(house.store, "record.sealed", "server", digest, walk.setup, data, house.clock())
    outcome = run(house.store, house.clock(), only_new=True)
    assert [fault.code for fault in outcome.faults] == ["audit.record_file"]
    assert outcome.records == 1


def test_a_ledger_that_was_written_anew_is_given_away_by_the_root_of_an_earlier_run(house: House) -> None:
    """Whoever makes every leaf and node fit again leaves the root that an audit wrote down before."""
    house.signed_off()
    run(house.store, house.clock())
    with house.store.reading():
        row = house.store.ledger.changes(kind="setup.signed_off")[0]
        rows = house.store.ledger.leaves_between(0, 10_000)
    text = row["text"].replace("reviewed and accepted", "reviewed and rejected")
    hashes = [bytes(one["hash"]) for one in rows]
    hashes[row["position"]] = leaf_hash(text.encode())
    grown = append(0, {}, hashes)
    faults = tamper(
        house,
        f"UPDATE change SET text = '{text}' WHERE position = {row['position']}",  # noqa: S608
        f"UPDATE leaf SET hash = x'{hashes[row['position']].hex()}' WHERE position = {row['position']}",  # noqa: S608
        *(
            f"UPDATE node SET hash = x'{node.hash.hex()}' "  # noqa: S608
            f"WHERE level = {node.level} AND number = {node.index}"
            for node in grown.new_nodes
            if node.level
        ),
    )
    assert faults == ["audit.root", "audit.head"]  # by what it wrote down, and by what was kept apart
    house.clock.forward(days=1)
    outcome = run(house.store, house.clock(), only_new=True)
    assert (outcome.first, [fault.code for fault in outcome.faults]) == (0, faults)


def test_the_whole_and_the_new_find_the_same_over_many_stretches(house: House) -> None:
    grow(house, 700)
    with house.store.reading():
        size = house.store.ledger.size()
    assert size > 4 * A_STRETCH
    outcome = Outcome("", "")
    faults = {fault.code for fault in everything(house.store, outcome)}
    # These setups were never walked and their records never printed.
    assert faults == {"audit.record_file", "audit.derived", "audit.not_as_said"}
    with house.store.reading():
        for start in (0, 1, A_STRETCH, A_STRETCH + 1, size - 1):
            part = Outcome("", "")
            part.take(what_came(house.store, {**outcome.as_dict(), "entries": start}, part))
            assert (part.count, part.root) == (0, outcome.root)
    tamper(house, "DELETE FROM leaf WHERE position = 1000")
    assert [fault.record for fault in audit(house.store) if fault.code == "audit.leaf_missing"] == [
        "change at 1000"
    ]


def test_a_run_of_the_whole_needs_no_more_memory_nor_longer_transactions_for_more_and_no_room(
    tmp_path: Path, keyring: KeyRing
) -> None:
    """Counted are the steps that SQLite's own machine makes in any transaction. While it runs, no file of
    this process may grow beyond a tenth of the database: there is no room for a copy.
    """

    def costs(setups: int) -> tuple[int, int]:
        house = House(tmp_path / str(setups), keyring)
        grow(house, setups)
        with house.store.writing():  # pathlib keeps a table of all names, which grows by leaps
            found_by = ("setup_term", "setup_words", "setup_to_find")
            with without_triggers(house.store._database.raw):
                for table in (*found_by, "record", "kept_value", "setup"):  # of setups that were never walked
                    house.store._database.raw(f"DELETE FROM {table}")  # noqa: S608
        outcome, before = Outcome("", ""), {path.name for path in house.folder.iterdir()}
        with (
            no_room((house.folder / "zerokeep.db").stat().st_size // 10),
            longest_transaction(house) as longest,
        ):
            tracemalloc.start()
            outcome.take(everything(house.store, outcome))
            memory = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        assert (outcome.count, outcome.entries > 3 * setups) == (0, True)
        assert {path.name for path in house.folder.iterdir()} == before
        house.store.close()
        return memory, longest()

    (tmp_path / "500").mkdir()
    (tmp_path / "2500").mkdir()
    few, many = costs(500), costs(2_500)
    assert many[0] < 1.2 * few[0]
    assert many[1] < 1.5 * few[1]


@contextmanager
def no_room(most_bytes: int) -> Iterator[None]:
    """No file of this process may grow beyond this."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def longest_transaction(house: House) -> Iterator[Callable[[], int]]:
    """Hundreds of steps of the database's machine in the longest transaction that was begun meanwhile."""
    counts, engine = [0], house.store._database.engine
    connection, begin = house.store._database._connection(), engine.begin_reading

    def begun(of: Any) -> None:
        counts.append(0)
        begin(of)

    def step() -> int:
        counts[-1] += 1
        return 0

    engine.begin_reading = begun  # type: ignore[method-assign]
    connection.set_progress_handler(step, 100)
    try:
        yield lambda: max(counts)
    finally:
        connection.set_progress_handler(None, 100)
        engine.begin_reading = begin  # type: ignore[method-assign]


def test_no_transaction_of_a_run_of_the_new_holds_more_than_a_stretch(house: House) -> None:
    first = run(house.store, house.clock())
    grow(house, 700)
    statements: list[str] = []
    connection = house.store._database._connection()
    connection.set_trace_callback(statements.append)
    outcome = run(house.store, house.clock(), only_new=True)
    connection.set_trace_callback(None)
    assert outcome.entries - outcome.first > 4 * A_STRETCH
    assert outcome.first == first.entries
    transactions = "\n".join(statements).split("BEGIN")
    assert max(one.count('FROM "leaf"') for one in transactions) == 1
    assert sum(one.count('FROM "leaf"') for one in transactions) > 4
