"""The hash tree of the ledger, and how it grows.

Rules, from RFC 6962 section 2.1 (kept unchanged by RFC 9162 section 2.1.1):
- a leaf's hash is SHA-256 over the byte 0x00 and the entry, a node's is SHA-256 over 0x01, left and right,
  so that no entry can pass for a node;
- the root of no leaves is SHA-256 of nothing;
- n leaves split at the largest power of two smaller than n.

A subtree over 2**level leaves that starts at a multiple of 2**level never changes once it is full. Such a
subtree is named here by (level, index): it covers the leaves index * 2**level up to, not including, (index
+ 1) * 2**level. Stored once, these hashes are all that it takes to append and to read the root of any
earlier size.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

HASH_BYTES = 32
EMPTY_ROOT = sha256(b"").digest()

Position = tuple[int, int]
HashAt = Callable[[Position], bytes | None]


class TreeError(ValueError):
    """The stored hashes and the size do not fit together."""


@dataclass(frozen=True, slots=True)
class Node:
    """The hash of one full subtree: 2**level leaves, the index-th such stretch counted from 0."""

    level: int
    index: int
    hash: bytes


@dataclass(frozen=True, slots=True)
class Growth:
    """What an append brought: the full subtrees to store, the new size in leaves, the new root (32 bytes)."""

    new_nodes: tuple[Node, ...]
    size: int
    root: bytes


def leaf_hash(entry: bytes) -> bytes:
    """Hash of one entry of the ledger, 32 bytes (RFC 6962 section 2.1)."""
    return sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of two neighbouring subtrees, 32 bytes (RFC 6962 section 2.1)."""
    return sha256(b"\x01" + left + right).digest()


def frontier(size: int) -> tuple[Position, ...]:
    """Positions of the full subtrees that cover the first `size` leaves, leftmost and largest first.

    One for each set bit of `size`. Raises TreeError for a size below 0.
    """
    if size < 0:
        raise TreeError(f"A tree of {size} leaves was asked for; the size starts at 0.")
    levels = (level for level in reversed(range(size.bit_length())) if size >> level & 1)
    return tuple((level, (size >> level) - 1) for level in levels)


def root_at(size: int, stored: Mapping[Position, bytes]) -> bytes:
    """Root of the first `size` leaves from the stored full subtrees, 32 bytes.

    Works for every size up to the one stored. Raises TreeError if a subtree that is needed is missing.
    """
    return _fold([_stored_hash(stored, position) for position in frontier(size)])


def append(size: int, stored: Mapping[Position, bytes], leaf_hashes: Iterable[bytes]) -> Growth:
    """Put leaf hashes behind the first `size` leaves.

    `stored` needs to hold only the positions of `frontier(size)`. Every leaf brings its own node and, on
    average, one more (n leaves make fewer than 2 n nodes). Raises TreeError if a stored hash is missing or
    is not 32 bytes.
    """
    open_subtrees = [
        Node(level, index, _stored_hash(stored, (level, index))) for level, index in frontier(size)
    ]
    new_nodes: list[Node] = []
    for position, new_hash in enumerate(leaf_hashes, start=size):
        node = Node(0, position, _checked(new_hash, (0, position)))
        new_nodes.append(node)
        while open_subtrees and open_subtrees[-1].level == node.level:
            left = open_subtrees.pop()
            node = Node(node.level + 1, left.index // 2, node_hash(left.hash, node.hash))
            new_nodes.append(node)
        open_subtrees.append(node)
        size = position + 1
    return Growth(tuple(new_nodes), size, _fold([node.hash for node in open_subtrees]))


def inclusion_proof(index: int, size: int, hash_at: HashAt) -> tuple[bytes, ...]:
    """The hashes beside the way from leaf `index` (from 0) to the root over `size` leaves, lowest first.

    RFC 9162 section 2.1.3.1. `hash_at` gives the stored hash of a full subtree.
    Raises TreeError for an index outside the tree and for a hash that is not there.
    """
    if not 0 <= index < size:
        raise TreeError(f"The tree has {size} leaves; there is no leaf {index}.")
    return tuple(_path(index, 0, size, hash_at))


def root_from_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes]) -> bytes:
    """The root over `size` leaves to which this leaf hash and its proof lead (RFC 9162 section 2.1.3.2).

    Raises TreeError for an index outside the tree and for a proof of another length.
    """
    if not 0 <= index < size:
        raise TreeError(f"The tree has {size} leaves; there is no leaf {index}.")
    place, last, root = index, size - 1, leaf
    for beside in proof:
        if not last:
            raise TreeError("The proof is longer than the way to the root.")
        if place & 1 or place == last:
            root = node_hash(beside, root)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            root = node_hash(root, beside)
        place, last = place >> 1, last >> 1
    if last:
        raise TreeError("The proof is shorter than the way to the root.")
    return root


def _path(index: int, first: int, size: int, hash_at: HashAt) -> Iterator[bytes]:
    """Hashes beside the way within the `size` leaves that start at `first`, lowest first;
    `index` counts from there.
    """
    if size == 1:
        return
    left = largest_power_below(size)
    if index < left:
        yield from _path(index, first, left, hash_at)
        yield stretch_root(first + left, size - left, hash_at)
    else:
        yield from _path(index - left, first + left, size - left, hash_at)
        yield stretch_root(first, left, hash_at)


def stretch_root(first: int, size: int, hash_at: HashAt) -> bytes:
    """Root of `size` leaves that start at `first`, a multiple of the largest power of two in `size`."""
    level = size.bit_length() - 1
    left, position = 1 << level, (level, first >> level)
    found = hash_at(position)
    whole = _stored_hash({} if found is None else {position: found}, position)
    return whole if size == left else node_hash(whole, stretch_root(first + left, size - left, hash_at))


def largest_power_below(size: int) -> int:
    """The largest power of two smaller than `size`, which is at least 2."""
    return 1 << ((size - 1).bit_length() - 1)


def _fold(hashes: list[bytes]) -> bytes:
    """Join the frontier from the right: the smaller subtree is always the right-hand side."""
    if not hashes:
        return EMPTY_ROOT
    *left_ones, joined = hashes
    for left in reversed(left_ones):
        joined = node_hash(left, joined)
    return joined


def _stored_hash(stored: Mapping[Position, bytes], position: Position) -> bytes:
    if position not in stored:
        level, index = position
        raise TreeError(
            f"The tree needs the stored hash at level {level}, index {index}, and it is not there."
        )
    return _checked(stored[position], position)


def _checked(value: bytes, position: Position) -> bytes:
    if len(value) != HASH_BYTES:
        level, index = position
        raise TreeError(
            f"The hash at level {level}, index {index} has {len(value)} bytes; SHA-256 gives {HASH_BYTES}."
        )
    return value
