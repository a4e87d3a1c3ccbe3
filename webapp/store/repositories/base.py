"""What every repository shares:
rows are dicts as `webapp.store.rows` has them, queries go to one database.
"""

import json
from collections.abc import Collection
from typing import Any

from webapp.store.database import Database


class Repository:
    """The tables of one subject. Every method needs a transaction of the store around it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def _rows(self, query: Any) -> list[Any]:
        return self._database.rows(query)

    def _row(self, query: Any) -> Any | None:
        rows = self._database.rows(query)
        return rows[0] if rows else None

    def _run(self, query: Any) -> int:
        return self._database.run(query)

    def _among(self, statement: str, values: tuple[Any, ...]) -> list[tuple[Any, ...]]:
        """Rows of a statement with `{these}` in it: the texts of the JSON list that stands there among the
        values.
        """
        return self._database.raw(statement.format(these=self._database.these), values)

    def _found(
        self, table: str, columns: tuple[str, ...], ids: Collection[str], key: str = "id"
    ) -> dict[str, Any]:
        """Rows of these ids, by id (the first column). One statement: the ids travel as one JSON text."""
        if not ids:
            return {}
        statement = f"SELECT {', '.join(columns)} FROM {table} WHERE {key} IN ({{these}})"  # noqa: S608
        rows = self._among(statement, (json.dumps(list(ids)),))
        return {row[0]: dict(zip(columns, row, strict=True)) for row in rows}
