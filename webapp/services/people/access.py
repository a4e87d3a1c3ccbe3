"""Signing in, sessions, and the two secrets of a person.

Rules:
- the answer and the work are the same for an unknown name, a wrong passphrase and a disabled account (OWASP
  ASVS 5.0, 6.3.8), and what was typed as a name is kept nowhere, because it may be a passphrase in the wrong
  field;
- a session's token has 256 bits and comes in as an argument; only its hash is stored (7.2.3). It ends after a
  stretch without use, after its longest time, when the person is disabled or changes their passphrase (7.3,
  7.4);
- first secrets are made by chance, given once, good for a week and for nothing but changing them (6.4.1);
  a lead starts that and never chooses the value (6.4.6);
- a PIN is checked for a signature only, under the same throttle whether it came at once or was sealed
  offline.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, TypedDict

from webapp.services.errors import NoSuchPerson, RoleMissing
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people import throttle
from webapp.services.people.errors import (
    PassphraseUnchanged,
    SecretNotChecked,
    SignInRefused,
    StoppedAfterTries,
    TooManyTries,
)
from webapp.services.people.secret_digests import digests_of
from webapp.services.people.secret_rules import (
    check_passphrase,
    check_pin,
    hash_passphrase,
    hash_pin,
    passphrase_fits,
    pin_fits,
)
from webapp.services.times import from_text, later, utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import PersonRow

KNOWN_DAYS = 30
FIRST_SECRETS_DAYS = 7
SEEN_EVERY_SECONDS = 30
LONGEST_NAME = 64
DESK = "desk"


class Session(TypedDict):
    """A running session: whose it is, and what they still have to change."""

    person: str
    name: str
    roles: list[str]
    must_change: bool
    must_change_pin: bool
    started_at_utc: str


def token_hash(token: str) -> str:
    """What is stored of a session's token, lower-case hex."""
    return sha256(token.encode()).hexdigest()


def sign_in(
    store: Store,
    person_id: str,
    passphrase: str,
    now: datetime,
    token: str,
    source: str = DESK,
) -> Session:
    """Start a session under this new token; what `session` gives.
    `source` says where from, such as an address.

    Raises SignInRefused, TooManyTries (with the seconds to wait), StoppedAfterTries.
    """
    person = check_secret(store, person_id, passphrase, now, source)
    if person is None:
        raise SignInRefused
    with store.writing():
        store.access.start_session(token_hash(token), person["id"], source, utc_text(now))
        # Only the hash of the token, of which 256 bits of chance cannot be guessed.
        data = {"source": source, "session": token_hash(token)}
        change(store, "sign_in.succeeded", person["id"], person["id"], None, data, now)
    return _session_of(person, utc_text(now))


def check_secret(
    store: Store, person_id: str, passphrase: str, now: datetime, source: str = DESK
) -> PersonRow | None:
    """The active person whose passphrase this is, or None; each try counts in the throttle.

    Raises TooManyTries, StoppedAfterTries. To be called outside a transaction: the check is slow on purpose.
    """
    with store.writing():
        person = store.people.person(person_id)
        who = person["id"] if person else throttle.nobody(person_id)
        place = source[:LONGEST_NAME]
        lately = later(now, days=-KNOWN_DAYS)
        known_here = store.access.signed_in_from(who, source, lately)
        subjects = throttle.passphrase_subjects(who, place, known_here=known_here)
        wait = throttle.begin_try(store, subjects, now)
    if wait is not None:
        raise StoppedAfterTries if wait.seconds is None else TooManyTries(seconds=wait.seconds)
    fits = passphrase_fits(person["passphrase_hash"] if person else None, passphrase)
    if person is None or not fits or not person["active"] or _first_secret_is_over(person, now):
        with store.writing():
            known = person["id"] if person else "unknown"
            change(store, "sign_in.refused", SERVER, known, None, {"source": source}, now)
        return None
    with store.writing():
        throttle.was_right(store, subjects)
        throttle.open_pins(store, person["id"])
    return person


