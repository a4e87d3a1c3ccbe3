"""Deciding about each part of an upload, before anything is written.

Rules: an event that is stored already gets the same answer again; one that was refused with a fitting
signature stays refused; the others are judged in the order of their tablet's chain, whatever the order in
which they came, and what waited for one of them is judged right after it. Nothing is put in among the events
of a setup that a lead has decided about: what they signed off has to stay what they saw. A question is one
setup's: another setup that names it is refused, so that it can neither hide the question nor take its answer.
A setup cannot begin under an id that an import took: its values would stand where a table's stand already.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, TypedDict

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.plain.errors import Fields
from webapp.services.evidence.stored_events import stored_event
from webapp.services.intake.chain import Chain, Link, Problem
from webapp.services.intake.reading import Refusal, Sent
from webapp.services.times import from_text, utc_text

if TYPE_CHECKING:
    from webapp.store import Store

SKEW_SECONDS = 120
MOST_WAITING = 5000
ASKS = "question.put"
DECIDED = ("signed_off", "not_accepted")
# A sheet that is unknown after a restore may become known again.
JUDGED_ANEW = frozenset({"intake.sheet_unknown", "chain.not_held"})


class Receipt(TypedDict):
    """What a tablet is told of one part. `sequence` is the event's place in the ledger, from 1."""

    event: str
    outcome: str
    code: str | None
    fields: Fields
    problems: list[Problem]
    signature: str | None
    sequence: int | None


@dataclass(slots=True)
class Intake:
    """One upload on its way into the store."""

    now: datetime
    source: str
    chain: Chain = field(default_factory=Chain)
    receipts: dict[str, Receipt] = field(default_factory=dict)
    taken: dict[str, tuple[Sent, Event[Any], list[Problem]]] = field(default_factory=dict)
    refused: dict[str, tuple[Sent, Refusal]] = field(default_factory=dict)
    waiting: dict[str, Sent] = field(default_factory=dict)
    waiting_by_previous: dict[str, list[Sent]] = field(default_factory=dict)
    waited: set[str] = field(default_factory=set)
    known_types: dict[str, str] = field(default_factory=dict)


def sort_out(store: Store, intake: Intake, sent: dict[str, Sent], ids: Iterable[str]) -> None:
    """Decide about every part, in chain order, inside the writing transaction."""
    unique = dict.fromkeys(ids)
    known = store.events.events_by_id(unique)
    for id_, row in known.items():
        problems = json.loads(row["problems"])
        intake.known_types[id_] = row["type"]
        intake.receipts[id_] = receipt(id_, "already_had", problems=problems, sequence=row["position"] + 1)
    aside = store.events.set_aside_by_id([id_ for id_ in unique if id_ not in known])
    new: list[Sent] = []
    for id_ in unique:
        if id_ in known:
            continue
        if id_ in aside and aside[id_]["code"] not in JUDGED_ANEW:
            intake.receipts[id_] = receipt(id_, "refused", aside[id_]["code"], aside[id_]["fields"])
        elif sent[id_].event is None:
            _refuse(intake, sent[id_], sent[id_].refusal or Refusal("intake.malformed", {}))
        else:
            new.append(sent[id_])
    _load_chain(store, intake, new)
    _place_all(store, intake, new)


def _load_chain(store: Store, intake: Intake, new: list[Sent]) -> None:
    """Read what the events are compared with: predecessors, holders of their numbers, what waits for them."""
    chain, events = intake.chain, [event_of(sent) for sent in new]
    previous = {event["previous"] for event in events if event["previous"] is not None}
    for id_, row in store.events.events_by_id(previous).items():
        chain.links[id_] = Link(row["device"], row["sequence"])
    for id_, aside in store.events.set_aside_by_id(previous - chain.links.keys()).items():
        if aside["device"] is not None:
            chain.refuse(id_, aside["device"], aside["sequence"])
    for device in {event["device"] for event in events}:
        tablet = store.devices.device(device)
        if tablet is not None and tablet["state"] == "forked":
            chain.forked.add(device)
        for late in store.events.waiting(device):
            late_sent = Sent(
                late["id"], late["jws"], None, device, stored_event(late["id"], late["jws"]), verified=True
            )
            intake.waiting_by_previous.setdefault(late["previous"], []).append(late_sent)
            intake.waited.add(late["id"])
            events.append(event_of(late_sent))
        numbers = {event["sequence"] for event in events if event["device"] == device}
        holders = store.events.holders(device, numbers)
        chain.holders.update({(device, number): id_ for number, id_ in holders.items()})


def _place_all(store: Store, intake: Intake, new: list[Sent]) -> None:
    late = [sent for waiters in intake.waiting_by_previous.values() for sent in waiters]
    events = [event_of(sent) for sent in (*new, *late)]
    questions = {event["data"]["question"] for event in events if event["type"] == ASKS}
    checks = Checks(store, intake.now, {event["setup"] for event in events}, questions)
    todo = sorted(
        new, key=lambda sent: (sent.device or "", event_of(sent)["sequence"], sent.id), reverse=True
    )
    while todo:
        sent = todo.pop()
        if sent.id in intake.taken or sent.id in intake.refused:
            continue
        _place(intake, checks, sent)
        if sent.id in intake.taken or sent.id in intake.refused:
            todo.extend(intake.waiting_by_previous.pop(sent.id, ()))


def _place(intake: Intake, checks: Checks, sent: Sent) -> None:
    event = event_of(sent)
    refusal = checks.refusal(event)
    verdict = refusal or intake.chain.judge(event)
    if isinstance(verdict, list) and checks.comes_too_late(event):
        verdict = Refusal("intake.setup_decided", {})
    if isinstance(verdict, Refusal):
        _refuse(intake, sent, verdict)
    elif isinstance(verdict, str):
        _wait(intake, checks, sent, verdict)
    else:
        intake.waiting.pop(sent.id, None)
        checks.take(event)
        intake.taken[sent.id] = (sent, event, verdict + checks.problems(event))


