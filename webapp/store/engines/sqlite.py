"""One SQLite file, many threads, one writer.

Rules:
- rollback journal (DELETE), synchronous=EXTRA: a commit that returned is on the disk, and so is the removal
  of its journal (https://www.sqlite.org/pragma.html#pragma_synchronous);
- foreign keys on, the schema not trusted, erased content overwritten (secure_delete), no memory mapping;
- all of this is set and read back on every connection, since the connection keeps most of it and not the
  file;
- write-ahead-log mode can damage a file in SQLite before 3.51.3, 3.50.7 and 3.44.6
  (https://www.sqlite.org/wal.html); a file in that mode is refused there;
- one writer at a time: a transaction that writes starts with BEGIN IMMEDIATE, so that it never has to be
  given up half-way for a lock;
- SQLite's own result names decide what went wrong (https://www.sqlite.org/rescode.html), never the wording of
  its messages.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from errno import ENOSPC
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import peewee
from typing_extensions import override

from webapp.store.covered_rows import (
    DIGEST_OF_EVENTS,
    NOTE_EVENTS,
    Covered,
    add_function,
    note_changes,
)
from webapp.store.engines.engine import BUSY_SECONDS, Engine, Values
from webapp.store.errors import (
    Conflict,
    CopyDisturbed,
    DatabaseDamaged,
    DatabaseLocked,
    DiskFailed,
    DiskFull,
    FolderNotWritable,
    KeptForever,
    SettingNotKept,
    SqliteTooOld,
    StoreError,
    StoreFailed,
    WriteAheadLogRefused,
    attribute_in_chain,
)

if TYPE_CHECKING:
    from webapp.store.steps.step import Migration

# A copy is made in steps of 4 MB; between two of them nobody is kept from writing.
PAGES_A_STEP = 1_000
WAIT_FOR_WRITER_SECONDS = 0.05
MOST_BEGUN_ANEW = 20
LONGEST_HELD_SECONDS = 5
MOST_LOOKS = 3
OLDEST_SQLITE = (3, 37, 0)  # STRICT tables
EXTRA = 3

# In the order in which they are set; each is read back.
SETTINGS: tuple[tuple[str, str, int | str], ...] = (
    ("busy_timeout", str(int(BUSY_SECONDS * 1000)), int(BUSY_SECONDS * 1000)),
    ("mmap_size", "0", 0),
    ("journal_mode", "DELETE", "delete"),
    ("synchronous", "EXTRA", EXTRA),
    ("foreign_keys", "ON", 1),
    ("trusted_schema", "OFF", 0),
    ("recursive_triggers", "ON", 1),  # REPLACE fires delete triggers only with this
    ("secure_delete", "ON", 1),
    ("cell_size_check", "ON", 1),
)


def survives_write_ahead_log(version: tuple[int, int, int]) -> bool:
    """Whether this SQLite has the fix for the reset of a write-ahead log (3.51.3, back-ported to 3.50.7 and
    3.44.6).
    """
    fixed_patch = {(3, 44): 6, (3, 50): 7}.get(version[:2])
    return version >= (3, 51, 3) or (fixed_patch is not None and version[2] >= fixed_patch)


def apply_settings(
    connection: sqlite3.Connection,
    path: str,
    version: tuple[int, int, int] = sqlite3.sqlite_version_info,
) -> None:
    """Set and read back every setting. `version` is SQLite's. Raises SettingNotKept, WriteAheadLogRefused."""
    found_mode = connection.execute("PRAGMA journal_mode").fetchone()[0]
    if found_mode == "wal" and not survives_write_ahead_log(version):
        raise WriteAheadLogRefused(path=path, version=".".join(map(str, version)))
    for name, value, wanted in SETTINGS:
        connection.execute(f"PRAGMA {name}={value}")
        row = connection.execute(f"PRAGMA {name}").fetchone()
        found = row[0] if row else wanted  # a SQLite built without memory mapping answers nothing
        if found != wanted:
            raise SettingNotKept(setting=name, wanted=wanted, found=found)


class Connection(sqlite3.Connection):
    """A connection that knows whether it notes what it changes."""

    noting = False


class _Connections(peewee.SqliteDatabase):
    """Peewee's connections, one a thread, each with every setting asserted."""

    def _connect(self) -> sqlite3.Connection:
        connection: sqlite3.Connection = super()._connect()  # type: ignore[misc]
        try:
            apply_settings(connection, str(self.database))
            add_function(connection)
        except BaseException:
            connection.close()
            raise
        return connection


