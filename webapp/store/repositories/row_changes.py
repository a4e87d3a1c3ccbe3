"""Notes of every change of a row, and the rows that do not fit them."""

from typing import NamedTuple

from webapp.store.covered_rows import COVERED, Covered
from webapp.store.repositories.base import Repository

MOST_FOUND = 1000
NOTES = "SELECT number, name, key, old, new FROM row_change WHERE number > ? ORDER BY number LIMIT ?"


class Note(NamedTuple):
    """One change of a row: the table's name, the key as a JSON list, digests before and after (None: no row)."""

    number: int
    name: str
    key: str
    old: str | None
    new: str | None


class RowChangesRepository(Repository):
    """Notes are made by the connections themselves (see covered_rows.py) and only read here."""

    def notes(self, after: int, most: int) -> list[Note]:
        """The notes behind this number, in order."""
        return [Note(*row) for row in self._database.raw(NOTES, (after, most))]

    def tables(self) -> tuple[str, ...]:
        """The tables of whose rows notes are made."""
        return tuple(table.name for table in COVERED)

    def changed(self, name: str) -> list[str]:
        """Keys of rows of a table that are not what was noted last of them, or were never noted; the first of many."""
        table = _named(name)
        statement = (
            f"SELECT here.key FROM (SELECT {table.key_of()} AS key, {table.digest_of()} AS found FROM {name}) AS here "  # noqa: S608
            "WHERE here.found IS NOT (SELECT noted.new FROM row_change AS noted "
            "WHERE noted.name = ? AND noted.key = here.key ORDER BY noted.number DESC LIMIT 1) LIMIT ?"
        )
        return [row[0] for row in self._database.raw(statement, (name, MOST_FOUND))]

    def gone(self, name: str) -> list[str]:
        """Keys of rows of a table that were noted and are not there any more; the first of many."""
        table = _named(name)
        here = " AND ".join(
            f"{name}.{column} = json_extract(noted.key, '$[{place}]')"
            for place, column in enumerate(table.key)
        )
        statement = (
            "SELECT key FROM (SELECT key, new, max(number) FROM row_change WHERE name = ? GROUP BY key) AS noted "  # noqa: S608
            f"WHERE new IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {name} WHERE {here}) LIMIT ?"
        )
        return [row[0] for row in self._database.raw(statement, (name, MOST_FOUND))]


def _named(name: str) -> Covered:
    return next(table for table in COVERED if table.name == name)
