"""Events that answer a step, except touches and the end.

Rules of this module:
- A step closes only on the answer that it asks for; every other answer is kept and the step stays open.
- What was typed is read again.
  Where the event claims something else, that is a problem, and what was typed counts.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from webapp.domain.evidence.event_kinds import (
    AXIS_NAMES,
    Answer,
    BoardChecked,
    CautionCarried,
    CautionRead,
    ChecksTicked,
    Event,
    RowPutBack,
    SlotCleared,
    SlotRead,
    SlotZeroed,
    StepDone,
    ToolRead,
    ValuesCopied,
)
from webapp.domain.evidence.written_sheet import MachineOnSheet, StepOnSheet, WrittenSheet
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.setup.state import Refused, SetupState
from webapp.domain.setup.touching import input_age
from webapp.domain.setup.trouble.troubles import search_waits
from webapp.domain.touch.compare import not_cleared, parked_nm, same_tool, slot_length_nm, slot_on_sheet

TypedEvent = Answer[ValuesCopied] | Answer[SlotCleared] | Answer[SlotZeroed] | Event[RowPutBack]
ReadLength = Callable[[str, MachineOnSheet, str], int]


def read_caution(state: SetupState, event: Answer[CautionRead]) -> None:
    """Caution.read."""
    step = state.plan[event["step"]]
    caution = event["data"]["caution"]
    expected = "" if step["caution"] is None else step["caution"]["id"]
    if expected != caution:
        raise Refused("setup.caution_other", caution=caution, expected=expected)
    _list_caution(state, event, caution, event["at_utc"])


def carry_caution(state: SetupState, event: Answer[CautionCarried]) -> None:
    """Caution.carried: acknowledged earlier in this shift, where the sheet lets this person do so."""
    step, data = state.plan[event["step"]], event["data"]
    expected = "" if step["caution"] is None else step["caution"]["id"]
    if expected != data["caution"]:
        raise Refused("setup.caution_other", caution=data["caution"], expected=expected)
    person = next((one for one in state.sheet["people"] if one["id"] == event["person"]), None)
    if person is None or not (step.get("once_a_shift", False) and person.get("once_a_shift", False)):
        raise Refused("setup.caution_not_carried", caution=data["caution"])
    since = datetime.fromisoformat(event["at_utc"]) - datetime.fromisoformat(data["read_at_utc"])
    if not timedelta() <= since <= timedelta(hours=state.sheet["shop"].get("shift_hours", 0)):
        raise Refused("setup.caution_not_carried", caution=data["caution"])
    _list_caution(state, event, data["caution"], data["read_at_utc"])


def _list_caution(
    state: SetupState, event: Answer[CautionRead] | Answer[CautionCarried], caution: str, read_at_utc: str
) -> None:
    state.cautions.append({
        "caution": caution,
        "at_utc": event["at_utc"],
        "read_at_utc": read_at_utc,
        "event": event["id"],
    })  # fmt: skip
    state.close(event["step"], event)


def check_board(state: SetupState, event: Answer[BoardChecked]) -> None:
    """Board.checked: only a clear machine goes on."""
    found = event["data"]["found"]
    state.probe_in_spindle = found == "probe_in_spindle"
    if found == "clear":
        state.close(event["step"], event)
    else:
        state.stay(f"setup.board_{found}")


def do_step(state: SetupState, event: Answer[StepDone]) -> None:
    """Step.done: a confirmation, one answer out of some, or a search that is set."""
    step, answer = state.plan[event["step"]], event["data"]["answer"]
    choice = next((choice for choice in step["choices"] if choice["id"] == answer), None)
    is_asked = step["choices"] and not is_practised(state.sheet, step, event["person"])
    if choice is None and (is_asked or answer != "done"):
        raise Refused("setup.choice_unknown", answer=answer)
    if choice is not None and not choice["closes"]:
        state.stay("setup.answer_keeps_open", label=choice["label"])
        return
    if step["kind"] == "search" and step["axis"] is not None:
        if search_waits(state, step["axis"]):
            raise Refused("setup.search_needs_lead", axis=step["axis"])
        if input_age.is_old(state, event["elapsed_ms"]):
            state.stay("setup.input_old")
            return
        state.searched_at[step["axis"]] = state.count
    if step["kind"] == "input":
        input_age.look_at_input(state, event)
    state.close(step["id"], event)


def is_practised(sheet: WrittenSheet, step: StepOnSheet, person: str) -> bool:
    """Tell whether a step asks this person nothing:
    it has words for whom is practised, and the sheet says who is.
    """
    return "practised" in step and any(
        one["id"] == person and one.get("practised", False) for one in sheet["people"]
    )


def tick_checks(state: SetupState, event: Answer[ChecksTicked]) -> None:
    """Checks.ticked: a list closes its step once every line of it is ticked."""
    ticked = set(event["data"]["ticked"])
    left = next(
        (check for check in state.plan[event["step"]].get("checks", []) if check["id"] not in ticked), None
    )
    if left is None:
        state.close(event["step"], event)
    else:
        state.stay("setup.check_left", label=left["label"])


def read_tool(state: SetupState, event: Answer[ToolRead]) -> None:
    """Tool.read: the number on the control against the probe's or the parking tool's."""
    step, typed = state.plan[event["step"]], event["data"]["typed"]
    loading = step["kind"] == "tool_in"
    expected = state.sheet["machine"]["probe_tool" if loading else "parking_tool"]
    matches = same_tool(typed, expected)
    if matches != event["data"]["matches"]:
        state.note(event, "setup.tool_differs", typed=typed, expected=expected)
    if not matches:
        state.stay("setup.tool_other", typed=typed, expected=expected)
        return
    state.probe_in_spindle = loading
    state.close(step["id"], event)


def read_slot(state: SetupState, event: Answer[SlotRead]) -> None:
    """Slot.read: whose slot is selected."""
    typed, claimed = event["data"]["typed"], event["data"]["outcome"]
    found = slot_on_sheet(typed, state.sheet, event["person"], event["at_utc"])
    if found.outcome != claimed:
        state.note(event, "setup.slot_differs", typed=typed, claimed=claimed, found=found.outcome)
    if found.outcome != "own":
        state.stay(f"setup.slot_{found.outcome}", label=found.label or typed, owner=found.owner_name)
        return
    if state.slot not in {None, found.label}:
        _begin_in_another_slot(state)
    state.slot, state.slot_read_at = found.label, state.count
    state.close(event["step"], event)


def _begin_in_another_slot(state: SetupState) -> None:
    """Open what was done in the slot that was selected before: nothing of it was done in this one."""
    for step_id, step in state.plan.items():
        in_slot = step["kind"] in {"copy", "clear"} or step["axis"] is not None
        if in_slot and state.is_done(step_id):
            state.open(step_id)


def clear_slot(state: SetupState, event: Answer[SlotCleared]) -> None:
    """Slot.cleared: only three zeros go on, or what the lead parks a row at."""
    if not stays_uncleared(state, event, typed_values(state, event)):
        state.close(event["step"], event)


def stays_uncleared(
    state: SetupState, event: Answer[SlotCleared] | Answer[SlotZeroed], values_nm: dict[str, int]
) -> bool:
    """Tell whether the row holds another value than a cleared one does, and say on which axis."""
    left = not_cleared(values_nm, state.sheet)
    if left is None:
        return False
    code = "setup.slot_not_parked" if parked_nm(state.sheet, left) else "setup.slot_not_zero"
    state.stay(code, axis=left, typed=event["data"]["typed"][left])
    return True


def typed_values(state: SetupState, event: TypedEvent) -> dict[str, int]:
    """Return the typed values of X, Y and Z.
    Raises `Refused` for one that cannot be read; notes one that differs.
    """
    values_nm: dict[str, int] = {}
    for axis in AXIS_NAMES:
        values_nm[axis] = read_length(slot_length_nm, state, event["data"]["typed"][axis], axis)
    for axis in AXIS_NAMES:
        if event["data"]["values_nm"][axis] != values_nm[axis]:
            state.note(event, "setup.value_differs", axis=axis, typed=event["data"]["typed"][axis])
    return values_nm


def read_length(read: ReadLength, state: SetupState, typed: str, axis: str) -> int:
    """Return the typed length. Raises `Refused` where it cannot be read."""
    try:
        return read(typed, state.sheet["machine"], axis)
    except LengthError:
        raise Refused("setup.length_unreadable", axis=axis, typed=typed) from None
