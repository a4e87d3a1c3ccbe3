"""Reading the ledger: stretches of it, single entries, and what one of them proves.

Rules: entries are found by their place, so that a page costs the same at any size; an answer about a file
comes from the entry that names it and from that entry's way up to the root, never from a list beside the
ledger.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.domain.evidence import tree

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow

SEALED = "record.sealed"


@dataclass(frozen=True)
class Entry:
    """One entry with its exact text: what a tablet signed, or the change. `hash` is its leaf hash, in hex."""

    position: int
    kind: str
    hash: str
    text: str
    type: str
    by: str
    subject: str
    setup: str | None
    at_utc: str


@dataclass(frozen=True)
class Stretch:
    """Entries `first` up to, not including, `before` of a ledger of `size` entries with this root (hex)."""

    size: int
    root: str
    first: int
    before: int
    entries: tuple[Entry, ...]


def newest_entries(store: Store, before: int | None, most: int) -> Stretch:
    """The last `most` entries in front of `before` (None: the end)."""
    with store.reading():
        size = store.ledger.size()
        end = size if before is None else min(before, size)
        first = max(0, end - most)
        return Stretch(size, store.ledger.root().hex(), first, end, _entries(store, first, end))


def entry_at(store: Store, position: int) -> Entry | None:
    """The entry at this place, None beyond the end."""
    with store.reading():
        found = _entries(store, position, position + 1)
    return found[0] if found else None


def sealed_here(store: Store, sha256_hex: str) -> bool:
    """Whether an entry of the ledger says that this server sealed a file of this hash,
    inside the caller's transaction.

    The row of the record only tells where to look: the text of the entry has to name the hash,
    and its leaf has to lead to the root that the whole ledger has now.
    """
    record = store.records.by_hash(sha256_hex)
    if record is None:
        return False
    return any(
        change["type"] == SEALED
        and json.loads(change["text"])["data"].get("sha256") == sha256_hex
        and _leads_to_the_root(store, change)
        for change in store.ledger.changes_of_setup(record["setup"])
    )


def _leads_to_the_root(store: Store, change: ChangeRow) -> bool:
    leaf = tree.leaf_hash(change["text"].encode())
    size = store.ledger.size()
    try:
        way = tree.inclusion_proof(change["position"], size, store.ledger.hash_at)
        return tree.root_from_inclusion(leaf, change["position"], size, way) == store.ledger.root()
    except tree.TreeError:
        return False


def _entries(store: Store, first: int, before: int) -> tuple[Entry, ...]:
    return tuple(
        Entry(
            row["position"],
            row["kind"],
            bytes(row["hash"]).hex(),
            row["text"],
            row["type"],
            row["by"],
            row["subject"],
            row["setup"],
            row["at_utc"],
        )
        for row in store.ledger.entries(first, before)
    )
