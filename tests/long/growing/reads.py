"""How long a reader keeps a writer waiting: the longest read transaction while something is asked.

In rollback-journal mode of SQLite nobody writes while somebody reads. Told is the processor time of the
thread inside each transaction, which others on the machine do not add to.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

NS_PER_MS = 1_000_000


class Reads:
    """The longest read transaction so far, milliseconds of processor, and how many there were."""

    def __init__(self) -> None:
        self.longest_ms, self.count = 0.0, 0

    def add(self, spent_ns: int) -> None:
        """Take what one transaction took."""
        self.longest_ms = max(self.longest_ms, spent_ns / NS_PER_MS)
        self.count += 1


@contextmanager
def reads_of(database: Any) -> Iterator[Reads]:
    """Time every read transaction of a database while this lasts; those inside others count with them."""
    found, reading = Reads(), database.reading

    @contextmanager
    def timed() -> Iterator[None]:
        if database._depth:
            with reading():
                yield
            return
        with reading():
            began = time.thread_time_ns()
            try:
                yield
            finally:
                found.add(time.thread_time_ns() - began)

    database.reading = timed
    try:
        yield found
    finally:
        del database.reading
