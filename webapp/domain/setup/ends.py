"""How a setup starts, ends, is signed, and what the server decides about it.

Rules of this module:
- The first event starts the setup and fixes setup, sheet, person, tablet and machine;
  nothing else can start it.
- A broken-off setup is finished only once it says why.
- A signature counts when the server has verified it. One that was refused opens the signing again.
- A sign-off says which axes' values were let into the usual. An older one does not: then all of them were.
- Decisions about signatures and questions hold whenever they come: before the event, or after it.
"""

from __future__ import annotations

from webapp.domain.evidence.decisions import Decision, QuestionAnswered
from webapp.domain.evidence.event_kinds import Answer, Event, SetupFinished, SetupSigned, SetupStarted
from webapp.domain.evidence.folded_setup import Answered
from webapp.domain.setup import photos
from webapp.domain.setup.state import Refused, SetupState
from webapp.domain.setup.trouble import lifts
from webapp.domain.setup.trouble.worries import close_worry, note_open_worries


def start(state: SetupState, event: Event[SetupStarted]) -> None:
    """Setup.started."""
    if state.setup is not None:
        raise Refused("setup.already_started")
    state.setup, state.sheet_hash = event["setup"], event["sheet"]
    state.person, state.device = event["person"], event["device"]
    state.machine, state.started_at_utc = event["data"]["machine"], event["at_utc"]
    state.plan_for(event["person"])
    if state.machine != state.sheet["machine"]["id"]:
        state.note(event, "setup.machine_differs", machine=state.machine)
    if event["at_utc"] >= state.sheet["expires_at_utc"]:
        state.note(event, "setup.sheet_expired", at_utc=state.sheet["expires_at_utc"])
    listed = next((one for one in state.sheet["people"] if one["id"] == state.person), None)
    if listed is None or (listed["until_utc"] is not None and event["at_utc"] >= listed["until_utc"]):
        state.note(event, "setup.person_not_listed", person=event["person"])
    note_open_worries(state, event)


def finish(state: SetupState, event: Answer[SetupFinished]) -> None:
    """Setup.finished: the review is done."""
    if state.broken_off is not None and state.broken_off["reason"] is None:
        raise Refused("setup.break_needs_reason")
    outcome = "complete" if state.broken_off is None else "broken_off"
    if event["data"]["outcome"] != outcome:
        state.note(event, "setup.outcome_differs", outcome=outcome)
    state.outcome = outcome
    state.close(event["step"], event)


def sign(state: SetupState, event: Answer[SetupSigned]) -> None:
    """Setup.signed: kept on the tablet until the server has verified the PIN."""
    state.signatures.append({
        "person": event["person"],
        "meaning": event["data"]["meaning"],
        "event": event["id"],
        "at_utc": event["at_utc"],
        "state": "on_device",
        "refused_because": None,
        "tries_left": None,
    })  # fmt: skip
    state.left_unsigned = None
    state.close(event["step"], event)
    _settle_signature(state)


def decide(state: SetupState, decision: Decision) -> None:
    """Take in one decision of the server about this setup; of other types there is nothing to take in."""
    if decision["type"] == "question.answered":
        _answer(state, decision)
    elif decision["type"] == "worry.closed":
        close_worry(state, decision)
    elif decision["type"] == "signature.verified":
        state.verified.add(decision["data"]["event"])
        _settle_signature(state)
    elif decision["type"] == "signature.refused":
        state.refused[decision["data"]["event"]] = lifts.not_counted(decision["data"])
        _settle_signature(state)
    elif decision["type"] == "lift.verified":
        state.lifts_verified.add(decision["data"]["event"])
        lifts.settle(state)
    elif decision["type"] == "lift.refused":
        state.lifts_refused[decision["data"]["event"]] = lifts.not_counted(decision["data"])
        lifts.settle(state)
    elif decision["type"] == "setup.signed_off":
        signed_off = decision["data"]
        state.sign_off = {
            "by": decision["by"],
            "at_utc": decision["at_utc"],
            "meaning": signed_off["meaning"],
            "note": signed_off["note"],
            "reviewed": signed_off.get("reviewed"),
            "into_usual": signed_off.get("into_usual"),
        }
    elif decision["type"] == "setup.not_accepted":
        refused = decision["data"]
        state.not_accepted = {
            "by": decision["by"],
            "at_utc": decision["at_utc"],
            "reason": refused["reason"],
            "reviewed": refused.get("reviewed"),
        }
    elif decision["type"] == "event.set_aside":
        aside = decision["data"]
        state.set_aside[aside["event"]] = {"code": aside["code"], "fields": aside["fields"]}
    elif decision["type"] == "photo.kept" or decision["type"] == "photo.refused":
        photos.settle_picture(state, decision)
    elif decision["type"] == "caution.not_found":
        state.not_found[decision["data"]["event"]] = decision["data"]["caution"]


def _answer(state: SetupState, decision: QuestionAnswered) -> None:
    """Put an answer beside its question, which may come later than the answer."""
    data = decision["data"]
    answer: Answered = {
        "decision": data["decision"],
        "reason": data["reason"],
        "by": decision["by"],
        "at_utc": decision["at_utc"],
    }
    state.answers[data["question"]] = answer
    for question in state.questions:
        if question["question"] == data["question"]:
            question["answer"] = answer


def _settle_signature(state: SetupState) -> None:
    """Bring the last signature to what the server decided about it."""
    if not state.signatures:
        return
    signature = state.signatures[-1]
    if signature["event"] in state.verified:
        signature["state"], signature["refused_because"], signature["tries_left"] = "verified", None, None
    elif signature["event"] in state.refused and signature["state"] == "on_device":
        signature["state"] = "refused"
        signature["refused_because"] = state.refused[signature["event"]]["refused_because"]
        signature["tries_left"] = state.refused[signature["event"]]["tries_left"]
        for step_id, found in state.steps.items():
            if found["event"] == signature["event"]:
                state.open(step_id)
                break
