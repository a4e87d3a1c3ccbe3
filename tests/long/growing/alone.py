"""What reads a whole shop, each in a process of its own, so that its memory can be told."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from tests.kit.server import Server, free_port
from tests.long.growing.reads import reads_of

RUNS_FOR_S = 90.0


def audit(folder: Path) -> dict[str, float]:
    """How many faults the audit finds in the whole shop, and its longest read transaction."""
    from webapp.services.audit import auditing  # noqa: PLC0415 - what is loaded counts
    from webapp.store import Store  # noqa: PLC0415

    store = Store.open(folder / "zerokeep.db")
    outcome = auditing.Outcome("", "")
    with reads_of(store._database) as reads:
        outcome.take(auditing.everything(store, outcome))
    store.close()
    return {"faults": outcome.count, "read_ms": reads.longest_ms}


def export(folder: Path) -> dict[str, float]:
    """How many bytes the table of all values has, and the longest read transaction for it."""
    from tests.long.growing.measuring import site_on  # noqa: PLC0415

    with site_on(folder) as site, reads_of(site.app.extensions["zerokeep"].store._database) as reads:
        answer = site.signed_in("ines").get("/desk/past.csv")
        assert answer.status_code == 200
        count = sum(map(len, answer.iter_encoded()))
        return {"bytes": count, "read_ms": reads.longest_ms}


def start(folder: Path) -> dict[str, float]:
    """Start the server as an operator of it does: seconds to the first answer, and MB once all is read
    ahead.
    """
    port = free_port()
    environment = {**os.environ, "ZEROKEEP_KEY_PASSPHRASE": "four plain words here"}
    where = ["--data-folder", str(folder), "--port", str(port)]
    command = [sys.executable, "-m", "webapp.cli", "serve", *where]
    began = time.monotonic()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        asked = Server(folder, port)
        while not asked.answers():
            assert process.poll() is None, "the server ended"
            assert time.monotonic() - began < RUNS_FOR_S
            time.sleep(0.02)
        first_s, spent = time.monotonic() - began, spent_s(process.pid)
        time.sleep(8)
        return {"first_s": first_s, "spent_s": spent, "mb": _greatest_mb(process.pid)}
    finally:
        process.terminate()
        process.wait(30)


def family(pid: int) -> list[int]:
    """A process and all that it started."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [pid, *(one for child in children for one in family(int(child)))]


def spent_s(pid: int) -> float:
    """What a process and all that it started have spent of the processor."""
    return sum(int(one) for each in family(pid) for one in _stat(each)[13:15]) / os.sysconf("SC_CLK_TCK")


def _stat(pid: int) -> list[str]:
    text = Path(f"/proc/{pid}/stat").read_text()
    return ["", "", *text.rpartition(")")[2].split()]


def _greatest_mb(pid: int) -> float:
    def one(pid: int) -> float:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024

    return max(map(one, family(pid)))
