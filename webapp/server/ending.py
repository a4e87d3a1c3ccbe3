"""Ending with the process that started this one."""

from __future__ import annotations

import ctypes
import os
import signal
import sys

PARENT_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG of Linux, prctl(2)


def end_with_parent(parent: int) -> None:
    """Let this process end when `parent` was killed and could not tell it; only Linux knows how."""
    if sys.platform != "linux":
        return
    ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGTERM)
    if os.getppid() != parent:
        os.kill(os.getpid(), signal.SIGTERM)
