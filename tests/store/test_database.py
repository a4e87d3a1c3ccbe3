"""The file, its settings, its locks, and what is said when something goes wrong."""

import os
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from webapp.store import Store, covered_rows
from webapp.store.database import BUSY_SECONDS, Database
from webapp.store.engines import sqlite
from webapp.store.engines.sqlite import SETTINGS, apply_settings, survives_write_ahead_log
from webapp.store.errors import (
    AlreadyWriting,
    Conflict,
    CopyDisturbed,
    DatabaseDamaged,
    DatabaseLocked,
    DecidedTwice,
    DiskFull,
    FolderNotWritable,
    KeptForever,
    MadeByAnotherVersion,
    OpenedBeforeFork,
    OutsideTransaction,
    SettingNotKept,
    WriteAheadLogRefused,
)
from webapp.store.migrations import DRAFTS_NOT_COUNTED, MIGRATIONS, copy_before, migrate
from webapp.store.steps.erasable import DECIDED_ONCE, NOTES
from webapp.store.steps.step import Migration
from webapp.store.tables import access, devices, ledger, numbers, people, records, setups, shop, worries
from webapp.store.tables.base import Table

PERSON = ("mara", "Mara Okafor", ["operator"])


def raw(store: Store, statement: str, values: tuple[Any, ...] = ()) -> Any:
    with store.writing():
        return store._database.raw(statement, values)


def test_every_thread_s_connection_has_every_setting(kept_in_file: Store) -> None:
    found = []

    def look() -> None:
        found.append(kept_in_file.settings())
        kept_in_file.close()

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    wanted = {name: value for name, _, value in SETTINGS}
    assert found == [wanted] * 4
    assert (wanted["journal_mode"], wanted["synchronous"], wanted["foreign_keys"]) == ("delete", 3, 1)
    assert (wanted["trusted_schema"], wanted["mmap_size"], wanted["secure_delete"]) == (0, 0, 1)


def test_a_setting_that_is_not_taken_is_named() -> None:
    connection = sqlite3.connect(":memory:")
    with pytest.raises(SettingNotKept, match="journal_mode"):
        apply_settings(connection, "memory")
    connection.close()


@pytest.mark.parametrize(
    ("version", "fixed"),
    [((3, 40, 1), False), ((3, 44, 5), False), ((3, 44, 6), True), ((3, 45, 0), False), ((3, 50, 6), False),
     ((3, 50, 7), True), ((3, 51, 2), False), ((3, 51, 3), True), ((3, 53, 0), True), ((4, 0, 0), True)],
)  # fmt: skip
def test_the_versions_that_survive_a_write_ahead_log_are_known(
    version: tuple[int, int, int], fixed: bool
) -> None:
    assert survives_write_ahead_log(version) is fixed


