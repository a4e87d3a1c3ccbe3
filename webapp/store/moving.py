"""A whole shop carried from one database to another, and held against it row by row before it counts.

Rules:
- the source takes no writer meanwhile, or is one view of it for a copy; the target is empty, and all of it is
  one transaction there: it is carried over whole or not at all;
- rows go over as they are, in the order in which they may name each other; notes of changes go over with
  their numbers and digests, and carrying makes none of its own;
- what triggers of the target made of the rows that came is replaced by what the source had;
- then every table is read on both sides, in the order of its key, and hashed: the same columns, the same
  rows. The ledger's tree is a table among them, and its root is worked out on both sides as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from typing import TYPE_CHECKING, Any, NamedTuple

from webapp.store.engines.postgresql_text import FLAGS
from webapp.store.errors import NotTheSame, TargetNotEmpty

if TYPE_CHECKING:
    from webapp.store import Store

# Each table with the columns of its key; those that name others come after them.
TABLES: dict[str, tuple[str, ...]] = {
    "leaf": ("position",),
    "node": ("level", "number"),
    "change": ("position",),
    "person": ("id",),
    "person_name": ("person",),
    "authorisation": ("number",),
    "item": ("kind", "id"),
    "slot": ("machine", "label"),
    "seating": ("id",),
    "device": ("id",),
    "code": ("hash",),
    "sheet": ("hash",),
    "sheet_part": ("hash",),
    "sheet_at_fixture": ("machine", "fixture"),
    "event": ("position",),
    "waiting": ("id",),
    "set_aside": ("id",),
    "pending_seal": ("event",),
    "setup": ("id",),
    "setup_term": ("setup", "term"),
    "setup_words": ("setup",),
    "setup_to_find": ("setup",),
    "question": ("id",),
    "worry": ("event",),
    "history_import": ("number",),
    "imported_setup": ("id",),
    "kept_value": ("setup", "axis"),
    "session": ("token_hash",),
    "throttle": ("subject",),
    "record": ("setup",),
    "axis_choice": ("fixture", "axis"),
    "probe_care": ("probe",),
    "probe_check": ("number",),
    "budget": ("machine", "fixture", "probe"),
    "z_check": ("number",),
    "row_change": ("number",),
}
# Made by triggers of the rows above, and replaced.
MADE_BY_TRIGGERS: dict[str, tuple[str, ...]] = {
    "kept_change": ("fixture", "axis", "number"),
    "sheet_named": ("sheet",),
    "sheet_version": ("subject",),
}
AT_A_TIME = 2_000


class Carried(NamedTuple):
    """How many rows went over, how many entries the ledger has, and its root (hex)."""

    rows: int
    entries: int
    root: str


def carry(source: Store, target: Store, *, alone: bool = True) -> Carried:
    """Carry everything over; `alone`: nobody writes there meanwhile, else it is a view of one moment that
    goes over.

    Raises TargetNotEmpty, NotTheSame, and then the target is as it was.
    """
    with source.writing() if alone else source.reading(), target.altering(), target.writing():
        for table in (*TABLES, *MADE_BY_TRIGGERS):
            if target.ask(f"SELECT 1 FROM {table} LIMIT 1"):  # noqa: S608
                raise TargetNotEmpty(table=table)
        for table, key in TABLES.items():
            _carry_table(source, target, table, key)
        for table, key in MADE_BY_TRIGGERS.items():
            target.ask(f"DELETE FROM {table}")  # noqa: S608
            _carry_table(source, target, table, key)
        rows = sum(_compared(source, target, *one) for one in (*TABLES.items(), *MADE_BY_TRIGGERS.items()))
        root = source.ledger.root().hex()
        if target.ledger.root().hex() != root:
            raise NotTheSame(what="the root of the ledger")
        return Carried(rows, source.ledger.size(), root)


def _carry_table(source: Store, target: Store, table: str, key: tuple[str, ...]) -> None:
    columns = columns_of(source, table)
    places = ", ".join("?" * len(columns))
    statement = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"  # noqa: S608
    flags = [place for place, name in enumerate(columns) if name in FLAGS]
    for rows in _stretches(source, table, columns, key):
        target.put_rows(statement, [_flagged(row, flags) for row in rows])


def _flagged(row: tuple[Any, ...], flags: list[int]) -> tuple[Any, ...]:
    return tuple(bool(value) if place in flags else value for place, value in enumerate(row))


def _compared(source: Store, target: Store, table: str, key: tuple[str, ...]) -> int:
    """How many rows the table has, the same on both sides. Raises NotTheSame."""
    columns = columns_of(source, table)
    if set(columns) != set(columns_of(target, table)):
        raise NotTheSame(what=f"the columns of {table}")
    (count, here), (_, there) = (_hashed(store, table, columns, key) for store in (source, target))
    if here != there:
        raise NotTheSame(what=f"the rows of {table}")
    return count


def _hashed(store: Store, table: str, columns: tuple[str, ...], key: tuple[str, ...]) -> tuple[int, str]:
    """How many rows there are, and one digest over all of them; a flag counts as a whole number on either
    side.
    """
    flags = [place for place, name in enumerate(columns) if name in FLAGS]
    so_far, count = sha256(), 0
    for rows in _stretches(store, table, columns, key):
        for row in rows:
            so_far.update(repr(_flagged(row, flags)).encode("utf-8", "surrogatepass"))
        count += len(rows)
    return count, so_far.hexdigest()


def columns_of(store: Store, table: str) -> tuple[str, ...]:
    """The names of a table's columns, in an order that is the same everywhere."""
    return tuple(sorted(store.columns(table)))


def _stretches(
    store: Store, table: str, columns: tuple[str, ...], key: tuple[str, ...]
) -> Iterator[list[tuple[Any, ...]]]:
    """All rows in the order of their key, some at a time, each found behind the last by its key."""
    select = f"SELECT {', '.join(columns)} FROM {table}"  # noqa: S608
    ordered = f"ORDER BY {', '.join(key)} LIMIT {AT_A_TIME}"
    behind = f"({', '.join(key)}) > ({', '.join('?' * len(key))})"
    places = [columns.index(one) for one in key]
    rows = store.ask(f"{select} {ordered}")
    while rows:
        yield rows
        last = tuple(rows[-1][place] for place in places)
        rows = store.ask(f"{select} WHERE {behind} {ordered}", last)
