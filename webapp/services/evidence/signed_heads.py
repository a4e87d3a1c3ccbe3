"""Heads of the ledger that are signed, and what proves that a later one belongs to an earlier one.

Rules:
- a head is signed as a checkpoint in a note (domain/evidence/checkpoint.py, proof/ledger/signed_note.py);
- none is ever signed that does not grow from one signed before (C2SP tlog-checkpoint): the last one is kept
  apart from the database, the ledger has to have it, and the new one is kept there before it leaves. Where a
  backup was brought back, or the ledger is another one, nothing is signed until somebody says so (`zerokeep
  head --restored`);
- proofs are those of RFC 9162, as lower-case hex.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from typing_extensions import TypedDict

from webapp.domain.evidence.checkpoint import Checkpoint, CheckpointRefused, read_checkpoint
from webapp.domain.evidence.consistency import consistency_proof
from webapp.proof.ledger.signed_note import NoteSigner, NoteVerifier, read_note
from webapp.services.errors import LedgerWentBack
from webapp.services.evidence import ledger

if TYPE_CHECKING:
    from collections.abc import Iterable

    from webapp.domain.record.ledger_head import LedgerHead
    from webapp.store import Store


class HeadSince(TypedDict):
    """A signed head of now, and the proof (hex) that it grew from the first `since` entries; None: it did
    not.
    """

    note: str
    since: int
    proof: list[str] | None


class Compared(NamedTuple):
    """A head that somebody kept, the head of now, and whether the ledger has the former."""

    kept: Checkpoint
    now: LedgerHead
    holds: bool


def sign_head(store: Store, signer: NoteSigner) -> str:
    """A note of the ledger's head of now. Outside any transaction. Raises LedgerWentBack, OSError."""
    with store.reading():
        now = ledger.head(store)
    return sign_that(store, signer, now)


def sign_that(store: Store, signer: NoteSigner, head: LedgerHead) -> str:
    """A note of a head that the ledger has. Outside any transaction. Raises LedgerWentBack, OSError."""
    try:
        before = store.kept_head.read()
    except ValueError:
        raise LedgerWentBack(file=store.kept_head.path.name) from None
    with store.reading():
        grew = ledger.has_head(store, head["size"], head["root"]) and (
            before is None or ledger.has_head(store, *before)
        )
        if grew:
            store.kept_head.write(head["size"], head["root"], lambda kept: ledger.has_head(store, *kept))
    if not grew:
        raise LedgerWentBack(file=store.kept_head.path.name)
    return signer.sign(Checkpoint(signer.name, head["size"], head["root"]).text)


def head_since(store: Store, signer: NoteSigner, since: int) -> HeadSince:
    """A signed head of now and the proof from an earlier size, 0 or more. Outside any transaction.

    From no entries everything grows, with an empty proof. Raises LedgerWentBack, OSError.
    """
    note = sign_head(store, signer)
    size = read_checkpoint(read_note(note, [signer.verifier])).size
    if since > size:
        return {"note": note, "since": since, "proof": None}
    with store.reading():
        proof = consistency_proof(since, size, store.ledger.hash_at) if since else ()
    return {"note": note, "since": since, "proof": [one.hex() for one in proof]}


def read_head(note: str, keys: Iterable[NoteVerifier]) -> Checkpoint:
    """The head in a note that one of these keys signed. Raises NoteRefused, CheckpointRefused."""
    keys = tuple(keys)
    found = read_checkpoint(read_note(note, keys))
    if found.origin not in {key.name for key in keys}:
        raise CheckpointRefused
    return found


def compare(store: Store, note: str, keys: Iterable[NoteVerifier]) -> Compared:
    """Whether the ledger has the head of a note. Raises NoteRefused, CheckpointRefused."""
    kept = read_head(note, keys)
    with store.reading():
        return Compared(kept, ledger.head(store), ledger.has_head(store, kept.size, kept.root))
