"""Walking along the ledger: leaves, texts and nodes of the tree in step, whatever its length.

Rules: a stretch is read in one short transaction and judged outside of it; of the tree only its right-hand
edge is kept from one stretch to the next (RFC 6962: one hash for each set bit of its size). Entries only ever
come at the end, so what lies before them is the same whenever it is read.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NotRequired, TypedDict, cast

from webapp.domain.evidence import tree
from webapp.domain.plain.json_strict import canonical_text
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, EventRow, LeafRow

AUDIT_RAN = "audit.ran"
A_STRETCH = 512  # a power of two, so that most nodes end in the stretch of their leaves
MOST_BEYOND = 100
KEPT_IN_EVENT: tuple[Literal["device", "sequence", "setup", "type", "person", "sheet", "at_utc"], ...] = (
    "device",
    "sequence",
    "setup",
    "type",
    "person",
    "sheet",
    "at_utc",
)
KEPT_IN_CHANGE: tuple[Literal["type", "by", "subject", "setup", "at_utc"], ...] = (
    "type", "by", "subject", "setup", "at_utc",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """A record that is not what it was: a code of the words catalogue, and which record."""

    code: str
    record: str


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is stored of the entries `first` up to, not including, `before`;
    `nodes` are those that end here.
    """

    first: int
    before: int
    leaves: list[LeafRow]
    events: list[EventRow]
    changes: list[ChangeRow]
    nodes: dict[tree.Position, bytes]


