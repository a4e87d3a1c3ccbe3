"""How a setup starts, ends, is signed, and what the server decides about it.

Rules of this module:
- The first event starts the setup and fixes setup, sheet, person, tablet and machine; nothing else can start it.
- A broken-off setup is finished only once it says why.
- A signature counts when the server has verified it. One that was refused opens the signing again.
- A sign-off says which axes' values were let into the usual. An older one does not: then all of them were.
- Decisions about signatures and questions hold whenever they come: before the event, or after it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from webapp.domain.setup.state import Event, Refused, SetupState
from webapp.domain.setup.worries import close_worry, note_open_worries


def start(state: SetupState, event: Event) -> None:
    """Setup.started."""
    if state.setup is not None:
        raise Refused("setup.already_started")
    state.setup, state.sheet_hash = event["setup"], event["sheet"]
    state.person, state.device = event["person"], event["device"]
    state.machine, state.started_at_utc = event["data"]["machine"], event["at_utc"]
    if state.machine != state.sheet["machine"]["id"]:
        state.note(event, "setup.machine_differs", machine=state.machine)
    if event["at_utc"] >= state.sheet["expires_at_utc"]:
        state.note(event, "setup.sheet_expired", at_utc=state.sheet["expires_at_utc"])
    listed = next((one for one in state.sheet["people"] if one["id"] == state.person), None)
    if listed is None or (listed["until_utc"] is not None and event["at_utc"] >= listed["until_utc"]):
        state.note(event, "setup.person_not_listed", person=event["person"])
    note_open_worries(state, event)


def finish(state: SetupState, event: Event) -> None:
    """Setup.finished: the review is done."""
    if state.broken_off is not None and state.broken_off["reason"] is None:
        raise Refused("setup.break_needs_reason")
    outcome = "complete" if state.broken_off is None else "broken_off"
    if event["data"]["outcome"] != outcome:
        state.note(event, "setup.outcome_differs", outcome=outcome)
    state.outcome = outcome
    state.close(event["step"], event)


def sign(state: SetupState, event: Event) -> None:
    """Setup.signed: kept on the tablet until the server has verified the PIN."""
    state.signatures.append({
        "person": event["person"],
        "meaning": event["data"]["meaning"],
        "event": event["id"],
        "at_utc": event["at_utc"],
        "state": "on_device",
        "refused_because": None,
    })  # fmt: skip
    state.close(event["step"], event)
    _settle_signature(state)


def decide(state: SetupState, decision: Mapping[str, Any]) -> None:
    """Take in one decision of the server about this setup; of other types there is nothing to take in."""
    data, kind = decision["data"], decision["type"]
    said = {"by": decision["by"], "at_utc": decision["at_utc"]}
    if kind == "question.answered":
        answer = {"decision": data["decision"], "reason": data["reason"], **said}
        state.answers[data["question"]] = answer
        for question in state.questions:
            if question["question"] == data["question"]:
                question["answer"] = answer
    elif kind == "worry.closed":
        close_worry(state, data["worry"], {"how": data["how"], "reason": data["reason"], **said})
    elif kind == "signature.verified":
        state.verified.add(data["event"])
        _settle_signature(state)
    elif kind == "signature.refused":
        state.refused[data["event"]] = data["reason"]
        _settle_signature(state)
    elif kind == "setup.signed_off":
        state.sign_off = {
            **said,
            "meaning": data["meaning"],
            "note": data["note"],
            "reviewed": data.get("reviewed"),
            "into_usual": data.get("into_usual"),
        }
    elif kind == "setup.not_accepted":
        state.not_accepted = {**said, "reason": data["reason"], "reviewed": data.get("reviewed")}
    elif kind == "event.set_aside":
        state.set_aside[data["event"]] = {"code": data["code"], "fields": data["fields"]}


def _settle_signature(state: SetupState) -> None:
    """Bring the last signature to what the server decided about it."""
    if not state.signatures:
        return
    signature = state.signatures[-1]
    if signature["event"] in state.verified:
        signature["state"], signature["refused_because"] = "verified", None
    elif signature["event"] in state.refused and signature["state"] == "on_device":
        signature["state"] = "refused"
        signature["refused_because"] = state.refused[signature["event"]]
        for step_id, found in state.steps.items():
            if found["event"] == signature["event"]:
                state.open(step_id)
                break
