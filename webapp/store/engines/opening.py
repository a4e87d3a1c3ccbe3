"""Which engine an address is for."""

from __future__ import annotations

from pathlib import Path

from webapp.store.engines.engine import Engine
from webapp.store.engines.sqlite import SqliteEngine

# A file's path, or a server's address as postgresql://…
Address = Path | str


def engine_at(address: Address) -> Engine:
    """The engine of the database at this address; nothing is opened yet. Raises a StoreError that says what
    to do.
    """
    if isinstance(address, Path):
        return SqliteEngine(address)
    # Who keeps a shop in a file never loads the driver of the other.
    from webapp.store.engines.postgresql import PostgresqlEngine  # noqa: PLC0415

    return PostgresqlEngine(address)