def session(
    store: Store, token: str, now: datetime, idle_minutes: int = 30, longest_minutes: int = 600
) -> Session | None:
    """The running session of this token, or None:
    person, name, roles, must_change, must_change_pin, started_at_utc.
    """
    hashed = token_hash(token)
    with store.reading():
        row = store.access.session(hashed)
        person = store.people.person(row["person"]) if row else None
    if row is None or person is None or row["ended_at_utc"] is not None or not person["active"]:
        return None
    idle_since = now - timedelta(minutes=idle_minutes)
    if from_text(row["seen_at_utc"]) < idle_since:
        _end(store, hashed, now, "idle")
        return None
    if from_text(row["started_at_utc"]) < now - timedelta(minutes=longest_minutes):
        _end(store, hashed, now, "longest")
        return None
    if from_text(row["seen_at_utc"]) + timedelta(seconds=SEEN_EVERY_SECONDS) <= now:
        with store.writing():
            store.access.see_session(hashed, utc_text(now))
    return _session_of(person, row["started_at_utc"])


def sign_out(store: Store, token: str, now: datetime) -> None:
    """End the session of this token; nothing happens if there is none."""
    _end(store, token_hash(token), now, "signed_out")


def change_passphrase(
    store: Store, person_id: str, old: str, new: str, now: datetime, source: str = DESK
) -> None:
    """Set a passphrase of one's own and end all of one's sessions, so the caller signs in anew.

    Raises SignInRefused for a wrong old one, PassphraseUnchanged, and what check_passphrase raises.
    """
    person = check_secret(store, person_id, old, now, source)
    if person is None:
        raise SignInRefused
    text = check_passphrase(new, own_words(store, person))
    if passphrase_fits(person["passphrase_hash"], text):
        raise PassphraseUnchanged
    hashed = hash_passphrase(text)
    with store.writing():
        columns = {"passphrase_hash": hashed, "must_change": False, "first_secrets_until_utc": None}
        said = _set(store, person_id, **columns)
        store.access.end_sessions_of(person_id, utc_text(now), "passphrase_changed")
        data = {"secret": "passphrase", "first": False, **said}
        change(store, "secret.changed", person_id, person_id, None, data, now)


def change_pin(
    store: Store,
    keyring: KeyRing,
    person_id: str,
    passphrase: str,
    new_pin: str,
    now: datetime,
    source: str = DESK,
) -> None:
    """Set a PIN of one's own, after the passphrase. Raises SignInRefused, PinForm, PinGuessable."""
    if check_secret(store, person_id, passphrase, now, source) is None:
        raise SignInRefused
    hashed = hash_pin(keyring.pepper, person_id, check_pin(new_pin))
    with store.writing():
        said = _set(store, person_id, pin_hash=hashed, must_change_pin=False)
        throttle.open_pins(store, person_id)
        data = {"secret": "pin", "first": False, **said}
        change(store, "secret.changed", person_id, person_id, None, data, now)


def choose_own(
    store: Store,
    keyring: KeyRing,
    person_id: str,
    given: str,
    passphrase: str,
    pin: str,
    now: datetime,
    source: str = DESK,
) -> None:
    """Set passphrase and PIN of one's own in the place of first ones, at once; all sessions end.

    Raises SignInRefused for a wrong first passphrase, PassphraseUnchanged, and what the checks of secrets
    raise; nothing is changed then.
    """
    person = check_secret(store, person_id, given, now, source)
    if person is None:
        raise SignInRefused
    text = check_passphrase(passphrase, own_words(store, person))
    if passphrase_fits(person["passphrase_hash"], text):
        raise PassphraseUnchanged
    hashes = hash_passphrase(text), hash_pin(keyring.pepper, person_id, check_pin(pin))
    with store.writing():
        keep_own_secrets(store, person_id, hashes, now)
        store.access.end_sessions_of(person_id, utc_text(now), "passphrase_changed")
        throttle.open_pins(store, person_id)


def set_first_secrets(
    store: Store, keyring: KeyRing, person_id: str, by: str, now: datetime, passphrase: str, pin: str
) -> None:
    """Give a person first secrets, made by chance by the caller; they last a week and have to be changed.

    Raises NoSuchPerson, RoleMissing if `by` is no lead, and what check_passphrase and check_pin raise.
    """
    check_passphrase(passphrase)
    hashes = hash_passphrase(passphrase), hash_pin(keyring.pepper, person_id, check_pin(pin))
    with store.writing():
        must_be_lead(store, by)
        give_first_secrets(store, person_id, hashes, by, now)


