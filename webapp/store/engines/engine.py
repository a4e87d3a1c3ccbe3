"""What a database has to do for the store, and the text in which it is asked: one class for each.

Rules: whatever differs from one database to another stands in its engine and nowhere else: how it is
connected to and set, how a transaction begins, what its errors mean, the statements that are not the same
text in both. Statements of this room are written once, with `?` for a value and `?1` for one that stands in
them twice.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

import peewee

from webapp.store.errors import StoreError

if TYPE_CHECKING:
    from webapp.store.covered_rows import Covered
    from webapp.store.steps.step import Migration

BUSY_SECONDS = 10.0
Values = Sequence[Any]


class Engine(ABC):
    """One database. Connections are the caller's: one a thread."""

    # What the driver and Peewee raise.
    driver_errors: ClassVar[tuple[type[Exception], ...]]
    # Rows of one column `value`: the texts of a JSON list that is given as one value.
    these: ClassVar[str]
    # Notes how the events between two positions were stored, and gives the digest of them, two values each.
    note_events: ClassVar[str]
    digest_of_events: ClassVar[str]
    # Number, first and last position and digest of notes of events behind a number, so many of a table's
    # name.
    notes_of_events: ClassVar[str]

    def __init__(self, where: str, connections: peewee.Database) -> None:
        """`where` is said to people, and holds no secret."""
        self.where = where
        self.connections = connections

    # Connections and transactions

    @abstractmethod
    def begin_reading(self, connection: Any) -> None:
        """One unchanging view from the first statement on."""

    @abstractmethod
    def begin_writing(self, connection: Any, *, noting: bool) -> None:
        """Alone among writers. `noting`: have every change of a covered row noted. Raises what the driver
        raises.
        """

    @abstractmethod
    def in_transaction(self, connection: Any) -> bool:
        """Whether something is left to be rolled back."""

    @abstractmethod
    def is_broken(self, connection: Any) -> bool:
        """Whether nothing can be asked of this connection any more: the next use has to open another."""

    @abstractmethod
    def execute(self, connection: Any, statement: str, values: Values = ()) -> list[tuple[Any, ...]]:
        """Run a statement of this room; its rows, none for one that gives none."""

    @abstractmethod
    def execute_many(self, connection: Any, statement: str, rows: Sequence[Values]) -> None:
        """Run one statement for many rows."""

    @abstractmethod
    def settings(self, connection: Any) -> dict[str, Any]:
        """What a connection says about each setting that is asserted."""

    @abstractmethod
    def named(self, error: BaseException) -> StoreError:
        """The store's own error for one of the driver's."""

    @abstractmethod
    def is_first(self, connection: Any) -> bool:
        """Whether this connection, while it lasts, stands for the one process that looks after things."""

    # The whole

    @abstractmethod
    def exists(self) -> bool:
        """Whether anything was ever kept there. Makes nothing."""

    @abstractmethod
    def prepare(self) -> None:
        """What has to be done before the first connection. Raises a StoreError that says what to do."""

    @abstractmethod
    def columns(self, execute: Callable[..., list[tuple[Any, ...]]], table: str) -> list[str]:
        """The names of a table's columns."""

    @abstractmethod
    def before_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        """Make the table of steps that ran, and what steps need, inside a transaction that writes."""

    @abstractmethod
    def after_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        """What follows from the tables as they are now, inside a transaction that writes."""

    def is_whole(self) -> bool:
        """Whether the database's own checks find nothing, asked without a lock that keeps anybody waiting;
        False where that cannot be told so.
        """
        return False

    @abstractmethod
    def damage(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> list[str]:
        """What the database's own checks find wrong; nothing in a whole one."""

    @abstractmethod
    def layout(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> dict[str, str]:
        """Triggers, indexes and whatever else works by itself that is there now, and what it is, by name."""

    @abstractmethod
    def layout_made_by(self, statements: Sequence[str]) -> dict[str, str]:
        """The same as these statements, in this database's words, make it where nothing was."""

    # Texts

    @abstractmethod
    def statements(self, migration: Migration) -> tuple[str, ...]:
        """A step in this database's words."""

    @abstractmethod
    def key_of(self, table: Covered) -> str:
        """SQL for the key of a row as a JSON list, the table under its own name."""

    @abstractmethod
    def digest_of(self, table: Covered) -> str:
        """SQL for the digest of a row."""
