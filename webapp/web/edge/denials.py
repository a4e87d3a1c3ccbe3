"""What a person who is signed in was denied, put onto the ledger, and not so often that it fills up.

Rules: one entry for each person and each kind of page in ten minutes; a denial that cannot be noted is a
denial all the same. Whoever has no name here adds nothing to the ledger: that goes to the log.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from threading import Lock

from flask import current_app, request

from webapp.services.evidence import looked_at
from webapp.web.edge.rights import Who
from webapp.web.edge.wiring import wiring

AGAIN_AFTER = timedelta(minutes=10)
MOST_REMEMBERED = 10_000


class Denials:
    """When each person was last denied each kind of page."""

    def __init__(self) -> None:
        self._last: dict[tuple[str, str], datetime] = {}
        self._lock = Lock()

    def is_new(self, person: str, asked_for: str, now: datetime) -> bool:
        """Whether this one is to be noted; it is remembered as noted then."""
        with self._lock:
            before = self._last.get((person, asked_for))
            if before is not None and timedelta(0) <= now - before < AGAIN_AFTER:
                return False
            if len(self._last) >= MOST_REMEMBERED:
                self._last.clear()
            self._last[person, asked_for] = now
            return True


def note(who: Who) -> None:
    """Note that the person who asks for the page of now may not have it."""
    parts, asked_for = wiring(), request.endpoint or "?"
    denials: Denials = current_app.extensions.setdefault("zerokeep-denials", Denials())
    if not denials.is_new(who.id, asked_for, parts.now()):
        return
    try:
        looked_at.denied(parts.store, who.id, asked_for, request.method, parts.now())
    except Exception:
        current_app.logger.exception("a denial of %s to %s was not noted", asked_for, who.id)
