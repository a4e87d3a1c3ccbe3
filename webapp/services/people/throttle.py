"""Failures in a row, and how long the next try has to wait.

Rules (NIST SP 800-63B-4 on throttling, OWASP ASVS 5.0, 6.1.1 and 6.3.1):
- a try is counted as failed before it is checked and taken back when it was right,
  so tries at the same moment and a server that stops in between give nobody a free guess;
- counts lie in the store and outlive a restart;
- the wait grows: it doubles with each failure beyond the free ones, up to a longest;
- a PIN stops after 8 failures in a row on one tablet and 10 anywhere, until its owner signs in with the
  passphrase or is given new secrets. A joker at one tablet therefore cannot keep somebody from signing at
  another one;
- a passphrase never stops: its counts slow down and forget, so that nobody can lock a lead out by guessing.
  Where this person has signed in lately, what strangers did elsewhere does not count.

Decision: NIST SP 800-63B-4 allows a hundred failures in a row and then asks that the secret be bound anew. A
shop has two or three leads, and whoever can type their names could take all of them out in an afternoon, from
the shop's own network. So guessing is slowed instead: twenty tries are free of waiting, then the wait doubles
up to an hour, which leaves about twenty-four guesses a day at a passphrase of fifteen characters and more
that is on no list. `zerokeep secrets PERSON` on the server's own machine begins a person anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store


@dataclass(frozen=True, slots=True)
class Limit:
    """How many failures are free of waiting, the first and the longest wait in seconds, and where it stops.

    `first_wait_seconds` None: no try ever waits; `longest_wait_seconds` None: waits double up to the stop.
    `stop` None: it never stops. `forget_seconds`: failures older than that no longer count (None: they always
    do). `of_person`: it counts for one person alone, so that a right try of theirs starts it anew.
    """

    free: int
    first_wait_seconds: int | None = None
    longest_wait_seconds: int | None = None
    stop: int | None = None
    forget_seconds: int | None = None
    of_person: bool = True


HOUR, DAY = 3600, 24 * 3600
PIN_ON_DEVICE = Limit(free=4, first_wait_seconds=30, stop=8)
PIN_ANYWHERE = Limit(free=10, stop=10)
DEVICE = Limit(free=12, first_wait_seconds=30, longest_wait_seconds=900, forget_seconds=HOUR, of_person=False)
# One signature and three tries more; then that signing waits.
SIGNING_ACT = Limit(free=3, first_wait_seconds=HOUR, longest_wait_seconds=DAY)
PASSPHRASE_FROM_SOURCE = Limit(free=4, first_wait_seconds=15, longest_wait_seconds=900, forget_seconds=HOUR)
PASSPHRASE_ANYWHERE = Limit(free=20, first_wait_seconds=15, longest_wait_seconds=HOUR, forget_seconds=DAY)
SOURCE = Limit(free=20, first_wait_seconds=15, longest_wait_seconds=900, forget_seconds=HOUR, of_person=False)


@dataclass(frozen=True, slots=True)
class Wait:
    """Why the next try is not checked: seconds to wait from now, or None when trying has stopped."""

    seconds: int | None


Subjects = tuple[tuple[str, Limit], ...]


def pin_subjects(person: str, device: str, setup: str) -> Subjects:
    """What a try of a PIN counts for."""
    return (
        (f"pin:{person}:on:{device}", PIN_ON_DEVICE),
        (f"pin:{person}:anywhere", PIN_ANYWHERE),
        (f"device:{device}", DEVICE),
        (f"signing:{device}:{setup}:{person}", SIGNING_ACT),
    )


def passphrase_subjects(person: str, source: str, *, known_here: bool = False) -> Subjects:
    """What a try of a passphrase counts for. `known_here`: this person has signed in from there lately."""
    here = (f"passphrase:{person}:from:{source}", PASSPHRASE_FROM_SOURCE)
    if known_here:
        return (here,)
    return (here, (f"passphrase:{person}:anywhere", PASSPHRASE_ANYWHERE), (f"source:{source}", SOURCE))


def nobody(typed: str) -> str:
    """What stands for a name that nobody has:
    four hex digits of its hash, which do not tell what was typed.
    """
    return f"?{sha256(typed.encode('utf-8', 'surrogatepass')).hexdigest()[:4]}"


def begin_try(store: Store, subjects: Subjects, now: datetime) -> Wait | None:
    """Count a try as failed in all its subjects, in the caller's transaction;
    or say why it is not to be checked.
    """
    waits = [wait for subject, limit in subjects if (wait := _wait(store, subject, limit, now))]
    if waits:
        return max(waits, key=lambda wait: float("inf") if wait.seconds is None else wait.seconds)
    for subject, limit in subjects:
        if _is_forgotten(store, subject, limit, now):
            store.access.forget_failures(subject)
        store.access.fail(subject, utc_text(now))
    return None


def tries_left(store: Store, subjects: Subjects) -> int:
    """How many tries may still be made now before the next one has to wait or is not looked at any more."""
    left = []
    for subject, limit in subjects:
        row = store.access.failures(subject)
        most = [limit.free + 1] if limit.first_wait_seconds is not None else []
        most += [] if limit.stop is None else [limit.stop]
        left += [max(0, one - (row["failures"] if row else 0)) for one in most]
    return min(left)


def was_right(store: Store, subjects: Subjects) -> None:
    """The try was right: what stands for this person starts anew,
    what stands for a tablet or place is taken back by one.

    Somebody with an account of their own must not be able to wipe the count of the tablet that they guess at.
    """
    for subject, limit in subjects:
        if limit.of_person:
            store.access.forget_failures(subject)
        else:
            store.access.take_back_failure(subject)


def take_back(store: Store, subjects: Subjects) -> None:
    """The try could not be checked: it does not count."""
    for subject, _ in subjects:
        store.access.take_back_failure(subject)


def open_pins(store: Store, person: str) -> None:
    """Let a person's PIN be tried again everywhere, after they showed in another way who they are."""
    store.access.forget_failures_under(f"pin:{person}:")


def open_passphrase(store: Store, person: str) -> None:
    """Let a person's passphrase be tried again everywhere, after a lead gave them a new one."""
    store.access.forget_failures_under(f"passphrase:{person}:")


def _wait(store: Store, subject: str, limit: Limit, now: datetime) -> Wait | None:
    row = store.access.failures(subject)
    if row is None or _is_forgotten(store, subject, limit, now):
        return None
    if limit.stop is not None and row["failures"] >= limit.stop:
        return Wait(None)
    beyond = row["failures"] - limit.free
    if beyond <= 0 or limit.first_wait_seconds is None:
        return None
    doubled = limit.first_wait_seconds * 2 ** (beyond - 1)
    whole = doubled if limit.longest_wait_seconds is None else min(doubled, limit.longest_wait_seconds)
    left = whole - _seconds_since(row["last_failure_at_utc"], now)
    return Wait(max(1, round(left))) if left > 0 else None


def _is_forgotten(store: Store, subject: str, limit: Limit, now: datetime) -> bool:
    row = store.access.failures(subject)
    if row is None or limit.forget_seconds is None:
        return False
    return _seconds_since(row["last_failure_at_utc"], now) > limit.forget_seconds


def _seconds_since(at_utc: str, now: datetime) -> float:
    """Never below zero: a clock that was set back does not lengthen the wait beyond a whole one."""
    return max(0.0, (now - from_text(at_utc)).total_seconds())
