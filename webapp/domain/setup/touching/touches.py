"""Touches, their comparison, and what lets a touched value stand.

Rules of this module:
- A verdict is decided again from the typed value and the sheet's lines.
- Two touches of an axis agree when they differ by no more than the ask line and a new search was run between
  them: typing one touch twice is no repeat.
- A touch that agrees may be kept, and so may one that has nothing to be compared with: the lead decides about
  a setup's first values, all in one, with the sign-off. One that is asked about needs a question put since;
  one beyond the stop line needs the lead's go-on to such a question.
- What may stand after a stop is said in `stops`. Under a sheet of the first format a repeat that agrees and a
  question were enough, and a question about a touch held for a repeat that agreed with it.
- A second entry without a new search between them is another reading of the same touch; both stay listed.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import (
    Answer,
    ChipWiped,
    TouchEntered,
    TouchKept,
    TouchReadAgain,
    TouchRepeated,
)
from webapp.domain.evidence.folded_setup import Blocked
from webapp.domain.evidence.written_sheet import StepOnSheet
from webapp.domain.setup.state import Refused, SetupState, TouchNote, remark
from webapp.domain.setup.steps import read_length
from webapp.domain.setup.touching import by_hand
from webapp.domain.setup.trouble import stops
from webapp.domain.touch.compare import repeat_agrees, touch_length_nm, verdict_on


def enter_touch(state: SetupState, event: Answer[TouchEntered]) -> None:
    """Touch.entered: the value that the control shows."""
    by_hand.must_be_triggered(state, event)
    _list_touch(state, event)
    state.close(event["step"], event)


def read_again(state: SetupState, event: Answer[TouchReadAgain]) -> None:
    """Touch.read_again: the same touch read a second time, without seeing what was read first."""
    axis = same_axis(state.plan[event["step"]], event["data"]["axis"])
    place = state.last_touch(axis)
    if place is None or state.touches[place]["reading"] > 1 or state.touches[place]["read_again"] is not None:
        raise Refused("setup.read_again_once", axis=axis)
    first = state.touches[place]
    value_nm = _list_touch(state, event)
    if value_nm == first["value_nm"]:
        state.touches.pop()
        state.touch_notes.pop()
        typed = event["data"]["typed"]
        first["read_again"] = {"typed": typed, "event": event["id"], "at_utc": event["at_utc"]}
    state.blocked = None


def _list_touch(state: SetupState, event: Answer[TouchEntered] | Answer[TouchReadAgain]) -> int:
    """List what was typed as a touch, decided again, and return its value."""
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
    reading = 1 + len(stops.readings(state, axis, state.searched_at.get(axis, 0)))
    state.touches.append({
        "axis": axis,
        "typed": data["typed"],
        "value_nm": value_nm,
        "difference_nm": difference_nm,
        "verdict": verdict,
        "repeat_agrees": _note_repeat(state, axis, value_nm),
        "reading": reading,
        "read_again": None,
        "kept": False,
        "because": None,
        "event": event["id"],
        "at_utc": event["at_utc"],
    })  # fmt: skip
    by_hand.hold_against_surface(state, state.touches[-1])
    return value_nm


def _note_repeat(state: SetupState, axis: str, value_nm: int) -> bool:
    """Note the touch's search, and tell whether it agrees with the touch of an earlier search."""
    searched_at = state.searched_at.get(axis, 0)
    before = next(
        (
            place
            for place in reversed(range(len(state.touches)))
            if state.touches[place]["axis"] == axis and state.touch_notes[place].searched_at < searched_at
        ),
        None,
    )
    agrees = before is not None and repeat_agrees(
        value_nm, state.touches[before]["value_nm"], state.axes[axis]["usual"]
    )
    carries = agrees and before is not None and not state.stops_are_the_leads
    covered_from = state.touch_notes[before or 0].covered_from if carries else state.count
    state.touch_notes.append(TouchNote(searched_at, covered_from))
    return agrees


def repeat_touch(state: SetupState, event: Answer[TouchRepeated]) -> None:
    """Touch.repeated: search and touch this axis again; both values are kept."""
    step = state.plan[event["step"]]
    axis = same_axis(step, event["data"]["axis"])
    if state.stops_are_the_leads and not stops.may_touch_again(state, axis):
        raise Refused("setup.touch_again_used", axis=axis)
    for step_id in stops.way_to_touch(state, axis):
        state.open(step_id)


def wipe_chip(state: SetupState, event: Answer[ChipWiped]) -> None:
    """Chip.wiped: why this axis is searched and touched again; the lead sees the value that stood before."""
    repeat_touch(state, event)
    axis = event["data"]["axis"]
    touch = state.touches[state.last_touch(axis) or 0]
    at = (event["id"], event["at_utc"])
    state.remarks.append(remark("chip_wiped", *at, axis=axis, values_nm=[touch["value_nm"]]))


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
    if state.stops_are_the_leads:
        return stops.keep_reasons(state, axis)
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
    if state.stops_are_the_leads:
        return {"code": f"setup.compare_needs_{stops.waits_for(state, axis)}", "fields": {"axis": axis or ""}}
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