# Without what SQLite makes by itself: indexes of keys, figures for its planner.
MADE = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite@_%' ESCAPE '@'"
MIGRATION_LOG = (
    "CREATE TABLE IF NOT EXISTS migration "
    "(number INTEGER PRIMARY KEY, name TEXT NOT NULL, sha256 TEXT NOT NULL) STRICT"
)


def _connections(path: Path) -> _Connections:
    return _Connections(str(path), timeout=BUSY_SECONDS, autoconnect=False, factory=Connection)


class SqliteEngine(Engine):
    """A file, and SQLite's words."""

    driver_errors = (sqlite3.Error, peewee.PeeweeException)
    these = "SELECT value FROM json_each(?)"
    note_events = NOTE_EVENTS
    digest_of_events = DIGEST_OF_EVENTS
    # A note whose key was made no such list is of no upload: the digest over all notes tells of it.
    notes_of_events = (
        "SELECT number, json_extract(key, '$[0]'), coalesce(json_extract(key, '$[1]'), -1), new "
        "FROM row_change "
        "WHERE name = ? AND number > ? ORDER BY number LIMIT ?"
    )

    def __init__(self, path: Path) -> None:
        """Raises SqliteTooOld, FolderNotWritable."""
        super().__init__(str(path), _connections(path))
        self.path = path
        if sqlite3.sqlite_version_info < OLDEST_SQLITE:
            least = ".".join(map(str, OLDEST_SQLITE))
            raise SqliteTooOld(version=sqlite3.sqlite_version, least=least)
        folder = path.parent
        if not os.access(folder, os.W_OK | os.X_OK) or (path.exists() and not os.access(path, os.W_OK)):
            raise FolderNotWritable(folder=str(folder))

    # Connections and transactions

    @override
    def begin_reading(self, connection: Connection) -> None:
        connection.execute("BEGIN DEFERRED")

    @override
    def begin_writing(self, connection: Connection, *, noting: bool) -> None:
        if noting and not connection.noting:
            connection.noting = note_changes(connection)
        connection.execute("BEGIN IMMEDIATE")

    @override
    def in_transaction(self, connection: Connection) -> bool:
        return connection.in_transaction

    @override
    def is_broken(self, connection: Connection) -> bool:
        return False

    @override
    def execute(self, connection: Connection, statement: str, values: Values = ()) -> list[tuple[Any, ...]]:
        return connection.execute(statement, values).fetchall()

    @override
    def execute_many(self, connection: Connection, statement: str, rows: Sequence[Values]) -> None:
        connection.executemany(statement, rows)

    @override
    def settings(self, connection: Connection) -> dict[str, Any]:
        return {
            name: (connection.execute(f"PRAGMA {name}").fetchone() or [None])[0] for name, _, _ in SETTINGS
        }

    @override
    def named(self, error: BaseException) -> StoreError:
        return _named(error, self.where, BUSY_SECONDS)

    @override
    def is_first(self, connection: Connection) -> bool:
        return True  # one process serves a file

    # The whole

    @override
    def exists(self) -> bool:
        return self.path.exists()

    @override
    def prepare(self) -> None:
        """Make the file, or close it, so that the server's own account alone reads it; its journal takes
        after it.
        """
        try:
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600))
            if self.path.stat().st_mode & 0o077:
                self.path.chmod(0o600)
        except OSError as error:
            if error.errno == ENOSPC:
                raise DiskFull from error
            raise FolderNotWritable(folder=str(self.path.parent)) from error

    @override
    def columns(self, execute: Callable[..., list[tuple[Any, ...]]], table: str) -> list[str]:
        return [row[1] for row in execute(f"PRAGMA table_info({table})")]

    @override
    def before_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        execute(MIGRATION_LOG)

    @override
    def after_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        """Nothing: what notes changes belongs to connections."""

    @override
    def is_whole(self) -> bool:
        """The checks take as long as reading all of the file, and a lock held so long keeps every writer
        waiting. So they are asked without one first, of the file as it lies there, never written to
        (https://www.sqlite.org/uri.html#uriimmutable): in a file that others write to meanwhile they may find
        what is none, and then they are asked again with the lock; what is damaged they find either way.
        """
        address = f"{self.path.absolute().as_uri()}?immutable=1&mode=ro"
        for _ in range(MOST_LOOKS):
            try:
                with closing(sqlite3.connect(address, uri=True, factory=Connection)) as connection:
                    if not self.damage(partial(self.execute, connection)):
                        return True
            except sqlite3.Error:
                continue
        return False

    @override
    def damage(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> list[str]:
        """What integrity_check and foreign_key_check find."""
        found = [row[0] for row in execute("PRAGMA integrity_check") if row[0] != "ok"]
        return found + [
            f"foreign key of {row[0]} row {row[1]}" for row in execute("PRAGMA foreign_key_check")
        ]

    @override
    def layout(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> dict[str, str]:
        """Tables, too: the file has the words that made each thing."""
        return {f"{kind} {name}": str(text) for kind, name, text in execute(MADE)}

    @override
    def layout_made_by(self, statements: Sequence[str]) -> dict[str, str]:
        with closing(sqlite3.connect(":memory:")) as connection:
            add_function(connection)
            for statement in (MIGRATION_LOG, *statements):
                connection.execute(statement)
            return self.layout(lambda asked: connection.execute(asked).fetchall())

    def copy_to(
        self, connection: Connection, path: Path, between_steps: Callable[[], None] = lambda: None
    ) -> None:
        """A whole copy as a file by SQLite's backup interface, in short steps, while others go on working.

        SQLite begins anew when somebody wrote between two steps. Where that happened again and again, whoever
        writes waits for one copy in one go, for a part of the time that they are patient for. Raises
        CopyDisturbed where that is not enough. https://www.sqlite.org/c3ref/backup_finish.html
        """
        try:
            self._copy_beside(connection, path, between_steps)
        except CopyDisturbed:
            self._copy_while_writers_wait(connection, path)

    def _copy_while_writers_wait(self, connection: Connection, path: Path) -> None:
        """A copy under a reader's lock, which in rollback-journal mode keeps writers from committing."""
        until = time.monotonic() + LONGEST_HELD_SECONDS

        def step(*_: int) -> None:
            if time.monotonic() > until:
                raise CopyDisturbed(path=str(self.path), times=MOST_BEGUN_ANEW, seconds=LONGEST_HELD_SECONDS)

        with closing(sqlite3.connect(path)) as target:
            target.execute("PRAGMA synchronous=OFF")
            connection.execute("BEGIN")
            try:
                connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
                connection.backup(target, pages=PAGES_A_STEP, progress=step)
            finally:
                connection.execute("ROLLBACK")

    def _copy_beside(self, connection: Connection, path: Path, between_steps: Callable[[], None]) -> None:
        begun_anew, left = 0, sys.maxsize

        def step(_: int, remaining: int, __: int) -> None:
            nonlocal begun_anew, left
            begun_anew += remaining >= left
            left = remaining
            if begun_anew > MOST_BEGUN_ANEW:
                raise CopyDisturbed(path=str(self.path), times=begun_anew, seconds=LONGEST_HELD_SECONDS)
            between_steps()

        target = sqlite3.connect(path)
        try:
            target.execute("PRAGMA synchronous=OFF")  # a copy that a crash leaves half done is thrown away
            connection.backup(target, pages=PAGES_A_STEP, progress=step, sleep=WAIT_FOR_WRITER_SECONDS)
        finally:
            target.close()

    # Texts

    @override
    def statements(self, migration: Migration) -> tuple[str, ...]:
        return migration.statements

    @override
    def key_of(self, table: Covered) -> str:
        return table.key_of()

    @override
    def digest_of(self, table: Covered) -> str:
        return table.digest_of()


def _named(error: BaseException, path: str, busy_seconds: float) -> StoreError:
    why = str(error)
    name = str(attribute_in_chain(error, "sqlite_errorname") or "")
    folder = path.rpartition("/")[0] or "."
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return DatabaseLocked(seconds=round(busy_seconds))
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return FolderNotWritable(folder=str(folder))
    if name.startswith("SQLITE_FULL"):
        return DiskFull()
    if name.startswith("SQLITE_IOERR"):
        return DiskFailed(why=name)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return DatabaseDamaged(path=path, why=name)
    if name == "SQLITE_CONSTRAINT_TRIGGER":
        return KeptForever(why=why)
    if name.startswith("SQLITE_CONSTRAINT"):
        return Conflict(why=why)
    return StoreFailed(why=why)
