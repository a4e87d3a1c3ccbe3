"""Notes of every change of a row, and the rows that do not fit them."""

import json
import sys
from typing import Any, NamedTuple

from webapp.store.covered_rows import COVERED, EVENTS, Covered
from webapp.store.repositories.base import Repository

AT_A_TIME = 200
SECRETS_AT_A_TIME = 2000  # of these each piece reads all rows of the table
UPLOADS_AT_A_TIME = 20
BETWEEN = "SELECT position FROM event WHERE position > ? AND position < ? ORDER BY position LIMIT ?"
NOTES = "SELECT number, name, key, old, new FROM row_change WHERE number > ? ORDER BY number LIMIT ?"
NEWEST = (
    "SELECT newest.key, noted.new IS NOT NULL FROM (SELECT key, max(number) AS number FROM row_change "
    "WHERE name = ? AND key > ? GROUP BY key ORDER BY key LIMIT ?) AS newest "
    "JOIN row_change AS noted ON noted.number = newest.number ORDER BY newest.key"
)


class Note(NamedTuple):
    """One change of a row: the table's name,
    the key as a JSON list, digests before and after (None: no row).
    """

    number: int
    name: str
    key: str
    old: str | None
    new: str | None


class Piece(NamedTuple):
    """What a piece of a table gave, and behind what the next one begins; None at the end."""

    found: list[str]
    then: tuple[Any, ...] | None


class RowChangesRepository(Repository):
    """Notes are made by the connections themselves (see covered_rows.py) and only read here.

    Tables are read in pieces, each of which says where the next one begins, so that nobody has to wait for a
    long look: whoever asks takes a short transaction for each.
    """

    def notes(self, after: int, most: int) -> list[Note]:
        """The notes behind this number, in order."""
        return [Note(*row) for row in self._database.raw(NOTES, (after, most))]

    def tables(self) -> tuple[str, ...]:
        """The tables of whose rows notes are made."""
        return (*(table.name for table in COVERED), EVENTS)

    def rows(
        self, name: str, after: tuple[Any, ...] = ()
    ) -> tuple[list[dict[str, Any]], tuple[Any, ...] | None]:
        """Rows of a table with the columns that notes cover, by key; behind what the next piece begins."""
        table = _named(name)
        columns = (*table.key, *table.others, *table.since)
        quoted = ", ".join(f'"{column}"' for column in columns)
        behind = f"WHERE ({', '.join(table.key)}) > ({', '.join('?' * len(table.key))})" if after else ""
        statement = f"SELECT {quoted} FROM {name} {behind} ORDER BY {', '.join(table.key)} LIMIT ?"  # noqa: S608
        read = self._database.raw(statement, (*after, AT_A_TIME))
        then = read[-1][: len(table.key)] if len(read) == AT_A_TIME else None
        return [dict(zip(columns, row, strict=True)) for row in read], then

    def count(self, name: str) -> int:
        """How many rows a table has."""
        return int(self._database.raw(f"SELECT count(*) FROM {_named(name).name}")[0][0])  # noqa: S608

    def changed(self, name: str, after: tuple[Any, ...] = ()) -> Piece:
        """Keys of rows of a table that are not what was noted last of them, or were never noted."""
        if name == EVENTS:
            return self._changed_events(*after)
        table, engine = _named(name), self._database.engine
        columns, behind = ", ".join(table.key), ", ".join("?" * len(table.key))
        where = f"WHERE ({columns}) > ({behind})" if after else ""
        rows = (
            f"SELECT {columns}, {engine.key_of(table)} AS row_key, {engine.digest_of(table)} AS found "  # noqa: S608
            f"FROM {name} {where} ORDER BY {columns} LIMIT ?"
        )
        last = (
            "SELECT noted.new FROM row_change AS noted "
            "WHERE noted.name = ? AND noted.key = here.row_key ORDER BY noted.number DESC LIMIT 1"
        )
        statement = (
            f"SELECT {columns}, row_key, coalesce(({last}), '') <> found FROM ({rows}) AS here "  # noqa: S608
            f"ORDER BY {columns}"
        )
        read = self._database.raw(statement, (name, *after, AT_A_TIME))
        then = read[-1][: len(table.key)] if len(read) == AT_A_TIME else None
        return Piece([row[-2] for row in read if row[-1]], then)

    def gone(self, name: str, after: tuple[Any, ...] = ()) -> Piece:
        """Keys of rows of a table that were noted and are not there any more."""
        if name == EVENTS:
            return Piece([], None)  # an upload of which one is gone is another one
        table = _named(name)
        most = SECRETS_AT_A_TIME if table.secret else AT_A_TIME
        read = self._database.raw(NEWEST, (name, *(after or ("",)), most))
        noted = [key for key, is_there in read if is_there]
        there = self._there_by_digest(table, noted) if table.secret else self._there(table, noted)
        return Piece(
            [key for key in noted if key not in there], (read[-1][0],) if len(read) == most else None
        )

    def _there(self, table: Covered, keys: list[str]) -> set[str]:
        """Which of these keys a row has, each looked up; one that is no key of this table none has."""
        where = " AND ".join(f"{column} = ?" for column in table.key)
        statement = f"SELECT {self._database.engine.key_of(table)} FROM {table.name} WHERE {where}"  # noqa: S608
        found = (
            self._database.raw(statement, values)
            for key in keys
            if (values := _values(table, key)) is not None
        )
        return {row[0] for rows in found for row in rows}

    def _there_by_digest(self, table: Covered, keys: list[str]) -> set[str]:
        """The same where a note holds a digest of the key."""
        of_row = self._database.engine.key_of(table)
        statement = f"SELECT {of_row} FROM {table.name} WHERE {of_row} IN ({{these}})"  # noqa: S608
        return {row[0] for row in self._among(statement, (json.dumps(keys),))} if keys else set()

    def _changed_events(self, number: int = 0, after: int = -1) -> Piece:
        """Uploads that are not what was noted of them,
        and events between them that were never noted, by position.
        """
        engine, found = self._database.engine, []
        notes = self._database.raw(engine.notes_of_events, (EVENTS, number, UPLOADS_AT_A_TIME))
        for _, first, last, noted in notes:
            found += self._stray(after, first)
            if self._database.raw(engine.digest_of_events, (first, last))[0][0] != noted:
                found.append(f"{first} to {last}")
            after = max(after, last)
        if notes:
            return Piece(found, (notes[-1][0], after))
        return Piece(self._stray(after, sys.maxsize), None)

    def _stray(self, after: int, before: int) -> list[str]:
        return [str(row[0]) for row in self._database.raw(BETWEEN, (after, before, AT_A_TIME))]


def _named(name: str) -> Covered:
    return next(table for table in COVERED if table.name == name)


def _values(table: Covered, key: str) -> tuple[Any, ...] | None:
    try:
        values = json.loads(key)
    except ValueError:
        return None
    kinds = [int if column == "number" else str for column in table.key]
    fits = isinstance(values, list) and [type(value) for value in values] == kinds
    return tuple(values) if fits else None
