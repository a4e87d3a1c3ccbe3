"""A ledger of a million entries: what one more costs, how long proofs are, and what walking along all of it
takes.

`python -m tests.long leaves [COUNT]` lets a ledger grow and stops at every power of ten. Counted is what
does not depend on the machine: stored hashes that one more entry reads and writes, hashes in a proof of a
place and of growth, and hashes read for them. Beside them stand the processor's time of an append and of a
proof, and the greatest memory of a process of its own that walks along every entry as an audit does.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from random import Random

import matplotlib as mpl
from matplotlib.figure import Figure

from webapp.domain.evidence import tree
from webapp.domain.evidence.consistency import consistency_proof, is_consistent
from webapp.store import Store

MILLION = 1_000_000
A_PORTION = 5_000
TRIED = 200
AT_UTC = "2026-11-25T08:00:00.000Z"
FIELDS = ("counted", "server", "ledger", None, AT_UTC)
INSERT = "INSERT INTO change (position, text, type, by, subject, setup, at_utc) VALUES (?, ?, ?, ?, ?, ?, ?)"
WALKER = """
import resource, sys
from pathlib import Path
from webapp.services.evidence.ledger_walk import Walk
from webapp.store import Store
store = Store.open(Path(sys.argv[1]))
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
walk, faults = Walk(store), 0
with store.reading():
    until = store.ledger.places()
for stretch in walk.stretches(until):
    faults += len(list(walk.faults(stretch)))
faults += len(list(walk.faults_at_end()))
after = resource.getrusage(resource.RUSAGE_SELF)
print(faults, until, before, after.ru_maxrss, round(after.ru_utime + after.ru_stime, 1))
"""


@dataclass(frozen=True)
class Cost:
    """At a size: hashes read and written by one more entry, in proofs and read for them; processor's time."""

    entries: int
    append_reads: int
    append_writes: float
    place_hashes: int
    place_reads: int
    growth_hashes: int
    growth_reads: int
    append_us: int
    place_us: int


def grow(store: Store, until: int) -> None:
    """Add changes up to this many entries, many in one go: what one alone costs is measured elsewhere."""
    while (size := _size(store)) < until:
        texts = [_text(number) for number in range(size, min(size + A_PORTION, until))]
        with store.writing():
            start = store.ledger.append("change", [text.encode() for text in texts])
            rows = [(start + place, text, *FIELDS) for place, text in enumerate(texts)]
            store.put_rows(INSERT, rows)


def _text(number: int) -> str:
    text = f'{{"at_utc":"{AT_UTC}","by":"server","data":{{"number":{number}}},'
    return text + '"domain":"zerokeep/change/1","setup":null,"subject":"ledger","type":"counted"}'


def _add(store: Store, number: int) -> None:
    store.ledger.append_change(
        _text(number), kind="counted", by="server", subject="ledger", setup=None, at_utc=AT_UTC
    )


def _size(store: Store) -> int:
    with store.reading():
        return store.ledger.size()


def cost(store: Store) -> Cost:
    """What the ledger costs at the size that it has; TRIED entries are added for it."""
    size, chance = _size(store), Random(20261129)
    reads = [0]

    def at(position: tree.Position) -> bytes | None:
        reads[0] += 1
        return store.ledger.hash_at(position)

    places, growths, place_reads, growth_reads = [], [], [], []
    with store.reading():
        root, begun = store.ledger.root(size), time.process_time()
        for _ in range(TRIED):
            index = chance.randrange(size)
            reads[0] = 0
            places.append(len(tree.inclusion_proof(index, size, at)))
            place_reads.append(reads[0])
        place_s = time.process_time() - begun
        for _ in range(TRIED):
            earlier = chance.randrange(1, size)
            reads[0] = 0
            proof = consistency_proof(earlier, size, at)
            assert is_consistent(earlier, store.ledger.root(earlier), size, root, proof)
            growths.append(len(proof))
            growth_reads.append(reads[0])
    begun = time.process_time()
    with store.writing():
        for number in range(size, size + TRIED):
            _add(store, number)
    append_s = time.process_time() - begun
    ends = range(size, size + TRIED)
    return Cost(
        size,
        max(len(tree.frontier(one)) for one in ends),
        sum(1 + ((one + 1) & -(one + 1)).bit_length() - 1 for one in ends) / TRIED,
        max(places),
        max(place_reads),
        max(growths),
        max(growth_reads),
        round(append_s / TRIED * 1e6),
        round(place_s / TRIED * 1e6),
    )


def walked(database: Path) -> tuple[int, int, int, int, float]:
    """Faults, entries, memory before and at most (kB), and seconds of processor of a walk in a process of
    its own.
    """
    command = [sys.executable, "-c", WALKER, str(database)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    faults, entries, before, most = (int(one) for one in said[:4])
    return faults, entries, before, most, float(said[4])


def draw(found: list[Cost], path: Path) -> None:
    """What does not depend on the machine, over the ledger's size with its steps as powers of ten, as SVG."""
    mpl.rcParams.update({"svg.hashsalt": path.name, "svg.fonttype": "none"})
    figure = Figure(figsize=(6, 3.6))
    axes = figure.subplots()
    sizes = [one.entries for one in found]
    axes.plot(sizes, [one.append_reads for one in found], "o-", label="hashes read by one more entry")
    axes.plot(sizes, [one.append_writes for one in found], "s-", label="hashes written by it, on average")
    axes.plot(sizes, [one.place_hashes for one in found], "^-", label="hashes in a proof of a place")
    axes.plot(sizes, [one.growth_hashes for one in found], "v-", label="hashes in a proof of growth")
    axes.plot(sizes, [math.log2(size) for size in sizes], "k:", label="logarithm to base 2 of the size")
    axes.set(xscale="log", xlabel="entries of the ledger", ylabel="hashes", ylim=(0, None))
    axes.legend(fontsize="small")
    figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None}, bbox_inches="tight")


def run(most: int | None) -> int:
    """Print the table, draw it where all of it was measured; 1 where a walk finds a fault."""
    wrong, costs = 0, []
    with tempfile.TemporaryDirectory() as name:
        store = Store.open(Path(name) / "zerokeep.db")
        sys.stdout.write(" | ".join(field.name for field in fields(Cost)) + " | walk: MB over the start, s\n")
        size = 1_000
        while size <= (most or MILLION):
            grow(store, size)
            found = cost(store)
            costs.append(found)
            store.close()
            faults, _, before, greatest, seconds = walked(Path(name) / "zerokeep.db")
            wrong += faults
            line = " | ".join(f"{one:,}" for one in astuple(found))
            sys.stdout.write(f"{line} | {(greatest - before) / 1024:.1f}, {seconds}\n")
            sys.stdout.flush()
            size *= 10
        store.close()
    if most is None:
        draw(costs, Path(__file__).with_name("proof.svg"))
    return 1 if wrong else 0
