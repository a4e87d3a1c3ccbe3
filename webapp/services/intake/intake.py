"""Taking in what tablets send: each event once, whole batches or nothing, one receipt for each event.

Rules:
- the id of an event is the hash of what was signed;
  sending it again changes nothing and gets the same answer (a set union, in any order, in any portions);
- an event is taken from an enrolled tablet only, with a signature that fits, with exactly the fields of its
  type, for a sheet that was handed out, and for a setup that the same tablet began. What is refused is kept
  apart with the reason;
- a text without a fitting signature is nobody's and decides about nothing: it is kept apart under a name that
  no event can have, so many a day from one address and from all, and of these the oldest make room;
- an event whose predecessor has not come waits for it and is taken when it comes;
- times are noted, never corrected, and order nothing:
  an event from the future, or one that goes back, gets a problem;
- the fold decides again what the tablet decided;
  a difference is a problem of the event, kept with it and on its receipt;
- a caution that was acknowledged earlier in the shift names that event;
  one that nothing bears out is a change on the ledger, and so a problem of its setup (see cited.py);
- receipts exist only after the commit. Sealed PINs are opened after it too,
  in the order of the upload, under the same throttle as all tries, and are not stored (see pins.py).
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.told import UNSIGNED
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.intake.chain import Problem
from webapp.services.intake.cited import unfounded
from webapp.services.intake.reading import (
    Part,
    Refusal,
    Sent,
    named_device,
    read_batch,
    read_sent,
    unreadable,
)
from webapp.services.intake.sorting import Intake, Receipt, event_of, receipt, sort_out
from webapp.services.setups import pins, sealed_pins, stored_setups
from webapp.services.setups.stored_setups import Standing
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import SetAsideRow, WaitingRow

MOST_UNSIGNED_ASIDE = 2000
MOST_UNSIGNED_A_DAY = 50
MOST_UNSIGNED_OF_ONE = 10
UNKNOWN_SOURCE = "network"
LONGEST_UNSIGNED = 4096
SEALED = frozenset({"setup.signed", "stop.lifted", "row.put_back"})
WORTH_SHARING = 40
CITED_NOT_FOUND = "caution.not_found"

# Id, signed text, sealed PIN, key of the tablet that it names.
Readable = tuple[str, str, str | None, tuple[tuple[str, str], ...] | None]
Taken = tuple[Sent, Event[Any], list[Problem]]


def accept(store: Store, keyring: KeyRing, batch: object, now: datetime) -> list[Receipt]:
    """Store the events of an upload as it came.
    Raises BatchMalformed or BatchTooLong and stores nothing then.
    """
    return take_in(store, keyring, read_batch(batch), now)


def take_in(
    store: Store, keyring: KeyRing, parts: list[Part], now: datetime, source: str = UNKNOWN_SOURCE
) -> list[Receipt]:
    """Store the events of an upload; one receipt for each part, in the order sent.

    A receipt: event, outcome (accepted, already_had, kept_out_of_order, refused), code, fields, problems,
    signature, sequence (the event's place in the ledger, from 1). `source` is the address that the upload
    came from.
    """
    sent = _read_new(store, parts)
    intake = Intake(now, source)
    with store.writing():
        sort_out(store, intake, sent, [part[0] for part in parts])
        standing = _store(store, intake)
    _check_signatures(store, keyring, intake, parts, standing)
    return [intake.receipts[id_] for id_, _, _ in parts]


def check_pending_seals(store: Store, keyring: KeyRing, now: datetime) -> int:
    """Check sealed PINs that could not be checked when they came; how many were. To be called at start."""
    with store.reading():
        rows = store.events.pending_seals()
    for row in rows:
        # What is kept is looked at first; one whose key is gone is as if none had come.
        pins.check(store, keyring, row["event"], [None], now)
    sealed_pins.forget_all_but_waiting(store, now)
    return len(rows)


def waiting(store: Store) -> list[WaitingRow]:
    """Events that wait for an earlier one of their tablet, for the lead to see."""
    with store.reading():
        return store.events.waiting()


def refused(store: Store) -> list[SetAsideRow]:
    """What was sent and set aside, newest first, with code and fields."""
    with store.reading():
        return store.events.refused()


def _read_new(store: Store, parts: list[Part]) -> dict[str, Sent]:
    """Verify what is not stored yet, outside any transaction: signatures take most of the time."""
    with store.reading():
        known = store.events.events_by_id({part[0] for part in parts})
        new = {(part.id, part.jws): part for part in reversed(parts) if part.id not in known}
        names = {part: named_device(part.jws) for part in new.values()}
        keys = {name: _key_of(store, name) for name in set(names.values()) if name is not None}
    readable = [(*part, keys[name]) for part, name in names.items() if name is not None]
    sent = {part.id: unreadable(*part) for part, name in names.items() if name is None}
    # Several texts may have one id, because it leaves the signature out: the one that was signed counts.
    return sent | {one.id: one for one in sorted(_read_all(readable), key=lambda one: one.verified)}


def _read_all(readable: list[Readable]) -> list[Sent]:
    """Read and verify many texts:
    on two processors, because the check of a signature lets other threads run.
    """
    if len(readable) < WORTH_SHARING:
        return _read_some(readable)
    half = len(readable) // 2
    with ThreadPoolExecutor(1) as other:
        second = other.submit(_read_some, readable[half:])
        return _read_some(readable[:half]) + second.result()


def _read_some(readable: list[Readable]) -> list[Sent]:
    return [read_sent(*one) for one in readable]


def _key_of(store: Store, device_id: str) -> tuple[tuple[str, str], ...] | None:
    row = store.devices.device(device_id)
    return tuple(sorted(row["jwk"].items())) if row else None


def _store(store: Store, intake: Intake) -> dict[str, Standing]:
    """Write all of it: leaves, events, the rows of their setups, what waits, what is set aside, flags.
    How each setup of the upload stands then, by its id.
    """
    rows = list(intake.taken.values())
    received = utc_text(intake.now)
    by_setup: dict[str, list[Taken]] = {}
    for taken in rows:
        by_setup.setdefault(taken[1]["setup"], []).append(taken)
    standing = {setup: _fold_with(store, setup, new) for setup, new in by_setup.items()}
    _look_up_cited(store, intake, standing)
    if rows:
        start = store.ledger.append("event", [sent.jws.encode() for sent, _, _ in rows])
        store.events.add_events([_row(start + place, *taken, received) for place, taken in enumerate(rows)])
        for place, (sent, _, problems) in enumerate(rows, start=start + 1):
            intake.receipts[sent.id] = receipt(sent.id, "accepted", problems=problems, sequence=place)
    for setup, one in standing.items():
        stored_setups.keep_lists(store, setup, one.events, one.state, received)
    for device in {event["device"] for _, event, _ in rows}:
        store.devices.see(device, received)
    _keep_waiting(store, intake, received)
    _set_aside(store, intake, received)
    for device, pair in intake.chain.newly_forked.items():
        store.devices.set_state(device, "forked")
        change(store, "device.forked", SERVER, device, None, {"events": sorted(pair)}, intake.now)
    return standing


def _fold_with(store: Store, setup: str, new: list[Taken]) -> Standing:
    """Fold a setup once with all its new events and put what the fold finds wrong on each of them."""
    standing = Standing.with_more(store, setup, [event for _, event, _ in new])
    found: dict[str | None, list[Problem]] = {}
    for problem in standing.state["problems"]:
        found.setdefault(problem["event"], []).append({"code": problem["code"], "fields": problem["fields"]})
    for sent, _, problems in new:
        problems.extend(found.get(sent.id, ()))
    return standing


def _look_up_cited(store: Store, intake: Intake, standing: dict[str, Standing]) -> None:
    """Write down, and put on its event, each carried caution that nothing bears out."""
    for event, data in unfounded(store, intake):
        setup = event["setup"]
        change(store, CITED_NOT_FOUND, SERVER, event["person"], setup, data, intake.now)
        standing[setup].take_decision(store, setup)
        problem: Problem = {"code": "setup.caution_not_found", "fields": {"caution": data["caution"]}}
        intake.taken[event["id"]][2].append(problem)


def _row(
    position: int, sent: Sent, event: Event[Any], problems: list[Problem], received: str
) -> tuple[Any, ...]:
    """An event in the order of the store's EVENT_COLUMNS."""
    return (
        position,
        sent.id,
        sent.jws,
        event["device"],
        event["sequence"],
        event["setup"],
        event["type"],
        event["person"],
        event["sheet"],
        event["at_utc"],
        received,
        json.dumps(problems),
    )


def _keep_waiting(store: Store, intake: Intake, received: str) -> None:
    gone = [id_ for id_ in intake.waited if id_ in intake.taken or id_ in intake.refused]
    store.events.stop_waiting(gone)
    for sent in intake.waiting.values():
        event = event_of(sent)
        row: WaitingRow = {
            "id": sent.id,
            "jws": sent.jws,
            "device": event["device"],
            "sequence": event["sequence"],
            "previous": event["previous"] or "",
            "received_at_utc": received,
        }
        store.events.wait(row)


def _set_aside(store: Store, intake: Intake, received: str) -> None:
    """Keep what was refused, with the reason:
    all that a tablet signed, of what nobody signed a bounded number.
    """
    nobodys = [one for one in intake.refused.values() if not one[0].verified]
    for sent, refusal in (one for one in intake.refused.values() if one[0].verified):
        _set_one_aside(store, intake, sent, refusal, received)
    if nobodys:
        today = store.events.unsigned_since(received[:10])
        room = min(MOST_UNSIGNED_A_DAY - sum(today.values()), MOST_UNSIGNED_OF_ONE - today[intake.source])
        for sent, refusal in nobodys[: max(room, 0)]:
            _set_one_aside(store, intake, sent, refusal, received)
        store.events.forget_unsigned(MOST_UNSIGNED_ASIDE)


def _set_one_aside(store: Store, intake: Intake, sent: Sent, refusal: Refusal, received: str) -> None:
    # A text that nobody signed must not take the place of the event whose words it copies.
    id_ = (
        sent.id if sent.verified else UNSIGNED + sha256(sent.jws.encode("utf-8", "surrogatepass")).hexdigest()
    )
    setup = _own_setup(store, sent)
    source = None if sent.verified else intake.source
    row: SetAsideRow = {
        "id": id_,
        "jws": sent.jws if sent.verified else _as_ascii(sent.jws),
        "code": refusal.code,
        "fields": refusal.fields,
        "device": sent.device,
        "sequence": sent.event["sequence"] if sent.event else None,
        "setup": setup,
        "received_at_utc": received,
        "source": source,
    }
    if store.events.set_aside(row):
        data: dict[str, object] = {"event": id_, "code": refusal.code, "fields": refusal.fields}
        if not sent.verified:
            data |= {"source": source, "kept_sha256": sha256(row["jws"].encode()).hexdigest()}
        change(store, "event.set_aside", SERVER, sent.device or "unknown", setup, data, intake.now)


def _as_ascii(text: str) -> str:
    """Something that nobody signed, short enough and plain enough to be kept as evidence."""
    return text[:LONGEST_UNSIGNED].encode("ascii", "backslashreplace").decode("ascii")


def _own_setup(store: Store, sent: Sent) -> str | None:
    """The setup that something refused belongs to:
    only one that the same tablet began; nobody writes in another's.
    """
    if sent.event is None:
        return None
    row = store.setups.setup(sent.event["setup"])
    return row["id"] if row is not None and row["device"] == sent.device else None


def _check_signatures(
    store: Store, keyring: KeyRing, intake: Intake, parts: list[Part], standing: Mapping[str, Standing]
) -> None:
    """Check the sealed PINs of this upload in its order,
    after the events are kept, each in short transactions.

    A seal counts beside exactly the text that is stored: a copy with another signature is not the tablet's.
    """
    seals: dict[str, dict[str, list[str | None]]] = defaultdict(lambda: defaultdict(list))
    for id_, jws, seal in parts:
        if _type_of(intake, id_) in SEALED:
            seals[id_][jws].append(seal)
    with store.reading():
        stored = store.events.signed_texts(seals)
    for id_, jws in stored.items():
        known = standing.get(intake.taken[id_][1]["setup"]) if id_ in intake.taken else None
        answer = pins.check(store, keyring, id_, seals[id_][jws], intake.now, known)
        intake.receipts[id_]["signature"] = answer


def _type_of(intake: Intake, id_: str) -> str | None:
    return intake.taken[id_][1]["type"] if id_ in intake.taken else intake.known_types.get(id_)
