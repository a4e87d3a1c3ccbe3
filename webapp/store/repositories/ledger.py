"""The ledger: an RFC 6962 tree over every event and every change on the server, growing only at its end.

Full subtrees are stored once, so an append reads and writes no more than the right-hand edge of the tree.
"""

from collections.abc import Sequence
from string import ascii_uppercase
from typing import Any, cast

from webapp.domain.evidence import tree
from webapp.store.like import escaped
from webapp.store.repositories.base import Repository
from webapp.store.rows import ChangeRow, EntryRow, LeafRow
from webapp.store.tables.ledger import Change, Leaf, Node

INSERT_LEAF = "INSERT INTO leaf (position, kind, hash) VALUES (?, ?, ?)"
INSERT_NODE = "INSERT INTO node (level, number, hash) VALUES (?, ?, ?)"
CHANGE_COLUMNS = ("position", "text", "type", "by", "subject", "setup", "at_utc")
CHANGES_OF_SETUP = (
    "SELECT position, text, type, by, subject, setup, at_utc FROM change WHERE setup = ? ORDER BY position"
)
# Said as the index says it, so that either database finds its rows by it, however many there are.
CHANGES_ABOUT_RECORD = (
    "SELECT position, text, type, by, subject, setup, at_utc FROM change "
    "WHERE type IN ('record.disposed', 'record.added_to') AND subject = ? AND type = ? ORDER BY position"
)
NEWEST_TIME = (
    "SELECT coalesce(change.at_utc, event.received_at_utc) FROM leaf "
    "LEFT JOIN change ON change.position = leaf.position LEFT JOIN event ON event.position = leaf.position "
    "ORDER BY leaf.position DESC LIMIT 1"
)
ENTRY_COLUMNS = ("position", "kind", "hash", "text", "type", "by", "subject", "setup", "at_utc")
# One row an entry, found by its place: no entry before it is read.
ENTRIES = (
    "SELECT leaf.position, leaf.kind, leaf.hash, coalesce(change.text, event.jws), coalesce(change.type, "
    "event.type), "
    "coalesce(change.by, event.person), coalesce(change.subject, event.device), coalesce(change.setup, "
    "event.setup), "
    "coalesce(change.at_utc, event.at_utc) FROM leaf "
    "LEFT JOIN change ON change.position = leaf.position LEFT JOIN event ON event.position = leaf.position "
    "WHERE leaf.position >= ? AND leaf.position < ? ORDER BY leaf.position"
)
# The newest of a stretch that something fits; what was typed in a setup is found by its words, and given
# where an event says something.
SOUGHT = ENTRIES.replace(" ORDER BY leaf.position", "{fits} ORDER BY leaf.position DESC LIMIT ?")
OF_TYPE = (
    " AND (coalesce(change.type, event.type) = ? OR coalesce(change.type, event.type) LIKE ? ESCAPE '!')"
)
WRITTEN_BY = " AND coalesce(change.by, event.person) = ?"
WITH_WORDS = (
    " AND (lower(change.text) LIKE ? ESCAPE '!' OR (event.type IN ({spoken}) AND EXISTS (SELECT 1 FROM "
    "setup_words WHERE setup_words.setup = event.setup AND setup_words.words LIKE ? ESCAPE '!')))"
)
WRITTEN_AT = (
    "SELECT coalesce(change.at_utc, event.received_at_utc) FROM leaf "
    "LEFT JOIN change ON change.position = leaf.position LEFT JOIN event ON event.position = leaf.position "
    "WHERE leaf.position = ?"
)
# The first place from here on where anything of an entry is left, whichever of its rows that may be.
NEXT_PLACE = (
    "SELECT min(place) FROM (SELECT min(position) AS place FROM leaf WHERE position >= ?1 "
    "UNION ALL SELECT min(position) FROM event WHERE position >= ?1 "
    "UNION ALL SELECT min(position) FROM change WHERE position >= ?1) AS places"
)
PLACES = (
    "SELECT max(place) FROM (SELECT coalesce(max(position) + 1, 0) AS place FROM leaf "
    "UNION ALL SELECT max(position) + 1 FROM event UNION ALL SELECT max(position) + 1 FROM change) AS places"
)
BEYOND = "SELECT level, number FROM node WHERE level = ? AND number >= ? ORDER BY number LIMIT ?"
ABOVE = "SELECT level, number FROM node WHERE level > ? ORDER BY level, number LIMIT ?"


