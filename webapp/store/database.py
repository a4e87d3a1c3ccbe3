"""One database, many threads, one writer.

Rules:
- every statement runs inside a transaction: reading is one unchanging view, writing is all or nothing and
  alone;
- one writer at a time: threads of a process queue on a lock, processes on the database's own;
- a connection belongs to one thread of one process. None is open when the store has just been opened, so that
  a server may fork afterwards; using a connection on the other side of a fork is refused;
- a connection that broke is closed, so that the next use opens another;
- which database it is, and what its words and its errors are, stands in its engine (`engines`).
"""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from webapp.store.engines.engine import BUSY_SECONDS, Engine
from webapp.store.engines.opening import Address, engine_at
from webapp.store.engines.sqlite import SqliteEngine
from webapp.store.errors import (
    AlreadyWriting,
    DatabaseLocked,
    OpenedBeforeFork,
    OutsideTransaction,
)


class Database:
    """The transactions and the lock. Everything else in this room goes through it."""

    def __init__(self, address: Address) -> None:
        self.engine: Engine = engine_at(address)
        self._connections = self.engine.connections
        self._writer = threading.Lock()
        self._process = os.getpid()
        self._here = threading.local()
        self._alters = False

    @property
    def these(self) -> str:
        """SQL for rows of one column `value`: the texts of a JSON list that is given as one value."""
        return self.engine.these

    @contextmanager
    def reading(self) -> Iterator[None]:
        """One unchanging view of the data. Inside another transaction: that one's view."""
        if self._depth:
            yield
            return
        with self._named(), self._transaction(self.engine.begin_reading, writes=False):
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
            with self._named(), self._transaction(self._begin_writing, writes=True):
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

    def _begin_writing(self, connection: Any) -> None:
        self.engine.begin_writing(connection, noting=not self._alters)

    @contextmanager
    def _transaction(self, begin: Callable[[Any], None], *, writes: bool) -> Iterator[None]:
        connection = self._begun(begin)
        try:
            self._here.depth, self._here.writes = 1, writes
            yield
            self.engine.execute(connection, "COMMIT")
        except BaseException:
            self._give_up(connection)
            raise
        finally:
            self._here.depth, self._here.writes = 0, False

    def _begun(self, begin: Callable[[Any], None], *, again: bool = True) -> Any:
        """A connection with a transaction begun. One that broke since its last use is opened anew, once."""
        connection = self._connection()
        try:
            begin(connection)
        except BaseException as error:
            broke = self.engine.is_broken(connection)
            self._give_up(connection)
            if not (broke and again and isinstance(error, self.engine.driver_errors)):
                raise
            return self._begun(begin, again=False)
        return connection

    def _give_up(self, connection: Any) -> None:
        """Take back what was begun; a connection that cannot is closed, and what it had begun is gone with
        it.
        """
        if self.engine.is_broken(connection):
            self.close()
        elif self.engine.in_transaction(connection):
            self.engine.execute(connection, "ROLLBACK")

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
            self.engine.execute_many(self._connection(), statement, rows)

    def raw(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement written out in this room. Raises OutsideTransaction."""
        self._must_be_inside()
        with self._named():
            return self.engine.execute(self._connection(), statement, values)

    def settings(self) -> dict[str, Any]:
        """What this thread's connection says about each setting."""
        return self.engine.settings(self._connection())

    def copy_to(self, path: Path, between_steps: Callable[[], None] = lambda: None) -> None:
        """A whole copy of a file, while others go on working. Raises CopyDisturbed."""
        assert isinstance(self.engine, SqliteEngine)  # noqa: S101 - the store asks of no other one
        with self._named():
            self.engine.copy_to(self._connection(), path, between_steps)

    def damage(self) -> list[str]:
        """What the database's own checks find; nothing in a whole one."""
        if self.engine.is_whole():
            return []
        with self.reading():
            return self.engine.damage(self.raw)

    def is_first(self) -> bool:
        """Whether this thread stands for the one process that looks after things, until it closes."""
        with self._named():
            return self.engine.is_first(self._connection())

    def close(self) -> None:
        """Close this thread's connection. The next use opens a new one."""
        if not self._connections.is_closed():
            self._connections.close()

    def _connection(self) -> Any:
        if os.getpid() != self._process:
            if self._connections.is_closed():
                self._process = os.getpid()
            else:
                raise OpenedBeforeFork(opened=self._process, used=os.getpid())
        if self._connections.is_closed():
            with self._named():
                self._connections.connect()
        return self._connections.connection()  # type: ignore[no-untyped-call]

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

    @contextmanager
    def _named(self) -> Iterator[None]:
        """Let every error of the driver leave this block as one of the store's own."""
        try:
            yield
        except self.engine.driver_errors as error:
            raise self.engine.named(error) from error
