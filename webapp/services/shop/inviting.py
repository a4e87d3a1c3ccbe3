"""Letting people in: one or a whole class, with what they may run and first secrets, or none of them.

Rules: a lead does it and types their own passphrase; first secrets are made by chance by the caller and shown
once; faults of the list come all at once and then nothing is stored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.zones import day_begins_utc
from webapp.domain.shop.class_list import ClassList, Invited, read_class_list
from webapp.domain.shop.levels import Held
from webapp.services.errors import DayIsOver, NoSuchMachine, PersonKnownAlready
from webapp.services.evidence.ledger import change
from webapp.services.people import names as people_names
from webapp.services.people.access import check_secret, give_first_secrets, must_be_lead, set_first_secrets
from webapp.services.people.accounts import checked_roles
from webapp.services.people.errors import SignInRefused
from webapp.services.people.rights import authorise_here, checked_level, checked_time
from webapp.services.people.secret_rules import check_passphrase, check_pin, hash_passphrase, hash_pin
from webapp.services.times import utc_text
from webapp.services.typed_reasons import note_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store


@dataclass(frozen=True)
class FirstSecrets:
    """What a person signs in with once, and the PIN that goes with it."""

    passphrase: str
    pin: str


@dataclass(frozen=True)
class Rights:
    """What a class is let in with: roles, and machines until a time (exclusive; None: until withdrawn), alone
    or with a lead beside (which has to be said where there are machines), with what is noted of the training.
    """

    roles: Sequence[str]
    machines: Sequence[str]
    until_utc: str | None
    level: str | None = None
    training: str = ""


def read_list(store: Store, text: str) -> ClassList:
    """The people of a typed list beside those that there are, and what is wrong with it."""
    with store.reading():
        known = store.people.names()
    return read_class_list(text, known)


def let_in(
    store: Store,
    keyring: KeyRing,
    people: Sequence[Invited],
    secrets: Mapping[str, FirstSecrets],
    rights: Rights,
    by: str,
    now: datetime,
) -> None:
    """Open an account for each with first secrets (by short name).

    Raises RoleMissing, RoleUnknown, NoSuchMachine, TimeRefused, LevelMissing, LevelUnknown,
    PersonKnownAlready, and what the checks of secrets raise; nothing is stored then.
    """
    roles, until = checked_roles(rights.roles), checked_time(rights.until_utc)
    training = note_text(rights.training)
    level = checked_level(rights.level) if rights.machines else ""
    hashes = {one.id: _hashes(keyring, one.id, secrets[one.id]) for one in people}
    with store.writing():
        must_be_lead(store, by)
        known = store.shop.items("machine")
        for machine in rights.machines:
            if machine not in known:
                raise NoSuchMachine(machine=machine[:40])
        for one in people:
            if store.people.person(one.id) is not None:
                raise PersonKnownAlready(person=one.id)
            added = people_names.add(store, one.id, one.name, roles)
            change(store, "person.added", by, one.id, None, added, now)
            for machine in rights.machines:
                authorise_here(store, one.id, machine, until, by, now, Held(level, training))
            give_first_secrets(store, one.id, hashes[one.id], by, now)


def begin_anew(
    store: Store, keyring: KeyRing, person: str, secrets: FirstSecrets, by: str, now: datetime
) -> None:
    """Give somebody first secrets in place of forgotten ones; all their sessions end.

    Raises RoleMissing, NoSuchPerson.
    """
    set_first_secrets(store, keyring, person, by, now, secrets.passphrase, secrets.pin)


def end_of_day(day: date, zone: str, now: datetime) -> str:
    """When a last day, which counts whole, is over in this zone. Raises DayIsOver for one that is over."""
    until = day_begins_utc(day, zone, 1)
    if until <= utc_text(now):
        raise DayIsOver(day=day.isoformat())
    return until


def must_be_the_leads_own(store: Store, lead: str, passphrase: str, now: datetime, source: str) -> None:
    """Look whether a lead typed their own passphrase, so that a desk left open gives nobody an account.

    Raises SignInRefused, TooManyTries, StoppedAfterTries.
    """
    if check_secret(store, lead, passphrase, now, source) is None:
        raise SignInRefused


def _hashes(keyring: KeyRing, person: str, secrets: FirstSecrets) -> tuple[str, str]:
    passphrase, pin = check_passphrase(secrets.passphrase), check_pin(secrets.pin)
    return hash_passphrase(passphrase), hash_pin(keyring.pepper, person, pin)
