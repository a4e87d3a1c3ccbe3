"""The server's clock beside one that only runs forward: when it jumped stands on the ledger.

Rules:
- the ledger's times are this clock's, so whoever reads them has to know when it was wrong (21 CFR 11.10(e),
  ISO/IEC 17025:2017 7.11.2, from memory): both times are written, the one that was to be expected and the one
  that was found;
- a jump is a move of more than five seconds against the other clock between two looks; a look comes before
  each request that may write. A clock that is drawn along slowly makes none: the other one is drawn with it;
- leads are shown those of more than two minutes, from which on a tablet's clock is told to be off, too;
- at a start there is no other clock: a time that lies before the newest entry of the ledger is a jump;
- nothing is put right and nothing is refused: an entry's place orders it, never its time.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypedDict

from webapp.services.evidence.ledger import SERVER, change
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store

CLOCK_JUMPED = "clock.jumped"
MOST_SECONDS = 5
SHOWN_SECONDS = 120
SHOWN_DAYS = 14
MOST_LOOKED_AT = 200


class NotedJump(TypedDict):
    """A jump as it stands on the ledger; `when` is start or running."""

    expected_at_utc: str
    found_at_utc: str
    moved_ms: int
    when: str


@dataclass(frozen=True, slots=True)
class Jump:
    """What time it should have been and what time it was said to be, both aware."""

    expected: datetime
    found: datetime

    @property
    def moved_ms(self) -> int:
        """How far the clock moved, in milliseconds; negative when it went back."""
        return round((self.found - self.expected) / timedelta(milliseconds=1))


class Timekeeper:
    """Remembers the last look. `elapsed_s` gives seconds that only grow, also while the computer sleeps."""

    def __init__(self, elapsed_s: Callable[[], float]) -> None:
        self._elapsed_s = elapsed_s
        self._last: tuple[datetime, float] | None = None
        self._lock = threading.Lock()

    def look(self, now: datetime) -> Jump | None:
        """A jump since the last look, None without one and at the first."""
        with self._lock:
            elapsed, last = self._elapsed_s(), self._last
            self._last = (now, elapsed)
        if last is None:
            return None
        expected = last[0] + timedelta(seconds=elapsed - last[1])
        return Jump(expected, now) if abs(now - expected) > timedelta(seconds=MOST_SECONDS) else None


def look_at_start(store: Store, now: datetime) -> Jump | None:
    """A jump against the newest entry of the ledger, noted there; None when the time lies behind it."""
    with store.reading():
        newest = store.ledger.newest_at_utc()
    if newest is None or utc_text(now) >= newest:
        return None
    jump = Jump(from_text(newest), now)
    note(store, jump, "start")
    return jump


def note(store: Store, jump: Jump, when: str) -> None:
    """Put a jump on the ledger: seen at a "start", or while "running"."""
    data: NotedJump = {
        "expected_at_utc": utc_text(jump.expected),
        "found_at_utc": utc_text(jump.found),
        "moved_ms": jump.moved_ms,
        "when": when,
    }
    with store.writing():
        change(store, CLOCK_JUMPED, SERVER, "clock", None, data, jump.found)


def recent_jumps(store: Store, now: datetime) -> list[NotedJump]:
    """What stands on the ledger of large jumps with either time in the last two weeks, newest first.

    One of the two was wrong, and may lie years ahead: a time that is still to come keeps nothing on the page.
    """
    since, until = utc_text(now - timedelta(days=SHOWN_DAYS)), utc_text(now)
    with store.reading():
        rows = store.ledger.changes(kind=CLOCK_JUMPED, newest=MOST_LOOKED_AT)
    found: list[NotedJump] = [json.loads(row["text"])["data"] for row in rows]
    return [
        one
        for one in found
        if abs(one["moved_ms"]) > SHOWN_SECONDS * 1000
        and any(since <= at <= until for at in (one["expected_at_utc"], one["found_at_utc"]))
    ]
