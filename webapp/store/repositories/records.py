"""Sealed records: the row, and the file it names."""

from collections.abc import Iterator

from webapp.store.database import Database
from webapp.store.files import HashedFiles
from webapp.store.repositories.base import Repository
from webapp.store.rows import RecordRow
from webapp.store.tables.records import Record
from webapp.store.tables.setups import Setup

AT_A_TIME = 500


class RecordsRepository(Repository):
    """`files` may be used outside a transaction; the rows may not."""

    def __init__(self, database: Database, files: HashedFiles) -> None:
        super().__init__(database)
        self.files = files

    def record(self, setup: str) -> RecordRow | None:
        """The row of a setup's sealed record, or None."""
        return self._row(Record.select().where(Record.setup == setup))

    def all_records(self) -> Iterator[RecordRow]:
        """Every sealed record, by its setup, read in stretches."""
        after = ""
        while rows := self._rows(
            Record.select().where(Record.setup > after).order_by(Record.setup).limit(AT_A_TIME)
        ):
            yield from rows
            after = rows[-1]["setup"]

    def by_hash(self, sha256: str) -> RecordRow | None:
        """The row of the record with this hash, or None."""
        return self._row(Record.select().where(Record.sha256 == sha256))

    def count(self) -> int:
        """How many records were sealed."""
        return int(self._database.raw("SELECT count(*) FROM record")[0][0])

    def add(self, setup: str, sha256: str, size: int, sealed_at_utc: str) -> None:
        """Say which file is a setup's record. Raises Conflict if it has one."""
        self._run(Record.insert(setup=setup, sha256=sha256, bytes=size, sealed_at_utc=sealed_at_utc))
        self._run(Setup.update(sealed=True).where(Setup.id == setup))
