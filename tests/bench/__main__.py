"""All benches, one after the other, each in a process of its own: `python -m tests.bench`.

What is printed was measured in one run on one machine; only ratios, and times of the same run, say anything.
Nothing is asserted about time. What is aimed at stands beside each bench.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BENCHES = (
    ("bench_tablet", "step change p95 under 100 ms, start p95 under 1000 ms, shell under 200000 bytes"),
    ("bench_intake", "intake at least half of bare verification on as many threads: ratio 0.50 or more"),
    (
        "bench_shapes",
        "every field of an event looked at in less than the strict reading of its text: under 1.00",
    ),
    ("bench_start", "a server's first answer within 2 s of the command; a fresh checkout with --set-up"),
    ("bench_pdf", "printed and sealed under 3 x a page of one line by the bare renderer"),
    ("bench_limits", "limits with one value changed under 50 ms, a trends page under 1000 ms"),
    ("bench_past", "a million lines without keeping them: memory that does not grow with them"),
    ("bench_verify", "seal, events and ledger of a record under 1.5 s of processor"),
)
WIDTH = 110


def main() -> int:
    """Run them all; 1 if one of them could not be run."""
    failed = 0
    for name, aim in BENCHES:
        began = time.monotonic()
        done = subprocess.run(
            (sys.executable, "-m", f"tests.bench.{name}"),
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        failed |= done.returncode != 0
        sys.stdout.write(f"{'-' * WIDTH}\n{name:<14} aim: {aim}\n{'-' * WIDTH}\n{done.stdout.rstrip()}\n")
        sys.stdout.write(f"{'':<14} took {time.monotonic() - began:.0f} s\n\n")
        sys.stdout.flush()
    return failed


if __name__ == "__main__":
    sys.exit(main())
