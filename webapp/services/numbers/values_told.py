"""What the ledger says of values of the usual beside the sign-offs that kept them: what leads left out or
took in, seatings that were begun back, and a digest of the rows of each table that was taken in.

Rule: what was done to a value later can be undone in thought, so that a table's rows as they were then can be
held against the digest that the ledger has.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.shop.seatings import Start, present, seating_then
from webapp.services.evidence.ledger import entries, said_by

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow

SEATING, LEFT_OUT, TAKEN_IN = "seating.started", "value.left_out", "value.taken_in"


@dataclass(frozen=True, slots=True)
class Move:
    """A seating that was begun back: from this place of the ledger on, values of its fixture since then that
    lay in the seating before lie in it.
    """

    position: int
    fixture: str
    seating: str
    before: str
    since_utc: str


@dataclass(frozen=True, slots=True)
class Word:
    """What a lead said of one value: the reason that it is left out for, None for one taken in, and what the
    reason was before, None where an early entry does not say.
    """

    position: int
    reason: str | None
    before: str | None
    tells_before: bool = True


@dataclass(slots=True)
class Words:
    """What leads did to values, in the order of the ledger, and the seatings of each fixture with the place
    of the entry that told of each. It goes on from where it was, however far the ledger grew.
    """

    moves: list[Move] = field(default_factory=list)
    of_values: dict[tuple[str, str], list[Word]] = field(default_factory=dict)
    starts: dict[str, list[tuple[int, Start]]] = field(default_factory=dict)
    read_to: int = -1

    def read(self, store: Store) -> None:
        """Take in what the ledger says since. Inside a transaction."""
        for entry in entries(store, (SEATING, LEFT_OUT, TAKEN_IN), self.read_to):
            data, self.read_to = said_by(entry["text"]), entry["position"]
            if entry["type"] == SEATING:
                self._start(entry, data, store)
            else:
                self._say(entry, data)

    def _start(self, entry: ChangeRow, data: Mapping[str, object], store: Store) -> None:
        fixture, position = entry["subject"], entry["position"]
        start = told_start(store, fixture, data)
        if start.begun_back:
            before = present([one for _, one in self.starts.get(fixture, ())])
            self.moves.append(Move(position, fixture, start.seating, before, start.since_utc))
        self.starts.setdefault(fixture, []).append((position, start))
        for one in texts(data.get("let_in")):
            setup, _, axis = one.rpartition(" ")
            self.of_values.setdefault((setup, axis), []).append(Word(position, None, STAYED_OUT))

    def _say(self, entry: ChangeRow, data: Mapping[str, object]) -> None:
        reason = str(data.get("reason")) if entry["type"] == LEFT_OUT else None
        before = data.get("before")
        word = Word(entry["position"], reason, None if before is None else str(before), "before" in data)
        self.of_values.setdefault((entry["subject"], str(data.get("axis"))), []).append(word)

    def seating(self, fixture: str, seating: str, at_utc: str, position: int) -> str:
        """Where a value lies now that lay in this seating at this place of the ledger."""
        for move in self.moves:
            if move.position > position and (move.fixture, move.before) == (fixture, seating):
                seating = move.seating if at_utc >= move.since_utc else seating
        return seating

    def seating_then(self, fixture: str, named: str, started_at_utc: str, position: int) -> str:
        """The seating that a sign-off at this place keeps the values of a setup in whose sheet named one."""
        starts = [start for place, start in self.starts.get(fixture, ()) if place < position]
        return seating_then(starts, named, started_at_utc)

    def undone(self, fixture: str, seating: str, position: int) -> str:
        """Where a value lay at this place of the ledger that lies in this seating now."""
        for move in reversed(self.moves):
            if move.position > position and (move.fixture, move.seating) == (fixture, seating):
                seating = move.before
        return seating


def words(store: Store) -> Words:
    """What the ledger says of values beside sign-offs and tables. Inside a transaction."""
    found = Words()
    found.read(store)
    return found


def told_start(store: Store, fixture: str, data: Mapping[str, object]) -> Start:
    """A seating as its entry tells of it. When one begins that an early entry leaves out is read in its row,
    empty where that is gone. Inside a transaction.
    """
    seating, since = str(data.get("seating")), data.get("since_utc")
    back = data.get("from_setup") is not None or "begun_back" in data
    if since is None:
        rows = (row["since_utc"] for row in store.shop.seatings(fixture) if row["id"] == seating)
        return Start(seating, next(rows, ""), back, by_turn=True)
    return Start(seating, str(since), back)


def texts(value: object) -> list[str]:
    """The texts of a list; none of anything else."""
    return [one for one in value if isinstance(one, str)] if isinstance(value, list) else []


def digest_of_table(store: Store, number: int, said: Words | None = None, position: int = 0) -> str | None:
    """SHA-256 (hex) over the rows of a table that was taken in, as they were at this place of the ledger.

    None where an early entry does not say what it was before. Inside a transaction.
    """
    digest, said = sha256(), said or Words()
    for row in store.numbers.imported_rows(number):
        setup, axis, fixture, seating, *rest, reason = row
        later = said.of_values.get((setup, axis), ())
        if later:
            if not later[0].tells_before:
                return None
            reason = later[0].before
        then: list[Any] = [setup, axis, fixture, said.undone(fixture, seating, position), *rest, reason]
        digest.update(json.dumps(then, separators=(",", ":"), ensure_ascii=True).encode() + b"\n")
    return digest.hexdigest()
