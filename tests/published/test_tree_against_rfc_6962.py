"""The hash tree against values from outside.

Source of the values in data/merkle.json: the reference tree of eight leaves that the certificate-transparency
projects use for RFC 6962 section 2.1 / RFC 9162 section 2.1, taken from the public repository
transparency-dev/merkle (Apache-2.0), files testonly/constants.go, rfc6962/rfc6962_test.go and testdata. Facts
only: hexadecimal inputs and hashes. Second opinion: the library pymerkle, written by others to the same
construction.
"""

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymerkle import InmemoryTree

from webapp.domain.evidence import tree
from webapp.domain.evidence.consistency import consistency_proof, is_consistent

PUBLISHED = json.loads((Path(__file__).parent / "data" / "merkle.json").read_text())
ENTRIES = [bytes.fromhex(entry) for entry in PUBLISHED["leaves_hex"]]


def naive_root(hashes: list[bytes]) -> bytes:
    """The recursion of RFC 6962 section 2.1, word for word and with nothing remembered."""
    if not hashes:
        return sha256(b"").digest()
    if len(hashes) == 1:
        return hashes[0]
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    return sha256(b"\x01" + naive_root(hashes[:split]) + naive_root(hashes[split:])).digest()


def test_leaf_hashes_are_the_published_ones() -> None:
    assert [tree.leaf_hash(entry).hex() for entry in ENTRIES] == PUBLISHED["leaf_hashes"]


@pytest.mark.parametrize("size", range(9))
def test_the_root_of_each_size_is_the_published_one(size: int) -> None:
    hashes = [tree.leaf_hash(entry) for entry in ENTRIES[:size]]
    assert tree.append(0, {}, hashes).root.hex() == PUBLISHED["roots_by_size"][size]


def test_a_single_leaf_and_a_single_node_hash_as_published() -> None:
    leaf, node = PUBLISHED["single"]
    assert tree.leaf_hash(leaf["leaf_text"].encode()).hex() == leaf["hash"]
    assert tree.node_hash(node["left_text"].encode(), node["right_text"].encode()).hex() == node["hash"]


def test_every_size_up_to_300_agrees_with_the_plain_recursion_and_with_pymerkle() -> None:
    other = InmemoryTree(algorithm="sha256")
    stored, size, hashes = {}, 0, []
    for number in range(300):
        entry = b"entry %d" % number
        hashes.append(tree.leaf_hash(entry))
        other.append_entry(entry)
        growth = tree.append(size, stored, [hashes[-1]])
        stored |= {(node.level, node.index): node.hash for node in growth.new_nodes}
        size = growth.size
        assert growth.root == naive_root(hashes) == other.get_root()


@given(st.lists(st.integers(0, 40), max_size=8))
def test_batches_of_any_size_give_the_root_and_the_nodes_of_one_by_one(batch_sizes: list[int]) -> None:
    stored, size, hashes, made = {}, 0, [], 0
    for batch_size in batch_sizes:
        batch = [tree.leaf_hash(b"%d" % (size + step)) for step in range(batch_size)]
        needed = {position: stored[position] for position in tree.frontier(size)}
        growth = tree.append(size, needed, batch)
        stored |= {(node.level, node.index): node.hash for node in growth.new_nodes}
        made += len(growth.new_nodes)
        hashes += batch
        size = growth.size
        assert growth.root == naive_root(hashes)
    assert made == len(stored)
    assert made < 2 * size or size == 0
    for earlier in range(size + 1):
        assert tree.root_at(earlier, stored) == naive_root(hashes[:earlier])
    for (level, index), value in stored.items():
        assert value == naive_root(hashes[index << level : (index + 1) << level])


def test_a_missing_stored_subtree_is_named() -> None:
    with pytest.raises(tree.TreeError, match="level 2, index 0"):
        tree.append(5, {(0, 4): bytes(32)}, [bytes(32)])


def test_a_hash_of_another_length_is_refused() -> None:
    with pytest.raises(tree.TreeError, match="has 20 bytes"):
        tree.append(0, {}, [bytes(20)])
    with pytest.raises(tree.TreeError, match="has 31 bytes"):
        tree.root_at(1, {(0, 0): bytes(31)})


def test_a_size_below_zero_is_refused() -> None:
    with pytest.raises(tree.TreeError, match="-1 leaves"):
        tree.frontier(-1)


