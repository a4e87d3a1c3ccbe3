"""Where setups stand: the fold over what is stored, and the lists that are kept from it.

Rules: the state of a setup is the fold over its events and decisions, always; the rows of setups, questions
and slots that are kept beside are only there to be searched, and come from this module alone. Nothing was
seen later than the server heard of it, whatever a tablet's clock says: a clock that is days ahead must not
hide what others did since. What a slot holds has the time of the server's receipt alone, so that one that is
behind does not pass for old; a slot that was left half set stays so until a setup that is known to be later.
A setup ran on the machine of its sheet, whatever its first event says.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from threading import Lock
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.decisions import Decision
from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.folded_setup import Folded, Question
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.record.found_by import terms_of, words_of
from webapp.domain.setup.fold import Fold, fold
from webapp.domain.setup.touching.half_set import missing_axes
from webapp.domain.setup.trouble.worries import RaisedWorry
from webapp.domain.touch.compare import parked_nm
from webapp.services.errors import NoSuchSetup
from webapp.services.evidence.stored_events import stored_event

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import QuestionPut, SetupStanding


NO_SIGNATURE = "none"
WHOLE = "complete"
MOST_SHEETS = 64
# A sheet's hash names its text for ever, in every store.
_SHEETS: dict[str, WrittenSheet] = {}
# By all that is folded, not by names: a row that another hand changed is not found here. The machines' page
# folds what was last seen in each slot: of a hundred machines one after the other, again and again.
MOST_FOLDED = 128
_LOCK = Lock()
_FOLDED: dict[bytes, Folded] = {}


@dataclass
class Standing:
    """A setup that is being written: all its events in order, the decisions about it, their fold, and what
    that says. It grows with what is written, so that nothing is folded again.
    """

    events: list[Event[Any]]
    decided: list[str]
    fold: Fold
    state: Folded

    @classmethod
    def with_more(cls, store: Store, setup_id: str, more: Iterable[Event[Any]]) -> Standing:
        """What is stored of a setup, with these events besides, inside the caller's transaction."""
        events = sorted([*events_of(store, setup_id), *more], key=lambda one: (one["sequence"], one["id"]))
        decided = _texts_of_decisions(store, setup_id)
        fold = Fold(sheet_of(store, events[0]["sheet"]), map(json.loads, decided))
        for event in events:
            fold.apply(event)
        return cls(events, decided, fold, fold.result())

    def is_all(self, store: Store, setup_id: str) -> bool:
        """Whether nobody else has written about this setup since."""
        ids = [id_ for id_, _ in store.events.texts_of(setup_id)]
        return ids == [event["id"] for event in self.events] and self.decided == _texts_of_decisions(
            store, setup_id
        )

    def take_decision(self, store: Store, setup_id: str) -> None:
        """Take in the newest decision about it: one about its last event, or that changes no other."""
        self.decided.append(_texts_of_decisions(store, setup_id)[-1])
        self.fold.decide(json.loads(self.decided[-1]))
        self.state = self.fold.result()


def _texts_of_decisions(store: Store, setup_id: str) -> list[str]:
    return [row["text"] for row in store.ledger.changes_of_setup(setup_id)]


def decisions_of(store: Store, setup_id: str) -> list[Decision]:
    """Decisions about one setup, in the order of the ledger."""
    return [json.loads(text) for text in _texts_of_decisions(store, setup_id)]


def fold_stored(store: Store, setup_id: str) -> Folded:
    """The state of a setup from what is stored, inside the caller's transaction; the same texts are folded
    once, whoever asks for them. Shared by all who ask: nobody may change it. Raises NoSuchSetup.
    """
    texts = store.events.texts_of(setup_id)
    if not texts:
        raise NoSuchSetup(setup=setup_id)
    decided = _texts_of_decisions(store, setup_id)
    key = sha256(repr((texts, decided)).encode()).digest()
    with _LOCK:
        known = _FOLDED.get(key)
    if known is None:
        events = [stored_event(*text) for text in texts]
        known = fold(sheet_of(store, events[0]["sheet"]), events, map(json.loads, decided))
        with _LOCK:
            _FOLDED[key] = known
            while len(_FOLDED) > MOST_FOLDED:
                del _FOLDED[next(iter(_FOLDED))]
    return known


def events_of(store: Store, setup_id: str) -> list[Event[Any]]:
    """Events of one setup in the order of the tablet's chain, each with its id."""
    return [stored_event(id_, jws) for id_, jws in store.events.texts_of(setup_id)]


def sheet_of(store: Store, sheet_hash: str | None) -> WrittenSheet:
    """A sheet that events name, so that it is there. Shared by all who ask: nobody may change it."""
    known = _SHEETS.get(sheet_hash or "")
    if known is None:
        row = store.sheets.sheet(sheet_hash or "")
        if row is None or sheet_hash is None:
            raise LookupError(f"sheet {sheet_hash} is named by an event and is not kept")
        known = json.loads(row["text"])
        _SHEETS[sheet_hash] = known
        for one in list(_SHEETS)[: len(_SHEETS) - MOST_SHEETS]:  # the oldest
            _SHEETS.pop(one, None)
    return known


def refresh(store: Store, setup_id: str, known: Standing | None = None) -> Folded:
    """Set the rows of a setup as it stands, inside the caller's writing transaction; the state. It is folded,
    but where it is `known`. Raises NoSuchSetup.
    """
    events = known.events if known else events_of(store, setup_id)
    if not events:
        raise NoSuchSetup(setup=setup_id)
    state = known.state if known else fold_stored(store, setup_id)
    row = store.setups.setup(setup_id)
    keep_lists(store, setup_id, events, state, row["last_at_utc"] if row else events[-1]["at_utc"])
    return state