@dataclass(slots=True)
class Walk:
    """Where a walk is. `edge` is the tree's right-hand edge over the leaves so far,
    None once a leaf was missing.
    """

    store: Store
    place: int = 0
    edge: dict[tree.Position, bytes] | None = field(default_factory=dict)
    keys: dict[str, DeviceKey] = field(default_factory=dict)

    def stretches(self, until: int) -> Iterator[Stretch]:
        """What is stored from here on before `until`, a stretch at a time;
        places with nothing at all are passed.
        """
        while (found := self._next(until)) is not None:
            yield found
            self.place = found.before

    def _next(self, until: int) -> Stretch | None:
        with self.store.reading():
            first = self.store.ledger.next_place(self.place)
            if first is None or first >= until:
                return None
            before = min((first // A_STRETCH + 1) * A_STRETCH, until)
            ledger = self.store.ledger
            return Stretch(
                first,
                before,
                ledger.leaves_between(first, before),
                self.store.events.events_between(first, before),
                ledger.changes_between(first, before),
                ledger.nodes_between(first, before),
            )

    def faults(self, stretch: Stretch) -> Iterator[Fault]:
        """What does not fit in the stretch that was read last."""
        yield from self._events(stretch.events)
        yield from self._changes(stretch.changes)
        yield from self._leaves(stretch)

    def faults_at_end(self) -> Iterator[Fault]:
        """Nodes that no tree of this size has, and the root."""
        if self.edge is None:
            return
        with self.store.reading():
            beyond = self.store.ledger.nodes_beyond(self.place, MOST_BEYOND)
            root = _root(self.store, self.place)
        yield from (_node(position) for position in beyond)
        if root != tree.root_at(self.place, self.edge):
            yield _wrong_root(self.place)

    def root(self) -> bytes | None:
        """The root over all leaves so far as it was worked out; None once a leaf was missing."""
        return None if self.edge is None else tree.root_at(self.place, self.edge)

    def _events(self, rows: Sequence[EventRow]) -> Iterator[Fault]:
        previous = [(row, self._verified_previous(row)) for row in rows]
        wanted = {found for _, (_, found) in previous if found is not None}
        with self.store.reading():
            places = {id_: row["position"] for id_, row in self.store.events.events_by_id(wanted).items()}
            aside = self.store.events.signed_and_set_aside(wanted - places.keys())
        for row, (faults, before) in previous:
            yield from faults
            is_there = (
                before is None or before in aside or places.get(before, row["position"]) < row["position"]
            )
            if not is_there:
                yield Fault("audit.event_chain", _event(row))

    def _verified_previous(self, row: EventRow) -> tuple[list[Fault], str | None]:
        """What does not fit in an event by itself, and the event that it says it follows."""
        try:
            verified = self._key(row["device"]).verify(row["jws"])
            payload = json.loads(verified.payload_bytes)
        except (JwsRefused, ValueError, LookupError, TypeError, AttributeError):
            return [Fault("audit.event_signature", _event(row))], None
        faults = []
        if verified.event_id != row["id"]:
            faults.append(Fault("audit.event_id", _event(row)))
        if any(payload[name] != row[name] for name in KEPT_IN_EVENT):
            faults.append(Fault("audit.event_row", _event(row)))
        return faults, payload["previous"]

    def _key(self, device_id: str) -> DeviceKey:
        if device_id not in self.keys:
            with self.store.reading():
                device = self.store.devices.device(device_id)
            self.keys[device_id] = DeviceKey.from_jwk(device["jwk"] if device else {})
        return self.keys[device_id]

    def _changes(self, rows: Sequence[ChangeRow]) -> Iterator[Fault]:
        for row in rows:
            value = _value_of(row)
            if value is None:
                yield Fault("audit.change_row", f"change {row['type']} at {row['position']}")
            elif row["type"] == AUDIT_RAN:
                yield from self._earlier_root(row["position"], value.get("data"))

    def _earlier_root(self, position: int, said: object) -> Iterator[Fault]:
        """An earlier audit wrote down the root that it found; the tree of that size still has to have it."""
        if not isinstance(said, dict) or not said.get("root"):
            return
        size = said.get("entries")
        with self.store.reading():
            root = _root(self.store, size) if isinstance(size, int) and 0 <= size <= position else None
        if root is None or root.hex() != said["root"]:
            yield Fault("audit.root", f"root of {size} leaves, as written at {position}")

    def _leaves(self, stretch: Stretch) -> Iterator[Fault]:
        """Leaves against the texts, nodes against the leaves."""
        texts = {row["position"]: ("event", row["jws"]) for row in stretch.events}
        texts |= {row["position"]: ("change", row["text"]) for row in stretch.changes}
        hashes = {row["position"]: bytes(row["hash"]) for row in stretch.leaves}
        if stretch.first > self.place:
            yield self._missing(f"leaf at {self.place}")
        for row in stretch.leaves:
            kind, text = texts.get(row["position"], ("", ""))
            if not kind:
                yield Fault("audit.entry_missing", f"leaf at {row['position']}")
            elif kind != row["kind"] or leaf_of(text) != hashes[row["position"]]:
                yield Fault("audit.leaf", f"leaf at {row['position']}")
        for place in range(stretch.first, stretch.before):
            if place not in hashes:
                yield self._missing(f"{texts.get(place, ('leaf', ''))[0]} at {place}")
        yield from self._grow(stretch, hashes)

    def _missing(self, record: str) -> Fault:
        self.edge = None
        return Fault("audit.leaf_missing", record)

    def _grow(self, stretch: Stretch, hashes: dict[int, bytes]) -> Iterator[Fault]:
        if self.edge is None:
            return
        growth = tree.append(stretch.first, self.edge, [hashes[place] for place in sorted(hashes)])
        made = {(node.level, node.index): node.hash for node in growth.new_nodes}
        right = {position: hash_ for position, hash_ in made.items() if position[0]}
        for position in sorted(right.keys() | stretch.nodes.keys()):
            if right.get(position) != stretch.nodes.get(position):
                yield _node(position)
        known = self.edge | made
        self.edge = {position: known[position] for position in tree.frontier(growth.size)}


def leaf_of(text: str) -> bytes:
    """The leaf that an entry of this text has."""
    return tree.leaf_hash(text.encode("utf-8", "surrogatepass"))


class _WrittenChange(TypedDict):
    """What the text of a change says; an altered one may say less."""

    data: NotRequired[object]


def _value_of(row: ChangeRow) -> _WrittenChange | None:
    """What the text of a change says, None where it is not what is kept beside it."""
    try:
        value = json.loads(row["text"])
        fits = canonical_text(value) == row["text"] and all(
            value[name] == row[name] for name in KEPT_IN_CHANGE
        )
    except (ValueError, KeyError, TypeError):
        return None
    return cast("_WrittenChange", value) if fits else None


def _root(store: Store, size: int) -> bytes | None:
    try:
        return store.ledger.root(size)
    except tree.TreeError:
        return None


def _event(row: EventRow) -> str:
    return f"event {row['id']} at {row['position']}"


def _node(position: tree.Position) -> Fault:
    return Fault("audit.node", f"node {position[1]} of level {position[0]}")


def _wrong_root(size: int) -> Fault:
    return Fault("audit.root", f"root of {size} leaves")
