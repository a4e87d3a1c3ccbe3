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
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.decisions import Decision
from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.folded_setup import Folded, Question
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.setup.fold import fold
from webapp.domain.setup.half_set import missing_axes
from webapp.domain.setup.worries import RaisedWorry
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


def decisions_of(store: Store, setup_id: str) -> list[Decision]:
    """Decisions about one setup, in the order of the ledger."""
    return [json.loads(row["text"]) for row in store.ledger.changes_of_setup(setup_id)]


def fold_stored(store: Store, setup_id: str) -> Folded:
    """The state of a setup from what is stored, inside the caller's transaction. Raises NoSuchSetup."""
    events = events_of(store, setup_id)
    if not events:
        raise NoSuchSetup(setup=setup_id)
    return fold(sheet_of(store, events[0]["sheet"]), events, decisions_of(store, setup_id))


def events_of(store: Store, setup_id: str) -> list[Event[Any]]:
    """Events of one setup in the order of the tablet's chain, each with its id."""
    return [stored_event(id_, jws) for id_, jws in store.setups.texts_of(setup_id)]


def sheet_of(store: Store, sheet_hash: str | None) -> WrittenSheet:
    """A sheet that events name, so that it is there. Shared by all who ask: nobody may change it."""
    known = _SHEETS.get(sheet_hash or "")
    if known is None:
        row = store.setups.sheet(sheet_hash or "")
        if row is None or sheet_hash is None:
            raise LookupError(f"sheet {sheet_hash} is named by an event and is not kept")
        known = json.loads(row["text"])
        if len(_SHEETS) >= MOST_SHEETS:
            _SHEETS.clear()
        _SHEETS[sheet_hash] = known
    return known


def refresh(store: Store, setup_id: str) -> Folded:
    """Fold a setup and set its rows, inside the caller's writing transaction;
    the state. Raises NoSuchSetup.
    """
    events = events_of(store, setup_id)
    if not events:
        raise NoSuchSetup(setup=setup_id)
    state = fold(sheet_of(store, events[0]["sheet"]), events, decisions_of(store, setup_id))
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
    _list_questions(store, setup_id, state["questions"])
    _list_worries(store, setup_id, state, sheet_of(store, events[0]["sheet"]))
    _see_slot(store, sheet_of(store, events[0]["sheet"]), setup_id, state)


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
    store.worries.put(
        worries=[
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
    )


def _see_slot(store: Store, sheet: WrittenSheet, setup_id: str, state: Folded) -> None:
    """What the slot holds as far as it was seen: the copied values, a cleared row's, then each touch.

    It was seen when the server got the newest event that says so: a tablet's clock may be days off,
    and then its values would pass for older or newer than what others saw. Its own time stays in the event.
    """
    if state["slot"] is None or state["copied"] is None:
        return
    machine = sheet["machine"]["id"]
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
    at_utc = store.setups.newest_receipt(events)
    if at_utc is not None and not _may_be_older(store, machine, setup_id, state["slot"]):
        store.shop.see_slot(machine, state["slot"], seen, at_utc, setup_id)


def _may_be_older(store: Store, machine: str, setup_id: str, label: str) -> bool:
    """Whether a slot was left half set by another setup that this one, sent late, may have come before.

    What is known of the order: one tablet's setups follow each other, and a setup began after its sheet was
    compiled. Otherwise the slot stays as it was left: a mark too many makes somebody look, one too few lets
    somebody cut.
    """
    slot, this = store.shop.slot(machine, label), store.setups.setup(setup_id)
    if slot is None or this is None or slot["last_setup"] in (None, setup_id):
        return False
    last = store.setups.setup(slot["last_setup"])
    if last is None or last["outcome"] == WHOLE or last["device"] == this["device"]:
        return False
    if sheet_of(store, this["sheet"])["compiled_at_utc"] >= (slot["last_seen_at_utc"] or ""):
        return False
    return bool(missing_axes(sheet_of(store, last["sheet"]), fold_stored(store, last["id"])))
