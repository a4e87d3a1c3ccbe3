"""What is kept: the only room where Peewee lives.

`Store.open(path)` brings the file up to date and leaves no connection open. Everything else happens inside
`with store.reading():` or `with store.writing():`, through the repositories, one a subject.
"""

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from errno import ENOSPC
from pathlib import Path
from typing import Any

from webapp.store.database import Database
from webapp.store.errors import DiskFull, FolderNotWritable, StoreError
from webapp.store.files import HashedFiles
from webapp.store.kept_head import KeptHead
from webapp.store.migrations import migrate
from webapp.store.repositories.access import AccessRepository
from webapp.store.repositories.devices import DevicesRepository
from webapp.store.repositories.ledger import LedgerRepository
from webapp.store.repositories.numbers import NumbersRepository
from webapp.store.repositories.people import PeopleRepository
from webapp.store.repositories.records import RecordsRepository
from webapp.store.repositories.row_changes import RowChangesRepository
from webapp.store.repositories.setups import SetupsRepository
from webapp.store.repositories.shop import ShopRepository
from webapp.store.repositories.worries import WorriesRepository

__all__ = ["Store", "StoreError"]

COPY_PREFIX = "looked-at-"


class Store:
    """One shop's data: an SQLite file, and beside it a folder of sealed records."""

    def __init__(self, path: Path) -> None:
        self._database = Database(path)
        self.people = PeopleRepository(self._database)
        self.shop = ShopRepository(self._database)
        self.setups = SetupsRepository(self._database)
        self.worries = WorriesRepository(self._database)
        self.devices = DevicesRepository(self._database)
        self.access = AccessRepository(self._database)
        self.ledger = LedgerRepository(self._database)
        self.row_changes = RowChangesRepository(self._database)
        self.numbers = NumbersRepository(self._database)
        self.kept_head = KeptHead(path.parent)
        self.incoming = HashedFiles(path.parent / "incoming")
        self.records = RecordsRepository(self._database, HashedFiles(path.parent / "records"))

    @classmethod
    def open(cls, path: Path) -> "Store":
        """The store in this file, made or brought up to date;
        no connection stays open, so a server may fork now.

        Raises a StoreError that says what to do:
        FolderNotWritable, WriteAheadLogRefused, MadeByAnotherVersion …
        """
        store = cls(path)
        _for_its_owner(path)
        try:
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

    def settings(self) -> dict[str, Any]:
        """What this thread's connection says about each setting that is asserted."""
        return self._database.settings()

    def copy_to(self, path: Path, between_steps: Callable[[], None] = lambda: None) -> None:
        """A whole copy of the database file, made in short steps while others go on working.
        Raises CopyDisturbed.
        """
        self._database.copy_to(path, between_steps)

    @contextmanager
    def copied(self) -> Iterator["Store"]:
        """A store on a whole copy of the file beside this one, which goes when the block ends.

        For what reads for long: in rollback-journal mode a long look at the file itself keeps everybody from
        writing. Sealed files are not copied; the copy reads them where they lie.
        """
        folder = self._database.path.parent
        for left in folder.glob(f"{COPY_PREFIX}*.db"):
            if not _is_alive(left.name.removeprefix(COPY_PREFIX).partition("-")[0]):
                left.unlink(missing_ok=True)
        handle, name = tempfile.mkstemp(prefix=f"{COPY_PREFIX}{os.getpid()}-", suffix=".db", dir=folder)
        os.close(handle)
        copy = Store(Path(name))
        try:
            self.copy_to(Path(name))
            yield copy
        finally:
            copy.close()
            Path(name).unlink(missing_ok=True)

    def damage(self) -> list[str]:
        """What SQLite's own checks find wrong; nothing in a whole file. Needs a transaction around it."""
        return self._database.damage()

    def close(self) -> None:
        """Close this thread's connection; the next use opens another."""
        self._database.close()


def _for_its_owner(path: Path) -> None:
    """Make the file, or close it, so that the server's own account alone reads it;
    SQLite's journal takes after it.
    """
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        if path.stat().st_mode & 0o077:
            path.chmod(0o600)
    except OSError as error:
        if error.errno == ENOSPC:
            raise DiskFull from error
        raise FolderNotWritable(folder=path.parent) from error


def _is_alive(process: str) -> bool:
    """Whether a process of this number runs; the copies of one that was killed are nobody's."""
    try:
        os.kill(int(process), 0)
    except PermissionError:
        return True
    except (ValueError, OSError):
        return False
    return True