@given(st.integers(1, 70).flatmap(lambda size: st.tuples(st.just(size), st.integers(0, size - 1))))
def test_inclusion_proofs_lead_to_the_root_and_are_those_of_another_library(asked: tuple[int, int]) -> None:
    size, index = asked
    entries = [b"%d" % number for number in range(size)]
    stored = {(node.level, node.index): node.hash for node in grown(entries)}
    proof = tree.inclusion_proof(index, size, stored.get)
    root = tree.root_at(size, stored)
    assert tree.root_from_inclusion(tree.leaf_hash(entries[index]), index, size, proof) == root
    theirs = InmemoryTree.init_from_entries(entries, algorithm="sha256")
    path = [bytes.fromhex(one) for one in theirs.prove_inclusion(index + 1).serialize()["path"]]
    assert set(proof) <= set(path)
    if proof:
        with pytest.raises(tree.TreeError):
            tree.root_from_inclusion(tree.leaf_hash(entries[index]), index, size, proof[:-1])
        altered = (bytes(32), *proof[1:])
        assert tree.root_from_inclusion(tree.leaf_hash(entries[index]), index, size, altered) != root
    with pytest.raises(tree.TreeError):
        tree.root_from_inclusion(tree.leaf_hash(entries[index]), index, size, (*proof, bytes(32)))


def grown(entries: list[bytes]) -> tuple[tree.Node, ...]:
    return tree.append(0, {}, [tree.leaf_hash(entry) for entry in entries]).new_nodes


def test_a_proof_of_a_leaf_that_is_not_there_is_refused() -> None:
    for index, size in ((3, 3), (-1, 3), (0, 0)):
        with pytest.raises(tree.TreeError):
            tree.inclusion_proof(index, size, {}.get)
        with pytest.raises(tree.TreeError):
            tree.root_from_inclusion(bytes(32), index, size, ())
    with pytest.raises(tree.TreeError):
        tree.inclusion_proof(0, 3, {}.get)


def naive_subproof(earlier: int, hashes: list[bytes], *, whole: bool) -> list[bytes]:
    """SUBPROOF of RFC 9162 section 2.1.4.1, word for word and with nothing remembered."""
    if earlier == len(hashes):
        return [] if whole else [naive_root(hashes)]
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    if earlier <= split:
        return [*naive_subproof(earlier, hashes[:split], whole=whole), naive_root(hashes[split:])]
    return [*naive_subproof(earlier - split, hashes[split:], whole=False), naive_root(hashes[:split])]


@given(st.integers(1, 70).flatmap(lambda size: st.tuples(st.just(size), st.integers(1, size))))
def test_consistency_proofs_hold_for_no_other_roots_and_are_those_of_the_plain_recursion(
    asked: tuple[int, int],
) -> None:
    size, earlier = asked
    entries = [b"%d" % number for number in range(size)]
    stored = {(node.level, node.index): node.hash for node in grown(entries)}
    roots = tree.root_at(earlier, stored), tree.root_at(size, stored)
    proof = consistency_proof(earlier, size, stored.get)
    assert is_consistent(earlier, roots[0], size, roots[1], proof)
    assert list(proof) == naive_subproof(earlier, [tree.leaf_hash(entry) for entry in entries], whole=True)
    assert not is_consistent(earlier, bytes(32), size, roots[1], proof)
    assert not is_consistent(earlier, roots[0], size, bytes(32), proof)
    for wrong in (proof[:-1], (*proof, bytes(32)), (bytes(32), *proof[1:])):
        if wrong != proof:
            assert not is_consistent(earlier, roots[0], size, roots[1], wrong)


@pytest.mark.parametrize(
    "one", PUBLISHED["consistency"], ids=lambda one: f"{one['earlier']} in {one['size']}"
)
def test_consistency_proofs_are_the_published_ones(one: dict[str, Any]) -> None:
    """Those of the reference tree, made by its own program."""
    stored = {(node.level, node.index): node.hash for node in grown(ENTRIES)}
    proof = [bytes.fromhex(each) for each in one["proof"]]
    assert list(consistency_proof(one["earlier"], one["size"], stored.get)) == proof
    roots = [bytes.fromhex(PUBLISHED["roots_by_size"][size]) for size in (one["earlier"], one["size"])]
    assert is_consistent(one["earlier"], roots[0], one["size"], roots[1], proof)
    assert not is_consistent(one["earlier"], roots[1], one["size"], roots[0], proof)


def test_the_consistency_proofs_of_the_rfcs_example_tree() -> None:
    """RFC 9162 section 2.1.5 (RFC 6962 section 2.1.3): seven leaves d0 to d6, the nodes named there."""
    entries = [b"d%d" % number for number in range(7)]
    a, b, c, d, _, _, j = map(tree.leaf_hash, entries)
    stored = {(node.level, node.index): node.hash for node in grown(entries)}
    g, h, i = tree.node_hash(a, b), tree.node_hash(c, d), stored[(1, 2)]
    k, l_ = tree.node_hash(g, h), tree.node_hash(i, j)
    assert consistency_proof(3, 7, stored.get) == (c, d, g, l_)
    assert consistency_proof(4, 7, stored.get) == (l_,)
    assert consistency_proof(6, 7, stored.get) == (i, j, k)
    for earlier, size in ((0, 7), (8, 7)):
        with pytest.raises(tree.TreeError):
            consistency_proof(earlier, size, stored.get)
        assert not is_consistent(earlier, bytes(32), size, bytes(32), ())