# Words as JSON writes them, for what the server wrote; folded, for what people typed at a tablet; and the
# types of events in which people type.
Words = tuple[str, str, tuple[str, ...]]


class LedgerRepository(Repository):
    """Leaves, nodes and the texts of changes."""

    def size(self) -> int:
        """How many leaves there are."""
        return int(self._database.raw("SELECT coalesce(max(position) + 1, 0) FROM leaf")[0][0])

    def root(self, size: int | None = None) -> bytes:
        """Root of the first `size` leaves (all of them if None), 32 bytes.
        Raises TreeError beyond the end.
        """
        wanted = self.size() if size is None else size
        return tree.root_at(wanted, self._frontier(wanted))

    def append(self, kind: str, entries: Sequence[bytes]) -> int:
        """Put entries of one kind ("event" or "change") at the end;
        the position of the first, counted from 0.
        """
        start = self.size()
        growth = tree.append(start, self._frontier(start), [tree.leaf_hash(entry) for entry in entries])
        leaves = [(node.index, kind, node.hash) for node in growth.new_nodes if not node.level]
        self._database.run_many(INSERT_LEAF, leaves)
        above = [(node.level, node.index, node.hash) for node in growth.new_nodes if node.level]
        self._database.run_many(INSERT_NODE, above)
        return start

    def append_change(
        self, text: str, *, kind: str, by: str, subject: str, setup: str | None, at_utc: str
    ) -> int:
        """Put a change of one kind (its type) at the end, as the exact text given; its position."""
        position = self.append("change", [text.encode()])
        fields = {"text": text, "type": kind, "by": by, "subject": subject, "setup": setup, "at_utc": at_utc}
        self._run(Change.insert({"position": position, **fields}))
        return position

    def changes_of_setup(self, setup: str) -> list[ChangeRow]:
        """Changes about one setup, in the order of the ledger."""
        return self._changes(CHANGES_OF_SETUP, (setup,))

    def changes_about_record(self, kind: str, setup: str) -> list[ChangeRow]:
        """What came to be of a setup's sealed record, in the order of the ledger: "record.disposed" or
        "record.added_to".
        """
        return self._changes(CHANGES_ABOUT_RECORD, (setup, kind))

    def _changes(self, statement: str, values: tuple[str, ...]) -> list[ChangeRow]:
        rows = self._database.raw(statement, values)
        return [cast("ChangeRow", dict(zip(CHANGE_COLUMNS, row, strict=True))) for row in rows]

    def changes(self, *, kind: str | None = None, newest: int | None = 200) -> list[ChangeRow]:
        """The newest changes, of one type if given, newest first; all of them for None."""
        query = Change.select().order_by(Change.position.desc()).limit(newest)
        return self._rows(query.where(Change.type == kind) if kind else query)

    def newest_at_utc(self) -> str | None:
        """When the newest entry was written:
        a change's time, or when an event came; None for an empty ledger.
        """
        rows = self._database.raw(NEWEST_TIME)
        return str(rows[0][0]) if rows else None

    def changes_of(self, kinds: Sequence[str], after: int, most: int) -> list[ChangeRow]:
        """So many changes of some types behind a place, in the order of the ledger."""
        query = Change.select().where(Change.type.in_(list(kinds)), Change.position > after)
        return self._rows(query.order_by(Change.position).limit(most))

    def newest_about(self, subject: str, kinds: Sequence[str]) -> ChangeRow | None:
        """The newest change of some types about one subject, None where there is none."""
        found = self.changes_about(subject, kinds, 1)
        return found[0] if found else None

    def changes_about(self, subject: str, kinds: Sequence[str], newest: int) -> list[ChangeRow]:
        """So many of the newest changes of some types about one subject, newest first."""
        mine = Change.select().where(Change.type.in_(list(kinds)), Change.subject == subject)
        found: list[ChangeRow] = self._rows(mine.order_by(Change.position.desc()).limit(newest))
        return found

    def entries(self, first: int, before: int) -> list[EntryRow]:
        """Entries from `first` up to, not including, `before`, in order:
        leaf, exact text, and what lists show.
        """
        rows = self._database.raw(ENTRIES, (first, before))
        return [cast("EntryRow", dict(zip(ENTRY_COLUMNS, row, strict=True))) for row in rows]

    def sought(
        self, first: int, before: int, most: int, *, type_: str = "", by: str = "", words: Words | None = None
    ) -> list[EntryRow]:
        """The newest entries from `first` up to, not including, `before` that all of this fits, the newest
        first. `type_` is a type or its beginning with a point behind it, such as "slot.".
        """
        fits, values = "", list[Any]()
        if type_:
            beginning = escaped(type_.removesuffix(".")) + ".%"
            fits, values = fits + OF_TYPE, [*values, type_, beginning]
        if by:
            fits, values = fits + WRITTEN_BY, [*values, by]
        if words:
            typed, folded, spoken = words
            fits += WITH_WORDS.replace("{spoken}", ", ".join("?" * len(spoken)))
            values = [*values, f"%{escaped(_lower(typed))}%", *spoken, f"%{escaped(folded)}%"]
        rows = self._database.raw(SOUGHT.replace("{fits}", fits), (first, before, *values, most))
        return [cast("EntryRow", dict(zip(ENTRY_COLUMNS, row, strict=True))) for row in rows]

    def written_at(self, position: int) -> str | None:
        """When the entry at this place was written, as `newest_at_utc` says it; None for no entry."""
        rows = self._database.raw(WRITTEN_AT, (position,))
        return str(rows[0][0]) if rows and rows[0][0] is not None else None

    def next_place(self, start: int) -> int | None:
        """The first place from `start` on with a leaf, an event or a change; None where nothing follows."""
        found = self._database.raw(NEXT_PLACE, (start,))[0][0]
        return None if found is None else int(found)

    def places(self) -> int:
        """How many places the ledger has, counted by whatever reaches furthest: its size in a whole store."""
        return int(self._database.raw(PLACES)[0][0])

    def leaves_between(self, first: int, before: int) -> list[LeafRow]:
        """Leaves from `first` up to, not including, `before`, in order."""
        return self._rows(_between(Leaf, first, before))

    def changes_between(self, first: int, before: int) -> list[ChangeRow]:
        """The changes at these places, in order."""
        return self._rows(_between(Change, first, before))

    def nodes_between(self, first: int, before: int) -> dict[tree.Position, bytes]:
        """Stored subtrees of level 1 and up whose last leaf is one of these, by level and index."""
        found: dict[tree.Position, bytes] = {}
        level = 1
        while first >> level < before >> level:
            here = (Node.level == level) & (Node.number >= first >> level) & (Node.number < before >> level)
            found.update(
                {
                    (row["level"], row["number"]): bytes(row["hash"])
                    for row in self._rows(Node.select().where(here))
                }
            )
            level += 1
        return found

    def nodes_beyond(self, size: int, most: int) -> list[tree.Position]:
        """The first stored subtrees that no tree of so many leaves has."""
        rows: list[tuple[int, int]] = []
        for level in range(1, size.bit_length() + 1):
            rows += self._database.raw(BEYOND, (level, size >> level, most))
        return [*rows, *self._database.raw(ABOVE, (size.bit_length(), most))][:most]

    def _frontier(self, size: int) -> dict[tree.Position, bytes]:
        return {position: found for position in tree.frontier(size) if (found := self._hash_at(*position))}

    def hash_at(self, position: tree.Position) -> bytes | None:
        """The stored hash of one full subtree, None where it is not full yet."""
        return self._hash_at(*position)

    def _hash_at(self, level: int, number: int) -> bytes | None:
        if level:
            rows = self._database.raw("SELECT hash FROM node WHERE level = ? AND number = ?", (level, number))
        else:
            rows = self._database.raw("SELECT hash FROM leaf WHERE position = ?", (number,))
        return bytes(rows[0][0]) if rows else None


def _lower(text: str) -> str:
    """The text as either database lowers it: the letters of ASCII, and no others."""
    return text.translate({ord(one): one.lower() for one in ascii_uppercase})


def _between(table: type[Leaf] | type[Change], first: int, before: int) -> object:
    return (
        table.select().where((table.position >= first) & (table.position < before)).order_by(table.position)
    )
