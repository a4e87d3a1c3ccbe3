"""The PIN that travels sealed beside a signature: opened once, checked, forgotten.

Rules:
- the seal is signed by the tablet that signed the event, and opens for its own event, device and person only
  (see proof/keys/jwe.py); a tablet that was enrolled before tablets signed seals may leave the signature out
  until its first one that has it; the PIN is compared under the throttle, in the order of the upload;
- a seal is not stored, unless the check could not be made; then it is kept under a key of its own, which is
  destroyed with the check (see proof/keys/kept_seal.py);
- one event gets one decision about a PIN. The same event with another seal gets the first answer again;
  a new try needs a new setup.signed event, of which there are three after the first, then that signing waits;
- that no seal came, or none that opens, is no such decision: it is written down once, so that the person is
  asked again, and the seal that fits still counts when it comes, as long as nobody signed anew behind it;
- the person must be active and authorised for the machine at the time that the event claims and now;
- a lead's PIN beside a stop or a row put back is checked in the same way;
  it lifts that stop and signs nothing off;
- a refusal says how many tries are left;
- the decision is a change on the ledger; until it is there the signature counts as made on the device only.

Decision: the sealed PIN travels beside the event, not in it. Inside, it would stand on the ledger for ever,
and could not be bound to the event's id; beside it, it is bound to that id and erased once checked. A wrong
PIN found at sync leaves all events as they are and asks for another signature.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar

from webapp.proof.errors import PinSealRefused
from webapp.proof.keys.jwe import open_pin_for
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people import throttle
from webapp.services.people.access import verify_pin
from webapp.services.people.errors import SecretNotChecked
from webapp.services.setups import sealed_pins, stored_setups
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import EventParts

Given = TypeVar("Given")
VERIFIED = "verified"
SIGNATURE, LIFT = "signature", "lift"
# No PIN was seen: whoever has a copy of the event can send it like this.
NO_PIN_SEEN = frozenset({"seal_missing", "seal_wrong"})
DECISIONS = frozenset(f"{kind}.{how}" for kind in (SIGNATURE, LIFT) for how in ("verified", "refused"))


def check(
    store: Store,
    keyring: KeyRing,
    event_id: str,
    seals: Sequence[str | None],
    now: datetime,
    known: stored_setups.Standing | None = None,
) -> str | None:
    """Decide about the PIN sealed beside a stored event,
    or give the decision that was made: "verified" or why not.

    `seals` are what came beside its text this time, in order; none at all decides nothing. `known`: how the
    setup stood when this event was stored.
    None where nothing hangs on it (the fold did not take the event), or when the check has to be made later.
    """
    with store.reading():
        row = store.events.events_by_id([event_id])[event_id]
        decided = decision(store, row["setup"], event_id)
        sealed = _sealed(store, row, decided, known) if seals else None
        kept = sealed_pins.kept(store, event_id)
    if sealed is None:
        return decided
    came = [seal for seal in (kept, *seals) if seal is not None]
    if decided is not None and not came:
        return decided
    found = _judge_in_turn(store, keyring, row, sealed, came or [None], now)
    return None if found is None else _decide(store, row, sealed, *found, now, known)


def _judge_in_turn(
    store: Store,
    keyring: KeyRing,
    row: EventParts,
    sealed: Sealed,
    seals: Sequence[str | None],
    now: datetime,
) -> tuple[str, str] | None:
    """What the first seal says that opens, else the last; None where it is kept to be checked later."""
    answer, key = "seal_missing", ""
    for seal in seals:
        try:
            answer, key = _judge(store, keyring, row, sealed, seal, now)
        except SecretNotChecked:
            with store.writing():
                store.events.keep_seal(row["id"], sealed_pins.closed(store, row["id"], seal))
            return None
        if answer not in NO_PIN_SEEN:
            break
    return answer, key


@dataclass(frozen=True)
class Sealed:
    """Whose PIN is sealed beside an event, and what the decision about it is called."""

    person: str
    kind: str


def _sealed(
    store: Store, row: EventParts, decided: str | None, known: stored_setups.Standing | None
) -> Sealed | None:
    """The PIN that hangs on this event by the fold and is still to be decided about, or None."""
    if not _is_open(decided):
        return None
    is_all = known is not None and known.is_all(store, row["setup"])
    state = known.state if known and is_all else stored_setups.fold_stored(store, row["setup"])
    for one in _still_asked(state["signatures"], decided):
        if one["event"] == row["id"]:
            return Sealed(row["person"], SIGNATURE)
    for given in (*_still_asked(state["lifts"], decided), *_still_asked(state["put_backs"], decided)):
        if given["event"] == row["id"]:
            return Sealed(given["lead"], LIFT)
    return None


def _still_asked(given: list[Given], decided: str | None) -> list[Given]:
    """What a seal may decide about: behind an answer that no PIN was seen only the last one,
    else what came later would be judged by something that was not there when it was done.
    """
    return given if decided is None else given[-1:]


def _is_open(decided: str | None) -> bool:
    return decided is None or decided in NO_PIN_SEEN


def decision(store: Store, setup_id: str, event_id: str) -> str | None:
    """What was decided last about a PIN beside an event: "verified", the reason of a refusal, or None."""
    decided = None
    for row in store.ledger.changes_of_setup(setup_id):
        if row["type"] in DECISIONS:
            data = json.loads(row["text"])["data"]
            if data["event"] == event_id:
                decided = VERIFIED if row["type"].endswith(".verified") else str(data["reason"])
    return decided


def _judge(
    store: Store, keyring: KeyRing, row: EventParts, sealed: Sealed, seal: str | None, now: datetime
) -> tuple[str, str]:
    """The answer ("verified" or the reason of a refusal)
    and the id of the key that the seal was opened with.
    """
    reason = _lead_right(store, row, sealed) if sealed.kind == LIFT else _right(store, row, now)
    if reason is not None:
        return reason, ""
    if seal is None:
        return "seal_missing", ""
    try:
        opened = open_pin_for(
            sealed_pins.as_the_tablet_sealed(store, row["device"], seal, now),
            keyring,
            event_id=row["id"],
            device_id=row["device"],
            person_id=sealed.person,
        )
    except PinSealRefused:
        return "seal_wrong", ""
    answer = verify_pin(store, keyring, sealed.person, row["device"], row["setup"], opened.pin, now)
    return answer, opened.key_id


def _lead_right(store: Store, row: EventParts, sealed: Sealed) -> str | None:
    """Why this person may not stand by at this setup as its lead, or None."""
    with store.reading():
        person = store.people.person(sealed.person)
    if person is None or "lead" not in person["roles"] or sealed.person == row["person"]:
        return "not_authorised"
    return None if person["active"] else "person_disabled"


def _right(store: Store, row: EventParts, now: datetime) -> str | None:
    """Why this person may not sign this setup, or None."""
    with store.reading():
        setup, person = store.setups.setup(row["setup"]), store.people.person(row["person"])
        times = (row["at_utc"], utc_text(now))
        if (
            person is None
            or setup is None
            or setup["person"] != row["person"]
            or "operator" not in person["roles"]
        ):
            return "not_authorised"
        if not person["active"]:
            return "person_disabled"
        allowed = [store.people.is_authorised(row["person"], setup["machine"], at_utc) for at_utc in times]
    return None if all(allowed) else "not_authorised"


def _decide(
    store: Store,
    row: EventParts,
    sealed: Sealed,
    answer: str,
    key: str,
    now: datetime,
    known: stored_setups.Standing | None,
) -> str:
    """Write the decision, unless another thread was first; the decision that stands."""
    try:
        return _decided(store, row, sealed, answer, key, now, known)
    finally:
        sealed_pins.forget(store, row["id"])


def _decided(
    store: Store,
    row: EventParts,
    sealed: Sealed,
    answer: str,
    key: str,
    now: datetime,
    known: stored_setups.Standing | None,
) -> str:
    with store.writing():
        # A decision says what may come after: with events behind this one, all is folded again.
        if known and not (known.events[-1]["id"] == row["id"] and known.is_all(store, row["setup"])):
            known = None
        store.events.erase_seal(row["id"])
        first = decision(store, row["setup"], row["id"])
        if first is not None and (answer in NO_PIN_SEEN or not _is_open(first)):
            return first
        data: dict[str, str | int] = {"event": row["id"], "person": sealed.person}
        if answer == VERIFIED:
            kind, data = f"{sealed.kind}.verified", {**data, "key": key}
        else:
            left = throttle.tries_left(
                store, throttle.pin_subjects(sealed.person, row["device"], row["setup"])
            )
            kind, data = f"{sealed.kind}.refused", {**data, "reason": answer, "tries_left": left}
        change(store, kind, SERVER, sealed.person, row["setup"], data, now)
        if known:
            known.take_decision(store, row["setup"])
        stored_setups.refresh(store, row["setup"], known)
    return answer
