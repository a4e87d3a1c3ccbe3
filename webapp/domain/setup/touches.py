"""Touches, their comparison, and what lets a touched value stand.

Rules of this module:
- A verdict is decided again from the typed value and the sheet's lines.
- Two touches of an axis agree when they differ by no more than the ask line and a new search was run between them:
  typing one touch twice is no repeat.
- A touch that agrees may be kept, and so may one that has nothing to be compared with: the lead decides about a
  setup's first values, all in one, with the sign-off. One that is asked about needs a question put since; one beyond
  the stop line needs the lead's go-on to such a question, or a repeat that agrees and a question. A question about a
  touch holds for a repeat that agrees with it.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import Answer, TouchEntered, TouchKept, TouchRepeated
from webapp.domain.evidence.folded_setup import Blocked
from webapp.domain.evidence.written_sheet import StepOnSheet
from webapp.domain.setup.state import Refused, SetupState, TouchNote
from webapp.domain.setup.steps import read_length
from webapp.domain.touch.compare import repeat_agrees, touch_length_nm, verdict_on


def enter_touch(state: SetupState, event: Answer[TouchEntered]) -> None:
    """Touch.entered: the value that the control shows."""
    data, step = event["data"], state.plan[event["step"]]
    axis = same_axis(step, data["axis"])
    value_nm = read_length(touch_length_nm, state, data["typed"], axis)
    verdict, difference_nm = verdict_on(value_nm, state.axes[axis]["usual"])
    for name, claimed, found in (
        ("value", data["value_nm"], value_nm),
        ("verdict", data["verdict"], verdict),
        ("difference", data["difference_nm"], difference_nm),
    ):
        if claimed != found:
            state.note(event, f"setup.{name}_differs", axis=axis, typed=data["typed"])
    state.touches.append({
        "axis": axis,
        "typed": data["typed"],
        "value_nm": value_nm,
        "difference_nm": difference_nm,
        "verdict": verdict,
        "repeat_agrees": _note_repeat(state, axis, value_nm),
        "kept": False,
        "because": None,
        "event": event["id"],
        "at_utc": event["at_utc"],
    })  # fmt: skip
    state.close(step["id"], event)


def _note_repeat(state: SetupState, axis: str, value_nm: int) -> bool:
    """Note the touch's search, and tell whether it agrees with the touch of an earlier search."""
    searched_at = state.searched_at.get(axis, 0)
    before = next(
        (
            place
            for place in range(len(state.touches) - 1, -1, -1)
            if state.touches[place]["axis"] == axis and state.touch_notes[place].searched_at < searched_at
        ),
        None,
    )
    agrees = before is not None and repeat_agrees(
        value_nm, state.touches[before]["value_nm"], state.axes[axis]["usual"]
    )
    covered_from = state.touch_notes[before].covered_from if agrees and before is not None else state.count
    state.touch_notes.append(TouchNote(searched_at, covered_from))
    return agrees


def repeat_touch(state: SetupState, event: Answer[TouchRepeated]) -> None:
    """Touch.repeated: search and touch this axis again; both values are kept."""
    step = state.plan[event["step"]]
    axis = same_axis(step, event["data"]["axis"])
    for step_id in way_to_touch(state, axis):
        state.open(step_id)


def way_to_touch(state: SetupState, axis: str) -> list[str]:
    """Return the steps that lead to an axis' touch anew: over, lowered, searched, touched.

    What comes before a look for square belongs to that.
    """
    own = [step for step in state.plan.values() if step["axis"] == axis]
    kinds = [step["kind"] for step in own]
    after = kinds.index("square") + 1 if "square" in kinds else 0
    return [step["id"] for step in own[after:] if step["kind"] in {"over", "lower", "search", "touch"}]


def keep_touch(state: SetupState, event: Answer[TouchKept]) -> None:
    """Touch.kept: the value stands, for a reason that holds."""
    step, because = state.plan[event["step"]], event["data"]["because"]
    axis = same_axis(step, event["data"]["axis"])
    place = state.last_touch(axis)
    if place is None or because not in keep_reasons(state, axis):
        raise Refused("setup.keep_not_allowed", axis=axis, because=because)
    state.touches[place]["kept"], state.touches[place]["because"] = True, because
    state.close(step["id"], event)


def keep_reasons(state: SetupState, axis: str | None) -> list[str]:
    """Return the reasons for which the axis' last touch may be kept now, the plainest first."""
    place = state.last_touch(axis)
    if place is None:
        return []
    touch, covered_from = state.touches[place], state.touch_notes[place].covered_from
    if touch["verdict"] == "agrees":
        return ["agrees"]
    covering = [
        question
        for question in state.questions
        if question["axis"] == axis and state.question_order[question["question"]] > covered_from
    ]
    if touch["verdict"] == "ask":
        first = ["first"] if touch["difference_nm"] is None else []
        return [*first, "question"] if covering else first
    allowed = [
        question for question in covering if question["answer"] and question["answer"]["decision"] == "go_on"
    ]
    reasons = ["lead"] if allowed else []
    return [*reasons, "repeat"] if covering and touch["repeat_agrees"] else reasons


def waits_at_compare(state: SetupState, axis: str | None) -> Blocked | None:
    """Return what the comparison of this axis waits for, None when the value may be kept."""
    if keep_reasons(state, axis):
        return None
    place = state.last_touch(axis)
    stop = place is not None and state.touches[place]["verdict"] == "stop"
    if stop and not state.touches[place or 0]["repeat_agrees"]:
        return {"code": "setup.compare_needs_lead", "fields": {"axis": axis or ""}}
    return {"code": "setup.compare_needs_question", "fields": {"axis": axis or ""}}


def same_axis(step: StepOnSheet, axis: str) -> str:
    """Return the axis that an event names. Raises `Refused` where its step is about another."""
    if step["axis"] != axis:
        raise Refused("setup.axis_other", axis=axis, expected=step["axis"] or "")
    return axis
