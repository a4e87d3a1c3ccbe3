"""`python -m tests.long grow [SETUPS …]`: what each page and call costs in a shop that has run for long.

Shops with twenty machines, two thousand people and so many setups are made in a folder (`--in`, kept there
for the next time), each setup signed by its tablet and true, so that the audit finds nothing. Asked for is
every page and every call; told are the statements that it makes and the processor time of the program and of
its database's process, and how much more that is from the smallest shop to the largest. The audit, the
export and the start of the server are measured in processes of their own, with their memory. `--years` makes
the plot of cost against machines and years instead.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.kit.postgresql import server
from tests.long.growing import built, measuring, plotted
from tests.long.growing.large_shop import Size
from tests.long.growing.measuring import Cost
from webapp.store.engines.opening import Address

SIZES = (1_000, 10_000, 100_000)
SIZE = Size(machines=20, people=2_000)
MOST_TIMES = 1.5
# Below this a difference is the machine's and not the shop's.
LEAST_MS = 1.0
ALONE = ("audit", "export", "start")


def run(words: list[str]) -> int:
    """Print the table; 1 where something grows by more than MOST_TIMES, or the audit finds something."""
    reading = argparse.ArgumentParser(prog="python -m tests.long grow")
    reading.add_argument("setups", nargs="*", type=int, default=list(SIZES))
    reading.add_argument("--in", dest="folder", type=Path, help="where the shops are kept")
    reading.add_argument("--on-server", action="store_true", help="on PostgreSQL")
    reading.add_argument("--pages", action="store_true", help="without audit, export and start")
    reading.add_argument("--years", action="store_true", help="the plot against machines and years")
    asked = reading.parse_args(words)
    with _folder(asked.folder) as folder:
        if asked.years:
            return plotted.run(folder)
        shops = {size: _shop(folder, size, on_server=asked.on_server) for size in asked.setups}
        grown = _say_costs({size: _costs(*shop) for size, shop in shops.items()})
        if asked.pages or asked.on_server:
            return 1 if grown else 0
        return 1 if _say_alone({size: folder for size, (folder, _) in shops.items()}) or grown else 0


@contextmanager
def _folder(named: Path | None) -> Iterator[Path]:
    if named is not None:
        yield named
        return
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


def _shop(folder: Path, setups: int, *, on_server: bool) -> tuple[Path, Address | None]:
    """The folder of a shop of this size, and its address on a server; made where it is not there."""
    here = folder / str(setups)
    if not built.made(here):
        shutil.rmtree(here, ignore_errors=True)
        built.build(here, SIZE, setups)
    if not on_server:
        return here, None
    database = f"grown_{setups}"
    server().make(database)
    address = server().address(database)
    there = folder / f"{setups}-on-server"
    shutil.rmtree(there, ignore_errors=True)
    shutil.copytree(here, there, ignore=shutil.ignore_patterns("records", "*.db"))
    shutil.copytree(here / "records", there / "records", copy_function=os.link)
    built.carried(here, there, address).store.close()
    with server().administered(database) as administered:
        administered.execute("ANALYZE")
    return there, address


def _costs(folder: Path, address: Address | None) -> dict[str, Cost]:
    """Measured on a copy of a file, so that the shop stays as it was made."""
    if address is not None:
        return measuring.costs(folder, address)
    with copied(folder) as copy:
        return measuring.costs(copy)


@contextmanager
def copied(folder: Path) -> Iterator[Path]:
    """A copy of a shop's folder beside it; records are the same files, which nobody writes into."""
    copy = folder.with_name(f"{folder.name}-measured")
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("records"))
    shutil.copytree(folder / "records", copy / "records", copy_function=os.link)
    try:
        yield copy
    finally:
        shutil.rmtree(copy)


def _say_costs(found: dict[int, dict[str, Cost]]) -> int:
    """Print a line for each page and call; how many grow too much."""
    sizes, grown = list(found), 0
    heads = " | ".join(f"{size:,} setups: statements, ms" for size in sizes)
    print(f"| page or call | {heads} | times |\n| --- | {'--- | ' * len(sizes)}--- |")
    for name in found[sizes[0]]:
        here = [found[size][name] for size in sizes]
        times = here[-1].ms / here[0].ms
        too_much = times > MOST_TIMES and here[-1].ms - here[0].ms > LEAST_MS
        grown += too_much
        told = " | ".join(f"{one.statements}, {one.ms:.1f}" for one in here)
        print(f"| {name} | {told} | {times:.2f}{' !' if too_much else ''} |", flush=True)
    print(f"{grown} of {len(found[sizes[0]])} grow by more than {MOST_TIMES} times", flush=True)
    largest = found[sizes[-1]]
    longest = max(largest, key=lambda name: largest[name].read_ms)
    print(
        f"the longest read transaction at {sizes[-1]:,}: {largest[longest].read_ms:.0f} ms, {longest}",
        flush=True,
    )
    return grown


def _say_alone(folders: dict[int, Path]) -> int:
    """Print audit, export and start; how many faults the audits found."""
    faults = 0
    print(
        "| setups | audit: findings, s, MB, longest read ms | export: bytes, s, MB, longest read ms "
        "| start: first answer s, processor s, MB |"
    )
    print("| --- | --- | --- | --- |")
    for size, folder in folders.items():
        audit, export, start = (measuring.alone(what, folder) for what in ALONE)
        found, written, told = audit["told"], export["told"], start["told"]
        faults += found["faults"]
        print(
            f"| {size:,} | {found['faults']}, {audit['s']:.0f}, {audit['mb']:.0f}, {found['read_ms']:.0f} "
            f"| {written['bytes']:,}, {export['s']:.1f}, {export['mb']:.0f}, {written['read_ms']:.0f} "
            f"| {told['first_s']:.1f}, {told['spent_s']:.1f}, {told['mb']:.0f} |",
            flush=True,
        )
    return faults


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