def give_first_secrets(store: Store, person_id: str, hashes: tuple[str, str], by: str, now: datetime) -> None:
    """Store hashed first secrets inside the caller's transaction. Raises NoSuchPerson."""
    said = _set(
        store,
        person_id,
        passphrase_hash=hashes[0],
        pin_hash=hashes[1],
        must_change=True,
        must_change_pin=True,
        first_secrets_until_utc=later(now, days=FIRST_SECRETS_DAYS),
    )
    store.access.end_sessions_of(person_id, utc_text(now), "first_secrets")
    throttle.open_pins(store, person_id)
    throttle.open_passphrase(store, person_id)
    data = {"secret": "both", "first": True, **said}
    change(store, "secret.changed", by, person_id, None, data, now)


def keep_own_secrets(store: Store, person_id: str, hashes: tuple[str, str], now: datetime) -> None:
    """Store hashed secrets that a person chose both of, inside the caller's transaction."""
    columns = {"passphrase_hash": hashes[0], "pin_hash": hashes[1], "must_change": False}
    said = _set(store, person_id, **columns, must_change_pin=False, first_secrets_until_utc=None)
    change(
        store, "secret.changed", person_id, person_id, None, {"secret": "both", "first": False, **said}, now
    )


def verify_pin(
    store: Store, keyring: KeyRing, person_id: str, device_id: str, setup_id: str, pin: str, now: datetime
) -> str:
    """Check a PIN for one signature: "verified", "wrong_pin", "throttled" or "pin_not_changed".

    To be called outside a transaction.
    A first PIN that was not changed signs nothing: more than one person knows it.
    """
    subjects = throttle.pin_subjects(person_id, device_id, setup_id)
    with store.writing():
        wait = throttle.begin_try(store, subjects, now)
        person = store.people.person(person_id)
    if wait is not None:
        return "throttled"
    try:
        fits = pin_fits(person["pin_hash"] if person else None, keyring.pepper, person_id, pin)
    except SecretNotChecked:
        with store.writing():
            throttle.take_back(store, subjects)
        raise
    if person is None or not fits:
        return "wrong_pin"
    with store.writing():
        throttle.was_right(store, subjects)
    return "pin_not_changed" if person["must_change_pin"] else "verified"


def must_be_lead(store: Store, person_id: str) -> PersonRow:
    """The active lead of this id, inside the caller's transaction. Raises RoleMissing."""
    person = store.people.person(person_id)
    if person is None or not person["active"] or "lead" not in person["roles"]:
        raise RoleMissing(role_code="services.role_lead")
    return person


def own_words(store: Store, person: PersonRow) -> list[str]:
    """Words that a guess at this person's passphrase would start with."""
    with store.reading():
        shop = store.shop.item("shop", "shop")
    return [person["id"], person["name"], *([shop["name"]] if shop else [])]


def _set(store: Store, person_id: str, **columns: object) -> dict[str, object]:
    """Set secrets in the caller's transaction; the digests of both, old and new, as the ledger has them.
    Raises NoSuchPerson.
    """
    before = store.people.person(person_id)
    if before is None:
        raise NoSuchPerson(person=person_id)
    store.people.change(person_id, **columns)
    after = store.people.person(person_id)
    return {"digests": digests_of(after or before), "before": digests_of(before)}


def _first_secret_is_over(person: PersonRow, now: datetime) -> bool:
    until = person["first_secrets_until_utc"]
    return bool(person["must_change"] and until is not None and until < utc_text(now))


def _end(store: Store, hashed: str, now: datetime, because: str) -> None:
    with store.writing():
        row = store.access.session(hashed)
        if row is not None and store.access.end_session(hashed, utc_text(now), because):
            data = {"session": hashed, "because": because}
            change(store, "session.ended", row["person"], row["person"], None, data, now)


def _session_of(person: PersonRow, started_at_utc: str) -> Session:
    return {
        "person": person["id"],
        "name": person["name"],
        "roles": person["roles"],
        "must_change": person["must_change"],
        "must_change_pin": person["must_change_pin"],
        "started_at_utc": started_at_utc,
    }
