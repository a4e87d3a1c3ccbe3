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
from webapp.domain.plain.folding import folded
from webapp.domain.plain.zones import UTC_NAME, typed_day_begins_utc

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, EntryRow

SEALED = "record.sealed"
STRETCH = 5_000
LONGEST_WORDS = 120
# Events in which people type words of their own.
SPOKEN = ("worry.raised", "question.put", "break.explained", "step.reopened", "stop.lifted")


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


@dataclass(frozen=True)
class Sought:
    """What entries are asked for, as it was typed; what cannot be read asks for nothing. `type` is the type
    of an entry or its first word ("slot"); days are YYYY-MM-DD of the shop's time; `words` stands in what
    the server wrote, or in what was said in the setup of an event that says something.
    """

    type: str = ""
    by: str = ""
    from_day: str = ""
    to_day: str = ""
    words: str = ""


@dataclass(frozen=True)
class Found:
    """Entries that fit, the newest first; `older` is the place in front of which the next look begins (None:
    nothing is left), `looked_to` the first place that was looked at where more may fit in front of it.
    """

    size: int
    root: str
    entries: tuple[Entry, ...]
    older: int | None
    looked_to: int | None


def sought_entries(
    store: Store, sought: Sought, before: int | None, most: int, stretch: int = STRETCH
) -> Found:
    """Entries that fit in front of a place (None: the end), from one stretch of the ledger.

    The ledger has no index but its places. A day is looked up by halving, since entries follow each other in
    the server's time; where its clock was put back, an entry near midnight may stand on the other day.
    """
    with store.reading():
        size = store.ledger.size()
        zone = (store.shop.item("shop", "shop") or {}).get("time_zone", UTC_NAME)
        starts = _place(store, size, typed_day_begins_utc(sought.from_day, zone)) or 0
        ends = _place(store, size, typed_day_begins_utc(sought.to_day, zone, days_later=1))
        end = min([size, *(one for one in (before, ends) if one is not None)])
        first = max(starts, end - stretch)
        words = sought.words[:LONGEST_WORDS].strip()
        written = json.dumps(words, ensure_ascii=False)[1:-1]
        spoken = (written, folded(words), SPOKEN) if words else None
        rows = store.ledger.sought(first, end, most, type_=sought.type, by=sought.by, words=spoken)
        found = tuple(map(_entry, rows))
        root = store.ledger.root().hex()
    if len(found) == most:
        return Found(size, root, found, found[-1].position or None, None)
    return Found(size, root, found, *((first, first) if first > starts else (None, None)))


def _place(store: Store, size: int, at_utc: str | None) -> int | None:
    """The first place whose entry was written at this time or later; None for no time."""
    if at_utc is None:
        return None
    low, high = 0, size
    while low < high:
        middle = (low + high) // 2
        if (store.ledger.written_at(middle) or "") < at_utc:
            low = middle + 1
        else:
            high = middle
    return low


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
    return tuple(map(_entry, store.ledger.entries(first, before)))


def _entry(row: EntryRow) -> Entry:
    return Entry(
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
