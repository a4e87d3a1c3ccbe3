"""Heads of the ledger that somebody kept, compared with the ledger and with each other.

Rules: a head is kept as a signed note, or on paper as a number and a root, whose hexadecimal digits may
stand in groups and in capitals. Two heads are consistent when the ledger has both and proves that it grew
from the one into the other (RFC 9162 section 2.1.4); a head that the ledger does not have is the finding,
whichever it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.domain.evidence.consistency import consistency_proof
from webapp.domain.record.ledger_head import LedgerHead
from webapp.proof.ledger.signed_note import NoteVerifier
from webapp.services.errors import HeadUnreadable
from webapp.services.evidence import ledger
from webapp.services.evidence.signed_heads import read_head

if TYPE_CHECKING:
    from webapp.store import Store

LARGEST_SIZE = 10**15


@dataclass(frozen=True, slots=True)
class Kept:
    """A head that somebody kept; `signed` is the name under which it is signed, None from paper."""

    size: int
    root: str
    signed: str | None


@dataclass(frozen=True, slots=True)
class Compared:
    """The heads by size, whether the ledger has each, the ledger's own, and the proof from the least to the
    greatest.

    With one head the proof leads to the ledger's own. None where the ledger lacks one of them.
    """

    kept: tuple[Kept, ...]
    held: tuple[bool, ...]
    now: LedgerHead
    grown: ledger.Grown | None

    @property
    def holds(self) -> bool:
        """Whether the ledger has them all."""
        return all(self.held)

    @property
    def went_back(self) -> bool:
        """Whether one of them is of more entries than the ledger has."""
        return any(one.size > self.now["size"] for one in self.kept)


def read_kept(typed: str, keys: Iterable[NoteVerifier]) -> Kept:
    """A head as a signed note or as it stands on paper. Raises HeadUnreadable, NoteRefused,
    CheckpointRefused.
    """
    text = typed.replace("\r\n", "\n").strip()
    if "\u2014" in text:
        head = read_head(text + "\n", keys)
        return Kept(head.size, head.root, head.origin)
    found = re.fullmatch(r"([0-9]{1,16})[\s,;]+([0-9a-fA-F\s]+)", text, re.ASCII)
    root = "".join(found[2].split()).lower() if found else ""
    if found is None or len(root) != 64 or int(found[1]) > LARGEST_SIZE:
        raise HeadUnreadable
    return Kept(int(found[1]), root, None)


def compare(store: Store, kept: Sequence[Kept]) -> Compared:
    """One or two heads beside the ledger. Outside any transaction. Raises HeadUnreadable for none."""
    if not kept:
        raise HeadUnreadable
    in_order = tuple(sorted(kept, key=lambda one: one.size))
    with store.reading():
        now = ledger.head(store)
        held = tuple(ledger.has_head(store, one.size, one.root) for one in in_order)
        grown = _grown(store, in_order, now) if all(held) else None
    return Compared(in_order, held, now, grown)


def _grown(store: Store, kept: tuple[Kept, ...], now: LedgerHead) -> ledger.Grown | None:
    first, last = kept[0], kept[-1] if len(kept) > 1 else Kept(now["size"], now["root"], None)
    if not first.size:
        return None
    proof = consistency_proof(first.size, last.size, store.ledger.hash_at)
    return {
        "earlier": {"size": first.size, "root": first.root},
        "head": {"size": last.size, "root": last.root},
        "proof": [one.hex() for one in proof],
    }
