"""Browsers that are killed: all processes of one group."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

PATIENCE_S = 10
# Before a program: it ends when whoever started it does, by a signal too (setpriv(1), Debian's util-linux).
NOT_LONGER_THAN_US = ("setpriv", "--pdeathsig", "KILL")


def of_group(group: int) -> list[int]:
    """Processes of a group that still run."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if fields[0] != "Z" and int(fields[2]) == group:
                found.append(int(entry.name))
    return found


def end(process: subprocess.Popen[bytes], how: signal.Signals) -> None:
    """Send a signal to the whole group of a process that leads one, and wait until none of it is left."""
    try:
        os.killpg(process.pid, how)
    except ProcessLookupError:
        return
    process.wait(PATIENCE_S)
    until = time.monotonic() + PATIENCE_S
    while of_group(process.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert not of_group(process.pid), "processes of the browser outlived it"
