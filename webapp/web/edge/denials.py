"""What a person who is signed in was denied, or took a copy of, put onto the ledger, and not so often that it
fills up.

Rules: one entry for each person and page, or person and copied thing, in ten minutes, a denial with what its
address names (a setup, a person); beyond twenty of them one for each kind of page alone. A denial that
cannot be noted is a denial all the same, a copy that cannot be noted is not given. Of one file taken three
times in ten minutes the ledger says once that it left; another file of the same page, told by the digest of
what is given, is another copy. Whoever has no name here adds nothing to the ledger:
that goes to the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from threading import Lock

from flask import current_app, request

from webapp.services.evidence import looked_at
from webapp.web.edge.rights import Who
from webapp.web.edge.wiring import wiring

AGAIN_AFTER = timedelta(minutes=10)
MOST_REMEMBERED = 10_000
MOST_BY_NAME = 20
LONGEST = 80


class Denials:
    """When each person was last denied, or given, each thing."""

    def __init__(self) -> None:
        self._last: dict[tuple[str, str], datetime] = {}
        self._lock = Lock()

    def is_new(self, person: str, asked_for: str, now: datetime) -> bool:
        """Whether this one is to be noted; it is remembered as noted then."""
        with self._lock:
            if self._lately(person, asked_for, now):
                return False
            if len(self._last) >= MOST_REMEMBERED:
                self._last.pop(next(iter(self._last)))  # the oldest
            self._last[person, asked_for] = now
            return True

    def count(self, person: str, now: datetime) -> int:
        """How many different things this person was denied or given lately."""
        with self._lock:
            return sum(one == person and self._lately(one, thing, now) for one, thing in self._last)

    def forget(self, person: str, asked_for: str) -> None:
        """Take back that this one is noted, where it could not be."""
        with self._lock:
            self._last.pop((person, asked_for), None)

    def _lately(self, person: str, asked_for: str, now: datetime) -> bool:
        before = self._last.get((person, asked_for))
        return before is not None and timedelta(0) <= now - before < AGAIN_AFTER


def note(who: Who) -> None:
    """Note that the person who asks for the page of now may not have it."""
    parts, asked_for = wiring(), request.endpoint or "?"
    named = {name: str(value)[:LONGEST] for name, value in (request.view_args or {}).items()}
    few = _remembered().count(who.id, parts.now()) < MOST_BY_NAME
    thing = " ".join([asked_for, *named.values()]) if few else asked_for
    if not _remembered().is_new(who.id, thing, parts.now()):
        return
    try:
        looked_at.denied(parts.store, who.id, asked_for, request.method, parts.now(), named if few else {})
    except Exception:
        current_app.logger.exception("a denial of %s to %s was not noted", asked_for, who.id)


def note_copy(
    who: Who, kind: str, subject: str, digest: str, data: Mapping[str, object], *, of: str = "sha256"
) -> None:
    """Note, before it leaves, that this person takes a copy. `digest` tells what is given: the SHA-256 of its
    bytes in hex, or, where each printing has other bytes, that of what its pages show, which then stands in
    the entry under another name (`of`). Raises what the store does.
    """
    parts, thing = wiring(), f"{kind} {subject} {digest}"
    if not _remembered().is_new(who.id, thing, parts.now()):
        return
    try:
        noted = {**data, of: digest}
        looked_at.downloaded(parts.store, kind, who.id, subject, noted, parts.now())
    except BaseException:
        _remembered().forget(who.id, thing)
        raise


def _remembered() -> Denials:
    found: Denials = current_app.extensions.setdefault("zerokeep-denials", Denials())
    return found
