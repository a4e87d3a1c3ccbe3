"""What the server looks at by itself, again and again, beside answering: whether all that is stored still fits,
and whether the seal's certificate, or the one that tablets are shown, is about to end.

Rules: the clock and the waiting are arguments; each look has its own words in the log; one that fails is logged and
does not end the watch. A look reads a copy, so nobody at a tablet waits for it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cryptography import x509

from webapp.proof.seal_term import seal_term
from webapp.proof.tls_certificate import tls_term
from webapp.services.evidence import auditing
from webapp.words import say

if TYPE_CHECKING:
    from webapp.store import Store

DAY_S = 24 * 60 * 60.0
FIRST_PAUSE_S = 5.0  # people who wait for the first page go first

logger = logging.getLogger("zerokeep.watch")
# Waits for so many seconds; whether to go on.
Wait = Callable[[float], bool]


@dataclass(frozen=True)
class Terms:
    """The certificates whose end is watched: the seal's, and the file of the one that tablets are shown, if any."""

    seal: x509.Certificate
    tls: Path | None = None


def watch(
    store: Store,
    terms: Terms,
    now: Callable[[], datetime],
    wait: Wait,
    first_pause_s: float = FIRST_PAUSE_S,
) -> int:
    """Look after the first pause and then daily, until `wait` says that it is over; how often an audit was done."""
    done, pause_s = 0, first_pause_s
    try:
        while wait(pause_s):
            pause_s = DAY_S
            done += look(store, now)
            tell_terms(terms, now())
    finally:
        store.close()
    return done


def look(store: Store, now: Callable[[], datetime]) -> bool:
    """Audit once and log the outcome; whether it could be done."""
    try:
        outcome = auditing.run(store, now())
    except Exception:
        logger.exception("the audit could not be done")
        return False
    for fault in outcome.faults[: auditing.MOST_LISTED]:
        logger.error("audit: %s: %s", say(fault.code), fault.record)
    logger.info("audit: %d entries, %d do not fit", outcome.entries, len(outcome.faults))
    return True


def tell_terms(terms: Terms, now: datetime) -> None:
    """Log a warning while a certificate is about to end, or has."""
    for term in (seal_term(terms.seal, now), tls_term(terms.tls, now)):
        if term is not None:
            logger.warning("%s", say(term.code, term.fields))
