"""One SQLite file, many threads, one writer.

Rules:
- rollback journal (DELETE), synchronous=EXTRA: a commit that returned is on the disk,
  and so is the removal of its journal (https://www.sqlite.org/pragma.html#pragma_synchronous);
- foreign keys on, the schema not trusted, erased content overwritten (secure_delete), no memory mapping;
- all of this is set and read back on every connection,
  since the connection keeps most of it and not the file;
- write-ahead-log mode can damage a file in SQLite before 3.51.3, 3.50.7 and 3.44.6
  (https://www.sqlite.org/wal.html); a file in that mode is refused there;
- one writer at a time: threads queue on a lock, other processes on SQLite's own; a transaction that writes
  starts with BEGIN IMMEDIATE, so that it never has to be given up half-way for a lock;
- a connection belongs to one thread of one process. None is open when the store has just been opened,
  so that a server may fork afterwards; using a connection on the other side of a fork is refused.
"""

import os
import sqlite3
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import peewee

from webapp.store.covered_rows import add_function, note_changes
from webapp.store.errors import (
    AlreadyWriting,
    CopyDisturbed,
    DatabaseLocked,
    FolderNotWritable,
    OpenedBeforeFork,
    OutsideTransaction,
    SettingNotKept,
    SqliteTooOld,
    WriteAheadLogRefused,
    named_errors,
)

BUSY_SECONDS = 10.0
# A copy is made in steps of 4 MB; between two of them nobody is kept from writing.
PAGES_A_STEP = 1_000
WAIT_FOR_WRITER_SECONDS = 0.05
MOST_BEGUN_ANEW = 20
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
    """Whether this SQLite has the fix for the reset of a write-ahead log (3.51.3,
    back-ported to 3.50.7 and 3.44.6).
    """
    fixed_patch = {(3, 44): 6, (3, 50): 7}.get(version[:2])
    return version >= (3, 51, 3) or (fixed_patch is not None and version[2] >= fixed_patch)


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


