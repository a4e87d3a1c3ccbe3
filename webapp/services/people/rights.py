"""Who may set a machine up until when, and how: alone, or with a lead beside.

Rules: each change needs a lead, is one transaction and stands on the ledger; a right that is given anew takes
the place of the one that runs.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.plain.levels import ALONE, LEVELS
from webapp.domain.shop.levels import Held, held
from webapp.services.errors import (
    LevelMissing,
    LevelUnknown,
    NoSuchMachine,
    TimeRefused,
)
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.people.accounts import person_as_seen
from webapp.services.times import from_text, utc_text
from webapp.services.typed_reasons import note_text, reason_text

if TYPE_CHECKING:
    from webapp.store import Store


def authorise(
    store: Store,
    person: str,
    machine: str,
    until_utc: str | None,
    by: str,
    now: datetime,
    level: str | None = None,
    training: str | None = None,
    seen: str | None = None,
) -> None:
    """Let a person run a machine from now until a time (exclusive; None: until withdrawn), at a level.

    A level or a training that is None stays what it is; a first right has to be given a level. Where just
    that stands already nothing is stored. Raises
    RoleMissing, NoSuchPerson, NoSuchMachine, TimeRefused, LevelUnknown, LevelMissing, ReasonMissing.
    """
    until = checked_time(until_utc)
    with store.writing():
        must_be_lead(store, by)
        person_as_seen(store, person, seen)
        _must_be_there(store, machine)
        how = _held_as_asked(held_here(store, person, machine), level, training)
        if _stands(store, person, machine, until, how):
            return
        authorise_here(store, person, machine, until, by, now, how)


def withdraw(
    store: Store, person: str, machine: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Take an authorisation back, with a reason; also one to a machine that is out of use, which would stand
    again with it. Raises RoleMissing, ReasonMissing, NoSuchPerson, NoSuchMachine.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        person_as_seen(store, person, seen)
        if held_here(store, person, machine) is None:
            _must_be_there(store, machine)
        _withdraw_running(store, person, machine, now)
        data = {"machine": machine, "reason": reason}
        change(store, "person.authorisation_withdrawn", by, person, None, data, now)


def held_here(store: Store, person: str, machine: str) -> Held | None:
    """How a person's rights to a machine are held that were not withdrawn, ended ones too, inside a
    transaction; None without any.
    """
    rows = store.people.authorisations(person=person, machine=machine)
    return held((row["level"], row["training"]) for row in rows if row["withdrawn_at_utc"] is None)


def authorise_here(
    store: Store,
    person: str,
    machine: str,
    until: str | None,
    by: str,
    now: datetime,
    how: Held,
) -> None:
    """Give a right in the place of the one that runs, inside the caller's transaction."""
    _withdraw_running(store, person, machine, now)
    noted = {"level": how.level, "training": how.training or None}
    store.people.authorise(person, machine, utc_text(now), until, given_by=by, **noted)
    data = {"machine": machine, "until_utc": until, "level": how.level, "training": how.training}
    change(store, "person.authorised", by, person, None, data, now)


def checked_level(level: str | None) -> str:
    """A level that somebody chose. Raises LevelMissing, LevelUnknown."""
    if not level:
        raise LevelMissing
    if level not in LEVELS:
        raise LevelUnknown(level=level[:40])
    return level


def checked_time(typed: str | None) -> str | None:
    """A time as the store keeps it, or None. Raises TimeRefused."""
    if typed is None:
        return None
    try:
        return utc_text(from_text(typed))
    except ValueError:
        raise TimeRefused(typed=typed[:40]) from None


def _stands(store: Store, person: str, machine: str, until: str | None, how: Held) -> bool:
    rows = store.people.authorisations(person=person, machine=machine)
    return [
        (row["until_utc"], row["level"] or ALONE, row["training"] or "")
        for row in rows
        if row["withdrawn_at_utc"] is None
    ] == [(until, how.level, how.training)]


def _held_as_asked(stands: Held | None, level: str | None, training: str | None) -> Held:
    noted = note_text(training) if training is not None else stands.training if stands else ""
    return Held(stands.level if stands and level is None else checked_level(level), noted)


def _withdraw_running(store: Store, person: str, machine: str, now: datetime) -> None:
    for row in store.people.authorisations(person=person, machine=machine):
        if row["withdrawn_at_utc"] is None:
            store.people.withdraw(row["number"], utc_text(now))


def _must_be_there(store: Store, machine: str) -> None:
    if store.shop.item("machine", machine) is None:
        raise NoSuchMachine(machine=machine[:LONGEST_NAME])
