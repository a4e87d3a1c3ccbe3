"""A form that is sent twice by an impatient hand does its work once, and both presses get the same page.

Rules: what was made is kept in this process only, for two minutes, under the form's own chance number and
the person who sent it; the second press waits for the first. In another process the second press is refused
by the use case, as if it came a minute later.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Generic, TypeVar

T = TypeVar("T")
KEPT = timedelta(minutes=2)
SHORTEST_NUMBER = 20


@dataclass
class _Press(Generic[T]):
    until: datetime
    lock: threading.Lock = field(default_factory=threading.Lock)
    made: T | None = None


class PressedOnce(Generic[T]):
    """What presses made, by who sent which form."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._presses: dict[tuple[str, str], _Press[T]] = {}

    def made(self, who: str, form: str, now: datetime, make: Callable[[], T]) -> T:
        """What `make` gives, or gave to an earlier press of this form; a press that failed is forgotten.

        A form that came without its number is one by itself.
        """
        if len(form) < SHORTEST_NUMBER:
            return make()
        with self._lock:
            self._presses = {key: one for key, one in self._presses.items() if one.until > now}
            press = self._presses.setdefault((who, form), _Press(now + KEPT))
        with press.lock:
            if press.made is None:
                press.made = make()
            return press.made

    def waited(self, who: str, form: str) -> T | None:
        """What an earlier press of this form made, as soon as it has; None without one."""
        with self._lock:
            press = self._presses.get((who, form))
        if press is None:
            return None
        with press.lock:
            return press.made
