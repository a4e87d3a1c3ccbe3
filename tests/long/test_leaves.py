"""A slice of the ledger's growth: what it costs follows the logarithm, counted and not timed."""

from __future__ import annotations

from pathlib import Path

from tests.long.leaves import cost, grow, walked
from webapp.store import Store


def test_append_and_proofs_grow_with_the_logarithm_and_a_walk_needs_no_more_memory(tmp_path: Path) -> None:
    store = Store.open(tmp_path / "zerokeep.db")
    memory = []
    for size in (256, 2_048):
        grow(store, size)
        found, levels = cost(store), size.bit_length()
        assert found.append_reads <= levels
        assert found.append_writes < 2.1
        assert found.place_hashes <= levels
        assert found.growth_hashes <= levels + 1
        assert max(found.place_reads, found.growth_reads) <= 2 * levels + 2
        store.close()
        faults, entries, before, most, _ = walked(tmp_path / "zerokeep.db")
        assert (faults, entries) == (0, size + 200)
        memory.append(most - before)
    assert memory[1] < memory[0] + 8 * 1024