def test_a_file_in_write_ahead_log_mode_is_refused_where_sqlite_could_damage_it(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "zerokeep.db", isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("CREATE TABLE x (y)")
    with pytest.raises(WriteAheadLogRefused, match=r"SQLite 3\.40\.1.*3\.51\.3"):
        apply_settings(connection, "zerokeep.db", (3, 40, 1))
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    apply_settings(connection, "zerokeep.db", (3, 51, 3))
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    connection.close()


def test_a_place_that_cannot_be_written_is_named() -> None:
    with pytest.raises(FolderNotWritable, match="/proc"):
        Store.open(Path("/proc/zerokeep.db"))


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    (tmp_path / "zerokeep.db").write_bytes(b"not a database, not at all" * 100)
    with pytest.raises(DatabaseDamaged, match=r"zerokeep\.db"):
        Store.open(tmp_path / "zerokeep.db")


def test_a_database_that_another_program_keeps_locked_is_named(kept_in_file: Store) -> None:
    kept_in_file._database._connection().execute("PRAGMA busy_timeout=10")
    other = sqlite3.connect(kept_in_file._address, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(DatabaseLocked), kept_in_file.writing():
        pass
    other.execute("ROLLBACK")
    other.close()
    with kept_in_file.writing():
        kept_in_file.people.add(*PERSON, "5a" * 32)


def test_a_full_disk_is_named_stores_nothing_and_is_got_over(kept_in_file: Store) -> None:
    connection = kept_in_file._database._connection()
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count={pages}")
    with pytest.raises(DiskFull):
        _add_much(kept_in_file)
    with kept_in_file.reading():
        assert kept_in_file.people.everybody() == []
    connection.execute("PRAGMA max_page_count=1000000")
    with kept_in_file.writing():
        kept_in_file.people.add(*PERSON, "5a" * 32)


def test_what_fails_half_way_leaves_nothing_behind(store: Store) -> None:
    with pytest.raises(ZeroDivisionError):
        _add_and_fail(store)
    with store.reading():
        assert store.people.everybody() == []


def test_a_conflict_is_named(store: Store) -> None:
    with store.writing():
        store.people.add(*PERSON, "5a" * 32)
    with pytest.raises(Conflict), store.writing():
        store.people.add(*PERSON, "5a" * 32)


def test_the_store_is_used_inside_transactions_only(store: Store) -> None:
    with pytest.raises(OutsideTransaction):
        store.people.everybody()
    with pytest.raises(OutsideTransaction), store.reading():
        store.people.add(*PERSON, "5a" * 32)
    with pytest.raises(AlreadyWriting), store.writing(), store.writing():
        pass


def test_reading_inside_writing_sees_what_was_written(store: Store) -> None:
    with store.writing():
        store.people.add(*PERSON, "5a" * 32)
        with store.reading():
            assert len(store.people.everybody()) == 1


def test_a_view_does_not_change_while_it_lasts(store: Store) -> None:
    with store.reading():
        before = store.people.everybody()
        writer = threading.Thread(target=lambda: (_add(store), store.close()))
        writer.start()
        assert store.people.everybody() == before == []
    writer.join()
    with store.reading():
        assert len(store.people.everybody()) == 1


def test_many_threads_write_one_after_the_other(store: Store) -> None:
    def write(number: int) -> None:
        for place in range(10):
            with store.writing():
                size = store.ledger.size()
                store.ledger.append("change", [f"{number} {place}".encode()])
                assert store.ledger.size() == size + 1
        store.close()

    threads = [threading.Thread(target=write, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.reading():
        assert store.ledger.size() == 80


def test_no_connection_is_open_after_opening(store: Store) -> None:
    assert store._database._connections.is_closed()


def test_the_store_may_be_opened_before_a_fork_and_not_used(store: Store) -> None:
    assert _in_child(lambda: _count(store)) == b"0 people"
    with store.reading():
        store.people.everybody()
    assert _in_child(lambda: _count(store)) == b"OpenedBeforeFork"


@pytest.mark.parametrize("table", ["leaf", "node", "change", "event", "sheet", "record"])
def test_what_proves_something_takes_no_update_no_delete_and_no_replace(
    kept_in_file: Store, table: str
) -> None:
    columns = [row[1] for row in raw(kept_in_file, f"PRAGMA table_info({table})")]
    kept_in_file._database._connection().execute("PRAGMA foreign_keys=OFF")
    values, first, last = _some_row(table), columns[0], columns[-1]
    places = ", ".join("?" * len(columns))
    raw(kept_in_file, f"INSERT INTO {table} VALUES ({places})", values)  # noqa: S608
    tries = [
        (f"UPDATE {table} SET {last} = {last}", ()),  # noqa: S608
        (f"DELETE FROM {table}", ()),  # noqa: S608
        (f"DELETE FROM {table} WHERE 1", ()),  # noqa: S608
        (f"REPLACE INTO {table} VALUES ({places})", values),  # noqa: S608
        (f"INSERT INTO {table} VALUES ({places}) ON CONFLICT DO UPDATE SET {first} = {first}", values),  # noqa: S608
    ]
    for statement, given in tries:
        with pytest.raises(KeptForever):
            raw(kept_in_file, statement, given)
    assert raw(kept_in_file, f"SELECT count(*) FROM {table}") == [(1,)]  # noqa: S608


def test_opening_again_runs_no_step_twice(store: Store) -> None:
    again = Store.open(store._address, store._folder)
    assert len(raw(again, "SELECT * FROM migration")) == len(MIGRATIONS)
    assert migrate(again._database) == []
    again.close()


def test_a_step_that_fails_leaves_nothing_of_itself(tmp_path: Path) -> None:
    database = Database(tmp_path / "zerokeep.db")
    steps = (
        Migration("one", ("CREATE TABLE a (x)",)),
        Migration("two", ("CREATE TABLE b (x)", "CREATE TABLE a (x)")),
    )
    with pytest.raises(Exception, match="already exists"):
        migrate(database, steps)
    with database.reading():
        assert database.raw("SELECT name FROM sqlite_master WHERE name IN ('a', 'b')") == [("a",)]
        assert database.raw("SELECT name FROM migration") == [("one",)]
    assert migrate(database, (steps[0], Migration("two", ("CREATE TABLE b (x)",)))) == ["two"]


def test_columns_that_come_later_are_noted_and_change_no_earlier_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One step adds a column, the next makes its table anew:
    what notes changes goes with a table that is dropped.
    """
    path, hashes = tmp_path / "zerokeep.db", [step.sha256 for step in MIGRATIONS]
    store = Store.open(path)
    put(store, "INSERT INTO probe_care VALUES ('probe-1', 30, 200)")
    store.close()
    monkeypatch.setitem(covered_rows.COLUMNS_SINCE, "probe_care", ("colour",))
    assert [covered_rows.first_notes(table) for table in covered_rows.COVERED_AT_FIRST] == [
        statement
        for statement in NOTES.statements
        if statement.startswith("INSERT") and statement != covered_rows.FIRST_NOTE_OF_EVENTS
    ]
    steps = (
        *MIGRATIONS,
        Migration("colour", ("ALTER TABLE probe_care ADD COLUMN colour TEXT",)),
        Migration(
            "anew",
            (
                (
                    "CREATE TABLE other (probe TEXT PRIMARY KEY, "
                    "days INTEGER, factor INTEGER, colour TEXT) STRICT"
                ),
                "INSERT INTO other SELECT * FROM probe_care",
                "DROP TABLE probe_care",
                "ALTER TABLE other RENAME TO probe_care",
                "ALTER TABLE probe_care RENAME COLUMN days TO every_days",
                "ALTER TABLE probe_care RENAME COLUMN factor TO factor_hundredths",
            ),
        ),
    )
    assert [step.sha256 for step in steps][: len(hashes)] == hashes
    assert migrate(store._database, steps) == ["colour", "anew"]
    assert notes_of_care(store) == ([], 1)  # the older digest fits where the new column is empty
    put(store, "UPDATE probe_care SET colour = 'red'")
    assert notes_of_care(store) == ([], 2)
    other = sqlite3.connect(path)
    other.execute("UPDATE probe_care SET colour = 'blue'")
    other.commit()
    other.close()
    assert notes_of_care(store) == (['["probe-1"]'], 2)


def put(store: Store, statement: str) -> None:
    with store.writing():
        store._database.raw(statement)


def notes_of_care(store: Store) -> tuple[list[str], int]:
    """Rows that do not fit their note, and how many notes there are."""
    with store.reading():
        return store.row_changes.changed("probe_care").found, len(store.row_changes.notes(0, 100))


def test_a_file_of_a_newer_or_another_version_is_refused(tmp_path: Path) -> None:
    database = Database(tmp_path / "zerokeep.db")
    migrate(database, (Migration("one", ("CREATE TABLE a (x)",)), Migration("two", ())))
    with pytest.raises(MadeByAnotherVersion, match="two"):
        migrate(database, (Migration("one", ("CREATE TABLE a (x)",)),))
    with pytest.raises(MadeByAnotherVersion, match="number 1"):
        migrate(database, (Migration("one", ("CREATE TABLE a (x, y)",)), Migration("two", ())))


def test_classes_and_tables_have_the_same_columns(kept_in_file: Store) -> None:
    rooms = (
        access,
        devices,
        ledger,
        numbers,
        people,
        records,
        setups,
        shop,
        worries,
    )
    classes = {
        value
        for room in rooms
        for value in vars(room).values()
        if isinstance(value, type) and issubclass(value, Table)
    }
    classes.discard(Table)
    made = {row[0] for row in raw(kept_in_file, "SELECT name FROM sqlite_master WHERE type = 'table'")} - {
        "migration",
        "row_change",  # no query is built for these
        "setup_term",
        "setup_to_find",
        "setup_words",
    }
    assert {one._meta.table_name for one in classes} == made
    for one in classes:
        columns = [row[1] for row in raw(kept_in_file, f"PRAGMA table_info({one._meta.table_name})")]
        assert sorted(one._meta.columns) == sorted(columns), one


def test_a_copy_made_while_others_work_is_whole(kept_in_file: Store, tmp_path: Path) -> None:
    _add(kept_in_file)
    kept_in_file.copy_to(tmp_path / "copy.db")
    copy = Store.open(tmp_path / "copy.db")
    with copy.reading():
        assert (len(copy.people.everybody()), copy.damage()) == (1, [])


def test_busy_waiting_is_bounded() -> None:
    assert 0 < BUSY_SECONDS <= 30


def _add(store: Store) -> None:
    with store.writing():
        store.people.add(*PERSON, "5a" * 32)


def _add_much(store: Store) -> None:
    with store.writing():
        store.people.add(*PERSON, "5a" * 32)
        store.sheets.keep_sheet("h" * 64, "mill-1", "x" * 200_000, "c", ("a", "b"))


def _add_and_fail(store: Store) -> None:
    with store.writing():
        store.people.add(*PERSON, "5a" * 32)
        raise ZeroDivisionError


def _count(store: Store) -> Any:
    try:
        with store.reading():
            return f"{len(store.people.everybody())} people"
    except OpenedBeforeFork as error:
        return type(error).__name__


def _in_child(work: Callable[[], str]) -> Any:
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.write(writer, work().encode())
        finally:
            os._exit(0)
    os.close(writer)
    os.waitpid(child, 0)
    answer = os.read(reader, 200)
    os.close(reader)
    return answer


def _some_row(table: str) -> Any:
    hashed = bytes(32)
    return {
        "leaf": (0, "event", hashed),
        "node": (1, 0, hashed),
        "change": (0, "{}", "t", "b", "s", None, "a"),
        "event": (0, "i", "j", "d", 1, "s", "t", "p", "h", "a", "r", "[]"),
        "sheet": ("h", "m", "t", "c", "a", "b"),
        "record": ("s", "a" * 64, 1, "a"),
    }[table]


def test_a_text_that_nobody_signed_gives_the_id_of_an_event_back(tmp_path: Path) -> None:
    database = Database(tmp_path / "zerokeep.db")
    before = next(place for place, step in enumerate(MIGRATIONS) if step.name == "texts that nobody signed")
    migrate(database, MIGRATIONS[:before])
    with database.writing():
        for id_, device in (("aa", None), ("bb", "tablet")):
            values = (id_, "text", "intake.malformed", "{}", device, "2026-11-25T07:00:00.000Z")
            database.raw(
                (
                    "INSERT INTO set_aside (id, jws, code, fields, "
                    "device, received_at_utc) VALUES (?, ?, ?, ?, ?, ?)"
                ),
                values,
            )
    migrate(database)
    with database.reading():
        found = database.raw("SELECT id, source FROM set_aside ORDER BY id")
    assert found == [("bb", None), ("unsigned:aa", None)]


def test_a_shop_from_before_counts_no_draft_any_more_and_everything_else_as_it_did(tmp_path: Path) -> None:
    database = Database(tmp_path / "zerokeep.db")
    migrate(database, MIGRATIONS[: MIGRATIONS.index(DRAFTS_NOT_COUNTED)])

    def number_after(kind: str, id_: str) -> int:
        with database.writing():
            database.raw("INSERT INTO item VALUES (?, ?, '{}', 1)", (kind, id_))
            database.raw("UPDATE item SET active = 0 WHERE id = ?", (id_,))
            found = database.raw("SELECT number FROM sheet_version WHERE subject = 'shop'")
        return int(found[0][0])

    assert number_after("procedure", "draft:shop") == 2
    migrate(database)
    assert number_after("procedure", "draft:vise-a") == 2
    assert number_after("procedure", "for:vise-a") == 4
    assert number_after("machine", "draft:mill") == 6


def write_one(store: Store) -> None:
    """One more entry on the ledger, whatever it says."""
    with store.writing():
        store.ledger.append_change("{}", kind="t", by="b", subject="s", setup=None, at_utc="a")


def test_others_write_between_the_steps_of_a_copy_and_the_copy_has_what_they_wrote(
    kept_in_file: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "PAGES_A_STEP", 4)
    other, written = Store(kept_in_file._address), 0

    def write() -> None:
        nonlocal written
        if written < 3:
            write_one(other)
            written += 1

    kept_in_file.copy_to(tmp_path / "copy.db", write)
    copy = Store(tmp_path / "copy.db")
    with copy.reading():
        assert (copy.ledger.size(), copy.damage()) == (3, [])
    for one in (copy, other):
        one.close()


def test_a_copy_that_is_disturbed_again_and_again_is_made_while_writers_wait(
    kept_in_file: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "PAGES_A_STEP", 4)
    other, written = Store(kept_in_file._address), 0

    def write() -> None:
        nonlocal written
        write_one(other)
        written += 1

    kept_in_file.copy_to(tmp_path / "copy.db", write)
    copy = Store(tmp_path / "copy.db")
    with copy.reading():
        assert (copy.ledger.size(), copy.damage()) == (written, [])
    assert written > sqlite.MOST_BEGUN_ANEW
    write()
    for one in (copy, other):
        one.close()


def test_a_copy_that_takes_longer_than_writers_wait_is_given_up_with_its_own_sentence(
    kept_in_file: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "PAGES_A_STEP", 4)
    monkeypatch.setattr(sqlite, "LONGEST_HELD_SECONDS", -1)
    other = Store(kept_in_file._address)

    def write() -> None:
        write_one(other)

    with pytest.raises(CopyDisturbed, match="when the shop is quieter"):
        kept_in_file.copy_to(tmp_path / "copy.db", write)
    other.close()


def test_before_steps_run_on_a_file_it_is_copied_whole_and_the_copy_stays_until_the_next(
    tmp_path: Path,
) -> None:
    steps = [Migration(name, (f"CREATE TABLE {name} (x)",)) for name in ("one", "two", "three")]
    database = Database(tmp_path / "shop.db")

    def upgrade(known: int) -> None:
        copy_before(database, tmp_path / "shop.db", tuple(steps[:known]))
        migrate(database, tuple(steps[:known]))

    upgrade(1)
    assert list(tmp_path.glob("before-step-*")) == []  # nothing was there that could be lost
    with database.writing():
        database.raw("INSERT INTO one VALUES (7)")
    upgrade(2)
    (copy,) = tmp_path.glob("before-step-*")
    assert (copy.name, copy.stat().st_mode & 0o777) == ("before-step-2.db", 0o600)
    with Database(copy).reading():
        pass
    kept = sqlite3.connect(copy)
    assert kept.execute("SELECT x FROM one").fetchall() == [(7,)]
    assert kept.execute("SELECT name FROM migration").fetchall() == [("one",)]
    kept.close()
    upgrade(2)
    upgrade(3)
    assert [path.name for path in tmp_path.glob("*before-step-*")] == ["before-step-3.db"]
    database.close()


def test_steps_do_not_run_where_there_is_no_room_for_the_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = (Migration(name, (f"CREATE TABLE {name} (x)",)) for name in ("one", "two"))
    database = Database(tmp_path / "shop.db")
    migrate(database, (first,))

    def full(*_: object) -> None:
        raise DiskFull

    monkeypatch.setattr(database, "copy_to", full)
    with pytest.raises(DiskFull):
        copy_before(database, tmp_path / "shop.db", (first, second))
    with database.reading():
        assert database.raw("SELECT name FROM migration") == [("one",)]
    assert list(tmp_path.glob("*before-step-*")) == []


def test_a_database_with_two_decisions_about_a_setup_is_refused_plainly_and_left_as_it_was(
    tmp_path: Path,
) -> None:
    database, before = Database(tmp_path / "shop.db"), MIGRATIONS.index(DECIDED_ONCE)
    migrate(database, MIGRATIONS[:before])
    with database.altering(), database.writing():
        for position, kind in enumerate(("setup.signed_off", "setup.not_accepted")):
            database.raw("INSERT INTO leaf VALUES (?, 'change', ?)", (position, bytes(32)))
            database.raw(
                "INSERT INTO change VALUES (?, '{}', ?, 'ines', 's1', 's1', '2026-11-25')", (position, kind)
            )
    with pytest.raises(DecidedTwice, match="more than one decision about the setups s1"):
        migrate(database)
    with database.altering(), database.reading():
        assert database.raw("SELECT count(*) FROM change")[0][0] == 2
        assert database.raw("SELECT max(number) FROM migration")[0][0] == before
    database.close()
