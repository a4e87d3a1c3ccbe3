"""What is kept: the only room where Peewee lives.

`Store.open(address)` brings it up to date and leaves no connection open. Everything else happens inside
`with store.reading():` or `with store.writing():`, through the repositories, one a subject.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from pathlib import Path
from typing import Any

from webapp.store.database import Database
from webapp.store.engines.opening import Address, engine_at
from webapp.store.errors import StoreError
from webapp.store.files import HashedFiles
from webapp.store.kept_head import KeptHead
from webapp.store.migrations import changed_layout, copy_before, migrate
from webapp.store.moving import carry
from webapp.store.repositories.access import AccessRepository
from webapp.store.repositories.devices import DevicesRepository
from webapp.store.repositories.events import EventsRepository
from webapp.store.repositories.found import FoundRepository
from webapp.store.repositories.kept_values import KeptValuesRepository
from webapp.store.repositories.ledger import LedgerRepository
from webapp.store.repositories.numbers import NumbersRepository
from webapp.store.repositories.old_sheets import OldSheetsRepository
from webapp.store.repositories.people import PeopleRepository
from webapp.store.repositories.records import RecordsRepository
from webapp.store.repositories.row_changes import RowChangesRepository
from webapp.store.repositories.setups import SetupsRepository
from webapp.store.repositories.sheets import SheetsRepository
from webapp.store.repositories.shop import ShopRepository
from webapp.store.repositories.worries import WorriesRepository
from webapp.store.short_keys import ShortKeys

__all__ = ["Store", "StoreError"]


# What lies beside the database, each file under the hash of what is in it.
FOLDERS = ("records", "photos", "step-pictures")


class Store:
    """One shop's data: an SQLite file or a PostgreSQL database, and beside it a folder of sealed records
    and one of pictures.
    """

    def __init__(self, address: Address, files: Path | None = None) -> None:
        """`files` is the folder beside it, a database file's own by default."""
        folder = files or Path(address).parent
        self._address, self._folder = address, folder
        self._database = Database(address)
        self.people = PeopleRepository(self._database)
        self.shop = ShopRepository(self._database)
        self.sheets = SheetsRepository(self._database)
        self.events = EventsRepository(self._database)
        self.setups = SetupsRepository(self._database)
        self.kept = KeptValuesRepository(self._database)
        self.found = FoundRepository(self._database)
        self.old_sheets = OldSheetsRepository(self._database)
        self.worries = WorriesRepository(self._database)
        self.devices = DevicesRepository(self._database)
        self.access = AccessRepository(self._database)
        self.ledger = LedgerRepository(self._database)
        self.row_changes = RowChangesRepository(self._database)
        self.numbers = NumbersRepository(self._database)
        self.kept_head = KeptHead(folder)
        self.incoming = HashedFiles(folder / "incoming")
        self.short_keys = ShortKeys(folder / "short-keys")
        self.records = RecordsRepository(self._database, HashedFiles(folder / "records"))
        self.photos = HashedFiles(folder / "photos")
        self.step_pictures = HashedFiles(folder / "step-pictures")

    @staticmethod
    def is_at(address: Address) -> bool:
        """Whether a store was ever made at this address; makes nothing. Raises DatabaseNotReached."""
        return address.exists() if isinstance(address, Path) else engine_at(address).exists()

    @classmethod
    def open(cls, address: Address, files: Path | None = None) -> "Store":
        """The store at this address, made or brought up to date; no connection stays open, so a server may
        fork now.

        Raises a StoreError that says what to do: FolderNotWritable, WriteAheadLogRefused,
        MadeByAnotherVersion …
        """
        store = cls(address, files)
        store._database.engine.prepare()
        try:
            if isinstance(address, Path):
                copy_before(store._database, address)
            migrate(store._database)
        finally:
            store.close()
        return store

    def reading(self) -> AbstractContextManager[None]:
        """One unchanging view for as long as the block lasts."""
        return self._database.reading()

    def writing(self) -> AbstractContextManager[None]:
        """All or nothing, one writer at a time; keep the block short.
        Raises DatabaseLocked after 10 s of waiting.
        """
        return self._database.writing()

    def altering(self) -> AbstractContextManager[None]:
        """While this lasts, no change is noted: for steps and for what carries whole shops over."""
        return self._database.altering()

    @property
    def is_writing(self) -> bool:
        """Whether this thread is inside a transaction that writes, and that may yet be taken back."""
        return self._database.is_writing

    def ask(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Rows of a statement of this room's own (see moving.py). Needs a transaction around it."""
        return self._database.raw(statement, values)

    def put_rows(self, statement: str, rows: list[tuple[Any, ...]]) -> None:
        """Run a statement of this room's own for many rows. Needs a transaction that writes around it."""
        self._database.run_many(statement, rows)

    def columns(self, table: str) -> list[str]:
        """The names of a table's columns, as the database has them."""
        return self._database.engine.columns(self._database.raw, table)

    @property
    def where(self) -> str:
        """Which database this is, to be said to people: no secret is in it."""
        return self._database.engine.where

    def settings(self) -> dict[str, Any]:
        """What this thread's connection says about each setting that is asserted."""
        return self._database.settings()

    def copy_to(self, path: Path, between_steps: Callable[[], None] = lambda: None) -> None:
        """A whole copy as a database file, while others go on working. Raises CopyDisturbed, NotTheSame."""
        if isinstance(self._address, Path):
            self._database.copy_to(path, between_steps)
            return
        with closing(Store.open(path, self._folder)) as copy:
            carry(self, copy, alone=False)

    def is_first(self) -> bool:
        """Whether this process looks after what no request asks for: true for one of all of them.

        It is so until this thread closes its connection; asked again it stays so.
        """
        return self._database.is_first()

    def damage(self) -> list[str]:
        """What the database's own checks find wrong; nothing in a whole one. Nobody waits for them while they
        find nothing. Outside any transaction, or inside one.
        """
        return self._database.damage()

    def changed_layout(self) -> list[str]:
        """Triggers, indexes and tables that are not as this program made them. Inside a transaction."""
        return changed_layout(self._database)

    def close(self) -> None:
        """Close this thread's connection; the next use opens another."""
        self._database.close()
