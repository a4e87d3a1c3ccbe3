"""The rows beside the ledger against the notes of their changes,
and the notes against what audits wrote down.

Rules: a row that is not what was noted last of it was changed by another hand than this program's, and is
named by table and key; so is one that is gone, and one that was never noted. The notes themselves are bound
by one digest over all of them, in order, that each audit writes onto the ledger with their number: a note
that was changed, taken out or put in before such an audit gives another digest. Who holds a head of the
ledger from outside holds that digest with it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import partial
from hashlib import sha256
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

from typing_extensions import TypedDict

from webapp.domain.plain.declared import Fault as NotOfShape
from webapp.domain.plain.declared import Shape
from webapp.services.audit.unreadable import readable
from webapp.services.evidence.ledger import said_by
from webapp.services.evidence.ledger_walk import AUDIT_RAN, Fault

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.repositories.row_changes import Note, Piece

A_STRETCH = 1000
MOST_FOUND = 1000
BEGUN = sha256(b"zerokeep/notes/1").hexdigest()


class NotesSaid(TypedDict):
    """The number of the last note of a row's change, and the digest over all notes up to it."""

    number: int
    sha256: str


NOTES_SAID: Shape[NotesSaid] = Shape(NotesSaid)


class Notes(NamedTuple):
    """How many notes there are, counted by the number of the last, and the digest over all of them (hex)."""

    number: int
    sha256: str


NO_NOTES = Notes(0, BEGUN)


def changed_rows(store: Store) -> Iterator[Fault]:
    """Rows that their last note does not fit, in every table that has notes, read in pieces: each row and its
    note in one transaction, so that a change meanwhile is no fault.
    """
    for name in store.row_changes.tables():
        yield from readable(name, _changed(store, name))


def _changed(store: Store, name: str) -> Iterator[Fault]:
    notes = store.row_changes
    changed = _in_pieces(store, partial(notes.changed, name))
    yield from (Fault("audit.row_changed", f"{name} {key}") for key in islice(changed, MOST_FOUND))
    gone = _in_pieces(store, partial(notes.gone, name))
    yield from (Fault("audit.row_gone", f"{name} {key}") for key in islice(gone, MOST_FOUND))


def _in_pieces(store: Store, read: Callable[[tuple[Any, ...]], Piece]) -> Iterator[str]:
    then: tuple[Any, ...] | None = ()
    while then is not None:
        with store.reading():
            found, then = read(then)
        yield from found


def notes_until_now(store: Store, start: Notes = NO_NOTES) -> Iterator[Notes | Fault]:
    """Walk over the notes behind `start`:
    faults where an audit wrote down another digest, at last where they end.

    Each stretch is read in a short transaction.
    """
    written = _written_down(store)
    at = start
    while stretch := _stretch(store, at.number):
        for note in stretch:
            at = Notes(note.number, _added(at.sha256, note))
            if at.number in written and written.pop(at.number) != at.sha256:
                yield Fault("audit.notes", f"row_change up to {at.number}")
    yield from (
        Fault("audit.notes", f"row_change up to {number}, which is gone")
        for number in sorted(written)
        if number > start.number or (number == start.number and written[number] != start.sha256)
    )
    yield at


def _stretch(store: Store, after: int) -> list[Note]:
    with store.reading():
        return store.row_changes.notes(after, A_STRETCH)


def _added(before: str, note: Note) -> str:
    # A damaged note may hold bytes in place of a text; it has another digest and ends no audit.
    text = json.dumps([before, *note], ensure_ascii=True, separators=(",", ":"), default=repr)
    return sha256(text.encode()).hexdigest()


def _written_down(store: Store) -> dict[int, str]:
    """The digests that audits wrote onto the ledger, by the number of the last note under each."""
    with store.reading():
        texts = [row["text"] for row in store.ledger.changes(kind=AUDIT_RAN, newest=None)]
    said = [NOTES_SAID.read(said_by(text).get("notes")) for text in texts]
    return {one["number"]: one["sha256"] for one in said if not isinstance(one, NotOfShape) and one["number"]}
