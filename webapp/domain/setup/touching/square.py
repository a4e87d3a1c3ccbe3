"""The touch at two places of the jaw: what the fold makes of it.

Rules of this module:
- The error over the jaw is worked out again from the typed values and the sheet's measures,
  in whole nanometres.
- It closes its step whatever it says: an angle is told, and nobody is stopped by it.
  Opened again, it stands no more and stays listed.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import Answer, SquareEntered
from webapp.domain.setup.state import Refused, SetupState
from webapp.domain.setup.steps import read_length
from webapp.domain.setup.touching.touches import same_axis
from webapp.domain.touch.compare import touch_length_nm
from webapp.domain.touch.square import error_over_jaw_nm


def enter_square(state: SetupState, event: Answer[SquareEntered]) -> None:
    """Square.entered: what the control showed at both places."""
    data, step, plan = event["data"], state.plan[event["step"]], state.sheet.get("square")
    axis = same_axis(step, data["axis"])
    if plan is None or plan["axis"] != axis:
        raise Refused("setup.square_not_planned", axis=axis)
    values_nm = [read_length(touch_length_nm, state, typed, axis) for typed in data["typed"]]
    for typed, value_nm, claimed in zip(data["typed"], values_nm, data["values_nm"], strict=True):
        if value_nm != claimed:
            state.note(event, "setup.value_differs", axis=axis, typed=typed)
    error_nm, told = error_over_jaw_nm(values_nm, plan)
    if (data["apart_nm"], data["error_nm"], data["told"]) != (plan["apart_nm"], error_nm, told):
        state.note(event, "setup.square_differs", axis=axis)
    state.squares.append({
        "axis": axis,
        "typed": data["typed"],
        "values_nm": values_nm,
        "apart_nm": plan["apart_nm"],
        "error_nm": error_nm,
        "told": told,
        "stands": True,
        "event": event["id"],
        "at_utc": event["at_utc"],
    })  # fmt: skip
    state.close(step["id"], event)
