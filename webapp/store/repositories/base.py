"""What every repository shares: rows are plain dicts of column name and value, queries go to one database."""

from typing import Any

from webapp.store.database import Database

Row = dict[str, Any]


class Repository:
    """The tables of one subject. Every method needs a transaction of the store around it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def _rows(self, query: Any) -> list[Row]:
        return self._database.rows(query)

    def _row(self, query: Any) -> Row | None:
        rows = self._database.rows(query)
        return rows[0] if rows else None

    def _run(self, query: Any) -> int:
        return self._database.run(query)