class Database:
    """The file, its transactions and its lock. Everything else in this room goes through it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connections = _Connections(str(path), timeout=BUSY_SECONDS, autoconnect=False)
        self._writer = threading.Lock()
        self._process = os.getpid()
        self._here = threading.local()
        self._alters = False
        self._refuse_what_cannot_work()

    def _refuse_what_cannot_work(self) -> None:
        if sqlite3.sqlite_version_info < OLDEST_SQLITE:
            least = ".".join(map(str, OLDEST_SQLITE))
            raise SqliteTooOld(version=sqlite3.sqlite_version, least=least)
        folder = self.path.parent
        if not os.access(folder, os.W_OK | os.X_OK) or (
            self.path.exists() and not os.access(self.path, os.W_OK)
        ):
            raise FolderNotWritable(folder=folder)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """One unchanging view of the data. Inside another transaction: that one's view."""
        if self._depth:
            yield
            return
        with self._named(), self._transaction("BEGIN DEFERRED", writes=False):
            yield

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All or nothing, alone. Raises DatabaseLocked after 10 s,
        AlreadyWriting inside another transaction.
        """
        if self._depth:
            raise AlreadyWriting
        if not self._writer.acquire(timeout=BUSY_SECONDS):
            raise DatabaseLocked(seconds=round(BUSY_SECONDS))
        try:
            with self._named():
                self._note_changes()
                with self._transaction("BEGIN IMMEDIATE", writes=True):
                    yield
        finally:
            self._writer.release()

    @contextmanager
    def altering(self) -> Iterator[None]:
        """While the tables themselves change nothing is noted:
        what notes changes names columns that may come only now, and goes with a table that is made anew.
        """
        self.close()
        self._alters = True
        try:
            yield
        finally:
            self._alters = False

    def _note_changes(self) -> None:
        if self._alters:
            return
        connection = self._connection()
        if getattr(self._here, "noting", None) is not connection and note_changes(connection):
            self._here.noting = connection

    @contextmanager
    def _transaction(self, begin: str, *, writes: bool) -> Iterator[None]:
        connection = self._connection()
        connection.execute(begin)
        self._here.depth, self._here.writes = 1, writes
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        finally:
            self._here.depth, self._here.writes = 0, False

    def rows(self, query: Any) -> list[dict[str, Any]]:
        """All rows of a select, as dicts of column name and value. Raises OutsideTransaction."""
        self._must_be_inside()
        with self._named():
            return list(query.dicts().execute(self._connections))

    def run(self, query: Any) -> int:
        """Run an insert, update or delete; how many rows it touched. Raises OutsideTransaction."""
        self._must_be_inside(writing=True)
        with self._named():
            return int(self._connections.execute(query).rowcount)  # type: ignore[no-untyped-call]

    def run_many(self, statement: str, rows: list[tuple[Any, ...]]) -> None:
        """Run one prepared statement of this room for many rows: no query object and no model for each."""
        self._must_be_inside(writing=True)
        with self._named():
            self._connection().executemany(statement, rows)

    def raw(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement written out in this room. Raises OutsideTransaction."""
        self._must_be_inside()
        with self._named():
            return self._connection().execute(statement, values).fetchall()

    def settings(self) -> dict[str, Any]:
        """What this thread's connection says about each setting."""
        connection = self._connection()
        return {
            name: (connection.execute(f"PRAGMA {name}").fetchone() or [None])[0] for name, _, _ in SETTINGS
        }

    def copy_to(self, path: Path, between_steps: Callable[[], None] = lambda: None) -> None:
        """A whole copy of the file by SQLite's backup interface, in short steps, while others go on working.

        SQLite begins anew when somebody wrote between two steps. Raises CopyDisturbed when that happened
        again and again. https://www.sqlite.org/c3ref/backup_finish.html
        """
        begun_anew, left = 0, sys.maxsize

        def step(_: int, remaining: int, __: int) -> None:
            nonlocal begun_anew, left
            begun_anew += remaining >= left
            left = remaining
            if begun_anew > MOST_BEGUN_ANEW:
                raise CopyDisturbed(path=self.path, times=begun_anew)
            between_steps()

        with self._named():
            target = sqlite3.connect(path)
            try:
                target.execute(
                    "PRAGMA synchronous=OFF"
                )  # a copy that a crash leaves half done is thrown away
                self._connection().backup(
                    target, pages=PAGES_A_STEP, progress=step, sleep=WAIT_FOR_WRITER_SECONDS
                )
            finally:
                target.close()

    def damage(self) -> list[str]:
        """What SQLite's own checks (integrity_check, foreign_key_check) find; nothing in a whole file."""
        found = [row[0] for row in self.raw("PRAGMA integrity_check") if row[0] != "ok"]
        return found + [
            f"foreign key of {row[0]} row {row[1]}" for row in self.raw("PRAGMA foreign_key_check")
        ]

    def close(self) -> None:
        """Close this thread's connection. The next use opens a new one."""
        self._here.noting = None
        if not self._connections.is_closed():
            self._connections.close()

    def _connection(self) -> sqlite3.Connection:
        if os.getpid() != self._process:
            if self._connections.is_closed():
                self._process = os.getpid()
            else:
                raise OpenedBeforeFork(opened=self._process, used=os.getpid())
        if self._connections.is_closed():
            with self._named():
                self._connections.connect()
        connection: sqlite3.Connection = self._connections.connection()  # type: ignore[no-untyped-call]
        return connection

    @property
    def _depth(self) -> int:
        return int(getattr(self._here, "depth", 0))

    @property
    def is_writing(self) -> bool:
        """Whether this thread is inside a transaction that writes."""
        return bool(getattr(self._here, "writes", False))

    def _must_be_inside(self, *, writing: bool = False) -> None:
        if not self._depth or (writing and not self._here.writes):
            raise OutsideTransaction

    def _named(self) -> Any:
        return named_errors(str(self.path), BUSY_SECONDS)
