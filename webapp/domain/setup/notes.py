"""Events that answer no step: questions, holds, corrections, coming back, breaking off.

Rules of this module:
- A hold is counted and never held against anyone.
- A correction opens a done step and all later steps of its stage;
  a corrected slot also opens copying and clearing, which were done in it. Cautions are never opened again.
- Breaking off is one press. What was left is skipped; the probe is still put away whenever it was, or may
  have come, in the spindle. Until the next step is closed, breaking off can be taken back. From the sheet's
  second format on, a row that may have been cleared is then set to zero again and read back.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import (
    BreakExplained,
    Event,
    Nothing,
    QuestionPut,
    SetupResumed,
    StepReopened,
)
from webapp.domain.evidence.folded_setup import BrokenOff
from webapp.domain.setup.state import OPEN, AnyEvent, Refused, SetupState

ENDING_STAGES = ("stow", "sign")


def put_question(state: SetupState, event: Event[QuestionPut]) -> None:
    """Question.put: to the lead, about an axis or about all of it."""
    data = event["data"]
    if data["question"] in state.question_order:
        raise Refused("setup.question_twice", question=data["question"])
    if data["axis"] is not None and data["axis"] not in state.axes:
        raise Refused("setup.axis_unknown", axis=data["axis"])
    state.questions.append({
        "question": data["question"],
        "axis": data["axis"],
        "text": data["text"],
        "at_utc": event["at_utc"],
        "event": event["id"],
        "answer": state.answers.get(data["question"]),
    })  # fmt: skip
    state.question_order[data["question"]] = state.count


def press_hold(state: SetupState, event: Event[Nothing]) -> None:
    """Hold.pressed: the operator pressed feed hold."""
    state.holds.append({"step": event["step"], "at_utc": event["at_utc"], "event": event["id"]})


def resume(state: SetupState, event: Event[SetupResumed]) -> None:
    """Setup.resumed: a person came back, or the page was loaded again."""
    away_ms = event["data"]["away_ms"]
    state.resumes.append({
        "away_ms": away_ms,
        "step": event["step"],
        "at_utc": event["at_utc"],
        "event": event["id"],
    })  # fmt: skip


def reopen(state: SetupState, event: Event[StepReopened]) -> None:
    """Step.reopened: a correction."""
    step_id = event["data"]["reopened"]
    step = state.plan.get(step_id)
    if step is None:
        raise Refused("setup.step_unknown", step=step_id)
    stage = state.stage_of[step_id]
    is_gone = state.broken_off is not None and stage not in ENDING_STAGES
    if step["kind"] == "caution" or not state.is_done(step_id) or is_gone:
        raise Refused("setup.not_reopenable", step=step_id)
    for other in _opened_with(state, step_id):
        if state.is_done(other):
            state.open(other)
    state.before_break = None
    correct(state, event, "reopened", step_id, event["data"]["reason"])


def _opened_with(state: SetupState, step_id: str) -> list[str]:
    """Return the step, all later steps of its stage,
    and what was done in the slot if it is the slot's step.
    """
    ids = list(state.plan)
    later = ids[ids.index(step_id) :]
    also = {"copy", "clear"} if state.plan[step_id]["kind"] == "slot" else set()
    stage = state.stage_of[step_id]
    return [other for other in later if state.stage_of[other] == stage or state.plan[other]["kind"] in also]


def break_off(state: SetupState, event: Event[Nothing]) -> None:
    """Setup.broken_off: skip to putting the probe away, or past it if there is nothing to put away."""
    break_for(state, event)


def break_for(state: SetupState, event: AnyEvent, reason: str | None = None) -> BrokenOff:
    """Break the setup off, with the reason where the event says it; what it then says of it."""
    if state.broken_off is not None:
        raise Refused("setup.already_broken_off")
    step = state.current
    if step is None or state.stage_of[step["id"]] in ENDING_STAGES:
        raise Refused("setup.nothing_to_break_off")
    stow = _may_hold_probe(state, step["kind"])
    state.before_break = {step_id: found.copy() for step_id, found in state.steps.items()}
    for step_id, found in state.steps.items():
        stage = state.stage_of[step_id]
        if found["state"] == "open" and stage != "sign" and not (stage == "stow" and stow):
            state.skip(step_id, event)
    said = None if reason is None else ""
    broken: BrokenOff = {"step": step["id"], "at_utc": event["at_utc"], "reason": reason, "text": said}
    state.broken_off, state.blocked, state.copy_waits = broken, None, None
    _set_row_to_zero_again(state)
    return broken


def _set_row_to_zero_again(state: SetupState) -> None:
    """Let the row be set to zero again where its old values were copied down:
    from then on it may have been cleared.
    """
    if state.copied is not None and state.slot is not None:
        state.steps |= {step["id"]: OPEN.copy() for step in state.plan.values() if step["kind"] == "zero"}


def _may_hold_probe(state: SetupState, kind: str) -> bool:
    """Tell whether the probe is in the spindle or may be:
    it was being called, or no step says when it comes in.
    """
    never_loaded = all(step["kind"] != "tool_in" for step in state.plan.values())
    return state.probe_in_spindle or kind == "tool_in" or never_loaded


def explain_break(state: SetupState, event: Event[BreakExplained]) -> None:
    """Break.explained: why; said again, the last word counts."""
    if state.broken_off is None:
        raise Refused("setup.not_broken_off")
    state.broken_off["reason"] = event["data"]["reason"]
    state.broken_off["text"] = event["data"]["text"]


def undo_break(state: SetupState, event: Event[Nothing]) -> None:
    """Break.undone: it was pressed by mistake."""
    if state.broken_off is None:
        raise Refused("setup.not_broken_off")
    if state.before_break is None:
        raise Refused("setup.break_too_late")
    step_id = state.broken_off["step"]
    state.steps, state.before_break, state.broken_off = state.before_break, None, None
    state.given_up = []
    correct(state, event, "break_undone", step_id, "")


def correct(state: SetupState, event: AnyEvent, kind: str, step_id: str, reason: str) -> None:
    """List that something was done again, and why."""
    state.corrections.append({
        "kind": kind,
        "step": step_id,
        "reason": reason,
        "at_utc": event["at_utc"],
        "event": event["id"],
    })  # fmt: skip
