"""Whether a hash tree only grew from one size to another, told by a proof alone (RFC 9162 section 2.1.4).

Rules: the proof holds the hashes that both roots can be made from; with it and the two roots anybody can
tell, without an entry, that the first leaves of the later tree are those of the earlier one.
"""

from collections.abc import Iterator, Sequence

from webapp.domain.evidence.tree import HashAt, TreeError, largest_power_below, node_hash, stretch_root


def consistency_proof(earlier: int, size: int, hash_at: HashAt) -> tuple[bytes, ...]:
    """The proof between the trees over the first `earlier` and the first `size` leaves, 0 < earlier <= size.

    `hash_at` gives the stored hash of a full subtree.
    Raises TreeError for other sizes and for a hash that is not there.
    """
    if not 0 < earlier <= size:
        raise TreeError(f"There is no proof from {earlier} to {size} leaves.")
    return tuple(_subproof(earlier, 0, size, hash_at, whole=True))


def is_consistent(earlier: int, earlier_root: bytes, size: int, root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether this proof shows that the later tree (size,
    root) begins with the earlier one (RFC 9162 2.1.4.2).
    """
    if not 0 < earlier <= size:
        return False
    if earlier == size:
        return not proof and earlier_root == root
    hashes = [earlier_root, *proof] if earlier & (earlier - 1) == 0 else list(proof)
    if not proof or not hashes:
        return False
    place, last = earlier - 1, size - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    first = second = hashes[0]
    for beside in hashes[1:]:
        if not last:
            return False
        if place & 1 or place == last:
            first, second = node_hash(beside, first), node_hash(beside, second)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            second = node_hash(second, beside)
        place, last = place >> 1, last >> 1
    return not last and first == earlier_root and second == root


def _subproof(earlier: int, first: int, size: int, hash_at: HashAt, *, whole: bool) -> Iterator[bytes]:
    """SUBPROOF of RFC 9162 section 2.1.4.1 over the `size` leaves that start at `first`."""
    if earlier == size:
        if not whole:
            yield stretch_root(first, size, hash_at)
        return
    left = largest_power_below(size)
    if earlier <= left:
        yield from _subproof(earlier, first, left, hash_at, whole=whole)
        yield stretch_root(first + left, size - left, hash_at)
    else:
        yield from _subproof(earlier - left, first + left, size - left, hash_at, whole=False)
        yield stretch_root(first, left, hash_at)
