"""This computer's clocks. The edges of the program read them; rules and use cases are given the time."""

from __future__ import annotations

import time
from datetime import UTC, datetime


def utc_now() -> datetime:
    """The time of this computer's clock, aware, UTC."""
    return datetime.now(UTC)


def elapsed_s() -> float:
    """Seconds since this computer was started, its sleep included; nobody can set this clock."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))
