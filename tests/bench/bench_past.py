"""What looking at a long table of past values takes, line by line as it comes.

Start it by hand: python -m tests.bench.bench_past [lines]. It prints processor seconds, memory and how many
lines a second of one run, and asserts nothing about time.
"""

from __future__ import annotations

import random
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.kit.house import House
from tests.kit.shop import CENTRES_NM
from webapp.services.numbers import past_values

FIXTURE, NM_PER_MM = "vise-a", 1_000_000
HEADER = b"at_utc,machine,fixture,seating,person,x_mm,y_mm,z_mm\n"


def table(house: House, lines: int) -> Iterator[bytes]:
    """A table of so many setups of the seating of now, each with a value of each axis near its centre."""
    with house.store.reading():
        seating = house.store.shop.seatings(FIXTURE)[-1]["id"]
    chance = random.Random(11)
    yield HEADER
    for number in range(lines):
        day, hour, minute, second = number // 86_400, number // 3600 % 24, number // 60 % 60, number % 60
        at = f"2026-10-{day + 1:02}T{hour:02}:{minute:02}:{second:02}Z"
        values = ",".join(f"{CENTRES_NM[a] / NM_PER_MM + chance.gauss(0, 0.006):.3f}" for a in "XYZ")
        yield f"{at},mill-1,{FIXTURE},{seating},mara,{values}\n".encode()


def main(lines: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        house = House(Path(folder))
        start = time.process_time()
        looked = past_values.look(house.store, lambda: table(house, lines), house.clock())
        seconds = time.process_time() - start
    if looked.setups + looked.asked - looked.asked_taken + looked.refused != lines:
        raise SystemExit(f"not every line was looked at: {looked}")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(
        f"{lines} lines looked at, {looked.setups} to take, {looked.asked} asked about, "
        f"{looked.refused} refused: {seconds:.1f} s of processor, {lines / seconds:.0f} lines a second, "
        f"{memory} MiB"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