def _wait(intake: Intake, checks: Checks, sent: Sent, previous: str) -> None:
    intake.receipts[sent.id] = receipt(sent.id, "kept_out_of_order", "chain.waiting", {})
    if sent.id not in intake.waited and not checks.may_wait(event_of(sent)["device"]):
        _refuse(intake, sent, Refusal("chain.too_many_waiting", {"most": MOST_WAITING}), keep=False)
        return
    intake.waiting[sent.id] = sent
    waiters = intake.waiting_by_previous.setdefault(previous, [])
    if all(one.id != sent.id for one in waiters):
        waiters.append(sent)


def _refuse(intake: Intake, sent: Sent, refusal: Refusal, *, keep: bool = True) -> None:
    intake.receipts[sent.id] = receipt(sent.id, "refused", refusal.code, refusal.fields)
    intake.waiting.pop(sent.id, None)
    if sent.verified and sent.device is not None and keep:
        intake.chain.refuse(sent.id, sent.device, sent.event["sequence"] if sent.event else None)
    if keep:
        intake.refused[sent.id] = (sent, refusal)


class Checks:
    """What an event is checked against besides its chain, read from the store once a batch."""

    def __init__(self, store: Store, now: datetime, setups: set[str], questions: set[str]) -> None:
        self._store = store
        self._latest_utc = utc_text(now + timedelta(seconds=SKEW_SECONDS))
        rows = store.setups.setups_by_id(setups)
        self._owners = {setup: row["device"] for setup, row in rows.items()}
        self._newest = {setup: row["last_at_utc"] for setup, row in rows.items()}
        self._last_number: dict[str, int] = {
            setup: store.events.events_of(setup)[-1]["sequence"]
            for setup, row in rows.items()
            if row["status"] in DECIDED
        }
        self._imported = store.numbers.imported_among(setups)
        self._asked_in = store.setups.setups_of_questions(questions)
        self._states: dict[str, str] = {}
        self._sheets: dict[str, bool] = {}
        self._waiting: dict[str, int] = {}

    def refusal(self, event: Event[Any]) -> Refusal | None:
        """Why the event is not taken, whatever its chain says."""
        if self._state(event["device"]) == "disabled":
            return Refusal("intake.device_disabled", {})
        if not self._knows_sheet(event["sheet"]):
            return Refusal("intake.sheet_unknown", {"sheet": event["sheet"]})
        if self._owners.get(event["setup"], event["device"]) != event["device"]:
            return Refusal("intake.setup_of_other_device", {})
        if event["setup"] in self._imported and event["setup"] not in self._owners:
            return Refusal("intake.setup_imported", {"setup": event["setup"]})
        if event["type"] == ASKS:
            question = event["data"]["question"]
            if self._asked_in.get(question, event["setup"]) != event["setup"]:
                return Refusal("intake.question_of_other_setup", {"question": question})
        return None

    def comes_too_late(self, event: Event[Any]) -> bool:
        """Whether the event would stand before others of a setup that was decided about."""
        return int(event["sequence"]) <= self._last_number.get(event["setup"], 0)

    def take(self, event: Event[Any]) -> None:
        """The event is taken: its setup is this tablet's from now on, and its question this setup's."""
        self._owners[event["setup"]] = event["device"]
        if event["type"] == ASKS:
            self._asked_in[event["data"]["question"]] = event["setup"]

    def problems(self, event: Event[Any]) -> list[Problem]:
        """What is odd about the event's times and is noted on it."""
        found: list[Problem] = []
        at_utc, newest = event["at_utc"], self._newest.get(event["setup"], "")
        if at_utc > self._latest_utc:
            found.append(
                {"code": "clock.skew", "fields": {"direction_code": "clock.ahead", "at_utc": at_utc}}
            )
        elif newest and at_utc < newest and _seconds_between(at_utc, newest) > SKEW_SECONDS:
            found.append({"code": "clock.skew", "fields": {"direction_code": "clock.back", "at_utc": at_utc}})
        self._newest[event["setup"]] = max(newest, at_utc)
        return found

    def may_wait(self, device: str) -> bool:
        """Whether one more event of a tablet may be kept waiting."""
        if device not in self._waiting:
            self._waiting[device] = self._store.events.waiting_count(device)
        self._waiting[device] += 1
        return self._waiting[device] <= MOST_WAITING

    def _state(self, device: str) -> str:
        if device not in self._states:
            row = self._store.devices.device(device)
            self._states[device] = row["state"] if row else "disabled"
        return self._states[device]

    def _knows_sheet(self, sheet_hash: str) -> bool:
        if sheet_hash not in self._sheets:
            self._sheets[sheet_hash] = self._store.sheets.has_sheet(sheet_hash)
        return self._sheets[sheet_hash]


def receipt(
    event: str,
    outcome: str,
    code: str | None = None,
    fields: dict[str, str | int] | None = None,
    problems: list[Problem] | None = None,
    sequence: int | None = None,
) -> Receipt:
    """One receipt, not signed yet; the state of a signature is put in later."""
    return {
        "event": event,
        "outcome": outcome,
        "code": code,
        "fields": fields or {},
        "problems": problems or [],
        "signature": None,
        "sequence": sequence,
    }


def event_of(sent: Sent) -> Event[Any]:
    """The event of a part that has one."""
    if sent.event is None:
        raise LookupError(f"{sent.id} has no event")
    return sent.event


def _seconds_between(earlier: str, later: str) -> float:
    return (from_text(later) - from_text(earlier)).total_seconds()
