"""What the ledger says of pictures that came: entries of their setups, found by their type."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow

KEPT, REFUSED = "photo.kept", "photo.refused"
AT_A_TIME = 500


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """A picture that was kept: its setup, the file (SHA-256, hex), and the entry that says so."""

    setup: str
    sha256: str
    entry: ChangeRow


def of_entry(row: ChangeRow) -> KeptPicture:
    """What an entry of this type says. Raises ValueError, LookupError or TypeError where it is not whole."""
    return KeptPicture(str(row["setup"]), str(json.loads(row["text"])["data"]["sha256"]), row)


def of_setup(store: Store, setup: str) -> list[KeptPicture]:
    """The pictures of one setup in the order in which they came. Inside a transaction."""
    return [of_entry(row) for row in store.ledger.changes_of_setup(setup) if row["type"] == KEPT]


def all_kept(store: Store) -> Iterator[KeptPicture]:
    """Every picture in the order of the ledger, read in stretches, each in a transaction of its own."""
    after = -1
    while True:
        with store.reading():
            rows = store.ledger.changes_of([KEPT], after, AT_A_TIME)
        yield from map(of_entry, rows)
        if len(rows) < AT_A_TIME:
            return
        after = rows[-1]["position"]
