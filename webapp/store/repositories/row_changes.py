"""Notes of every change of a row, and the rows that do not fit them."""

import sys
from collections.abc import Iterator
from itertools import islice
from typing import NamedTuple

from webapp.store.covered_rows import COVERED, EVENTS, Covered
from webapp.store.repositories.base import Repository

MOST_FOUND = 1000
A_STRETCH = 500
BETWEEN = "SELECT position FROM event WHERE position > ? AND position < ? ORDER BY position LIMIT ?"
NOTES = "SELECT number, name, key, old, new FROM row_change WHERE number > ? ORDER BY number LIMIT ?"


class Note(NamedTuple):
    """One change of a row: the table's name,
    the key as a JSON list, digests before and after (None: no row).
    """

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
        return (*(table.name for table in COVERED), EVENTS)

    def changed(self, name: str) -> list[str]:
        """Keys of rows of a table that are not what was noted last of them,
        or were never noted; the first of many.
        """
        if name == EVENTS:
            return list(islice(self._changed_events(), MOST_FOUND))
        table, engine = _named(name), self._database.engine
        rows = f"SELECT {engine.key_of(table)} AS key, {engine.digest_of(table)} AS found FROM {name}"  # noqa: S608
        last = (
            "SELECT noted.new FROM row_change AS noted "
            "WHERE noted.name = ? AND noted.key = here.key ORDER BY noted.number DESC LIMIT 1"
        )
        statement = (
            f"SELECT here.key FROM ({rows}) AS here WHERE coalesce(({last}), '') <> here.found LIMIT ?"  # noqa: S608
        )
        return [row[0] for row in self._database.raw(statement, (name, MOST_FOUND))]

    def gone(self, name: str) -> list[str]:
        """Keys of rows of a table that were noted and are not there any more; the first of many."""
        if name == EVENTS:
            return []  # an upload of which one is gone is another one
        table, engine = _named(name), self._database.engine
        last = "SELECT max(number) FROM row_change WHERE name = ? GROUP BY key"
        statement = (
            f"SELECT key FROM row_change WHERE number IN ({last}) "  # noqa: S608
            f"AND new IS NOT NULL AND key NOT IN (SELECT {engine.key_of(table)} FROM {name}) LIMIT ?"
        )
        return [row[0] for row in self._database.raw(statement, (name, MOST_FOUND))]

    def _changed_events(self) -> Iterator[str]:
        """Uploads that are not what was noted of them,
        and events between them that were never noted, by position.
        """
        after, number = -1, 0
        while notes := self._database.raw(self._database.engine.notes_of_events, (EVENTS, number, A_STRETCH)):
            number = notes[-1][0]
            for _, first, last, noted in notes:
                yield from self._stray(after, first)
                if self._database.raw(self._database.engine.digest_of_events, (first, last))[0][0] != noted:
                    yield f"{first} to {last}"
                after = max(after, last)
        yield from self._stray(after, sys.maxsize)

    def _stray(self, after: int, before: int) -> Iterator[str]:
        yield from (str(row[0]) for row in self._database.raw(BETWEEN, (after, before, MOST_FOUND)))


def _named(name: str) -> Covered:
    return next(table for table in COVERED if table.name == name)
