"""What verifying a record takes as a whole process, with and without printing its pages again.

Start it by hand: python -m tests.bench.bench_verify [rounds]. It prints medians of processor seconds and the
largest memory of one run, and asserts nothing.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EDITION = ROOT / "tests" / "evidence" / "edition-4"
KIB_IN_MIB = 1024


def ways() -> dict[str, tuple[str, ...]]:
    """The commands that are timed, by what is said of them."""
    record = str(min(EDITION.glob("record-*.pdf")))
    verify = ("verify", record, "--certificate", str(EDITION / "seal-certificates.pem"))
    return {
        "--help": ("--help",),
        "verify --without-pages": (*verify, "--without-pages"),
        "verify": verify,
    }


def taken(command: tuple[str, ...]) -> tuple[float, float, int]:
    """Seconds by the clock and of the processors, and the largest memory in MiB, of one run.

    Raises SystemExit where it fails.
    """
    start = time.perf_counter()
    child = subprocess.Popen(
        (sys.executable, "-m", "webapp.cli", *command),
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(child.pid, 0)
    clock = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{command[0]} ended with {child.returncode}")
    return clock, used.ru_utime + used.ru_stime, used.ru_maxrss // KIB_IN_MIB


def main(rounds: int) -> None:
    found: dict[str, list[tuple[float, float, int]]] = {name: [] for name in ways()}
    for _ in range(rounds):
        for name, command in ways().items():
            found[name].append(taken(command))
    for name, runs in found.items():
        clock, processors = (statistics.median(one[place] for one in runs) for place in (0, 1))
        most = max(memory for _, _, memory in runs)
        print(f"{name:24} {processors:5.2f} s of processor, {clock:5.2f} s by the clock, {most} MiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
