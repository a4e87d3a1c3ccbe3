"""What the server looks at by itself, again and again, beside answering: whether all that is stored still
fits, and whether the seal's certificate, or the one that tablets are shown, is about to end;
the latter renews itself here.

Rules: the audit, the clock and the waiting are arguments;
each look has its own words in the log; one that fails is logged and does not end the watch.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cryptography import x509

from webapp.proof.certificates.tls_certificate import tls_term
from webapp.proof.keys.seal_term import seal_term
from webapp.services.audit.auditing import Audited
from webapp.words import say

DAY_S = 24 * 60 * 60.0
AGAIN_S = 60 * 60.0  # after an audit that could not be done, such as for a copy that writers disturbed
FIRST_PAUSE_S = 5.0  # people who wait for the first page go first

logger = logging.getLogger("zerokeep.watch")
# Waits for so many seconds; whether to go on.
Wait = Callable[[float], bool]
# Does an audit; what it looked at and found.
Audit = Callable[[], Audited]
# Renews the server's certificate where that is due, at the time given.
Renew = Callable[[datetime], None]


@dataclass(frozen=True)
class Terms:
    """The certificates whose end is watched:
    the seal's, and the file of the one that tablets are shown, if any.
    """

    seal: x509.Certificate
    tls: Path | None = None


def watch(
    audit: Audit,
    terms: Terms,
    now: Callable[[], datetime],
    wait: Wait,
    first_pause_s: float = FIRST_PAUSE_S,
    renew: Renew = lambda _: None,
) -> int:
    """Look after the first pause and then daily, an hour after a look that failed,
    until `wait` says that it is over; how often an audit was done.
    """
    done, pause_s = 0, first_pause_s
    while wait(pause_s):
        was_done = look(audit)
        pause_s = DAY_S if was_done else AGAIN_S
        done += was_done
        renewed(renew, now())
        tell_terms(terms, now())
    return done


def renewed(renew: Renew, now: datetime) -> bool:
    """Renew what is due; whether that could be done."""
    try:
        renew(now)
    except Exception:
        logger.exception("the server's certificate could not be renewed")
        return False
    return True


def look(audit: Audit) -> bool:
    """Audit once and log the outcome; whether it could be done."""
    try:
        outcome = audit()
    except Exception:
        logger.exception("the audit could not be done")
        return False
    for fault in outcome["found"]:
        logger.error("audit: %s: %s", say(fault["code"]), fault["record"])
    logger.info(
        "audit: entries %d to %d, %d do not fit", outcome["first"] + 1, outcome["entries"], outcome["faults"]
    )
    return True


def tell_terms(terms: Terms, now: datetime) -> None:
    """Log a warning while a certificate is about to end, or has."""
    for term in (seal_term(terms.seal, now), tls_term(terms.tls, now)):
        if term is not None:
            logger.warning("%s", say(term.code, term.fields))
