"""Which statements this thread's connection is asked, in either database."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from webapp.store.database import Database

Asked = list[tuple[str, Any]]


@contextmanager
def noted(database: Database) -> Iterator[Asked]:
    """Statements with their values, in order; a file tells them with their values put in, and none beside."""
    connection, asked = database._connection(), Asked()
    if isinstance(connection, sqlite3.Connection):
        connection.set_trace_callback(lambda statement: asked.append((statement, ())))
        try:
            yield asked
        finally:
            connection.set_trace_callback(None)
        return
    usual = connection.cursor_factory

    class Noting(usual):
        """The driver's cursor, which notes."""

        def execute(self, query: Any, params: Any = None, **more: Any) -> Any:
            asked.append((query.decode() if isinstance(query, bytes) else str(query), params))
            return super().execute(query, params, **more)

    connection.cursor_factory = Noting
    try:
        yield asked
    finally:
        connection.cursor_factory = usual
