"""What is made once in a run, for all its processes:
whoever needs it first makes it, the others wait for it.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The folder of this name, filled by `make`. Nobody writes there afterwards.

    With several processes a run's own folder lies above theirs; with one it is theirs.
    A maker that failed leaves no folder, and the next one tries again.
    """
    own = factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    folder = shared / name
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            half = factory.mktemp(f"{name}-half")
            make(half)
            half.rename(folder)
    return folder