def keep_lists(
    store: Store, setup_id: str, events: list[Event[Any]], state: Folded, heard_at_utc: str
) -> None:
    """Set the rows of one setup from its folded state. `events` are all of it, in order.

    `heard_at_utc` is when the newest of them came, or a time that is known to be no earlier than the newest.
    """
    row = setup_row(store, events, state)
    last_at_utc = min(heard_at_utc, max(event["at_utc"] for event in events))
    store.setups.put_setup(setup_id, **row, last_at_utc=last_at_utc)
    sheet = sheet_of(store, events[0]["sheet"])
    _list_questions(store, setup_id, state["questions"])
    _list_worries(store, setup_id, state, sheet)
    store.found.put(setup_id, row["started_at_utc"], terms_of(sheet, state), words_of(state))
    _see_slot(store, sheet, setup_id, state)


def setup_row(store: Store, events: list[Event[Any]], state: Folded) -> SetupStanding:
    """What the row of a setup says by its events and decisions, when it was last heard of aside."""
    first = events[0]
    return {
        "device": first["device"],
        "sheet": first["sheet"],
        "machine": sheet_of(store, first["sheet"])["machine"]["id"],
        "person": state["person"] or first["person"],
        "status": state["status"],
        "outcome": state["outcome"],
        "signature": state["signatures"][-1]["state"] if state["signatures"] else NO_SIGNATURE,
        "probe_in_spindle": state["probe_in_spindle"],
        "started_at_utc": state["started_at_utc"] or first["at_utc"],
    }


def _list_questions(store: Store, setup_id: str, questions: Iterable[Question]) -> None:
    rows: list[QuestionPut] = [
        {
            "id": question["question"],
            "setup": setup_id,
            "axis": question["axis"],
            "text": question["text"],
            "at_utc": question["at_utc"],
            "event": question["event"],
        }
        for question in questions
    ]
    store.setups.put_questions(rows)


def _list_worries(store: Store, setup_id: str, state: Folded, sheet: WrittenSheet) -> None:
    """Worries that name something stand in a list of their own until a lead closes them."""
    store.worries.put(worries=raised_worries(setup_id, state, sheet))


def raised_worries(setup_id: str, state: Folded, sheet: WrittenSheet) -> list[RaisedWorry]:
    """The rows of a setup's worries that name something, as they were raised."""
    return [
        RaisedWorry(
            event=worry["event"],
            setup=setup_id,
            machine=sheet["machine"]["id"],
            fixture=sheet["fixture"]["id"],
            probe=sheet["probe"]["id"],
            about=worry["about"],
            kind=worry["worry"],
            blocks=worry["blocks"],
            text=worry["text"],
            person=state["person"] or "",
            at_utc=worry["at_utc"],
        )
        for worry in state["worries"]
        if worry["about"] is not None
    ]


def _see_slot(store: Store, sheet: WrittenSheet, setup_id: str, state: Folded) -> None:
    machine, seen = sheet["machine"]["id"], seen_in_slot(store, sheet, state)
    if state["slot"] is None or seen is None or may_be_older(store, machine, setup_id, state["slot"]):
        return
    store.shop.see_slot(machine, state["slot"], *seen, setup_id, used_otherwise=found_otherwise(state))


def found_otherwise(state: Folded) -> bool:
    """Whether a setup found other values in its slot than were last seen there."""
    return state["copied"] is not None and "changed" in state["copied"]["compared"].values()


def seen_in_slot(store: Store, sheet: WrittenSheet, state: Folded) -> tuple[dict[str, int], str] | None:
    """What a setup's slot holds as far as it was seen, and when: the copied values, a cleared row's, then
    each touch; None where nothing was seen.

    It was seen when the server got the newest event that says so: a tablet's clock may be days off,
    and then its values would pass for older or newer than what others saw. Its own time stays in the event.
    """
    if state["slot"] is None or state["copied"] is None:
        return None
    seen = dict(state["copied"]["values_nm"])
    events = [state["copied"]["event"]]
    cleared = [
        step for name, step in state["steps"].items() if name.startswith("clear.") and step["state"] == "done"
    ]
    if cleared:
        seen = {axis: parked_nm(sheet, axis) for axis in seen}
        events += [step["event"] for step in cleared if step["event"] is not None]
    for touch in state["touches"]:
        seen[touch["axis"]] = touch["value_nm"]
        events.append(touch["event"])
    if state["zeroed"] is not None:
        seen = {axis: parked_nm(sheet, axis) for axis in seen}
        events.append(state["zeroed"]["event"])
    at_utc = store.events.newest_receipt(events)
    return None if at_utc is None else (seen, at_utc)


def may_be_older(store: Store, machine: str, setup_id: str, label: str) -> bool:
    """Whether a slot was left half set by another setup that this one, sent late, may have come before.

    What is known of the order: one tablet's setups follow each other, and a setup began after its sheet was
    compiled. Otherwise the slot stays as it was left: a mark too many makes somebody look, one too few lets
    somebody cut.
    """
    last_setup, last_seen_at_utc = store.shop.last_seen(machine, label)
    if last_setup is None or last_setup == setup_id:
        return False
    setups = store.setups.setups_by_id({setup_id, last_setup})
    this, last = setups.get(setup_id), setups.get(last_setup)
    if this is None or last is None or last["outcome"] == WHOLE or last["device"] == this["device"]:
        return False
    if sheet_of(store, this["sheet"])["compiled_at_utc"] >= (last_seen_at_utc or ""):
        return False
    return bool(missing_axes(sheet_of(store, last["sheet"]), fold_stored(store, last["id"])))
