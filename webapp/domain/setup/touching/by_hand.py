"""Slots that are written by hand: the trigger position is read, the surface entered, and the row read back.

Rules of this module:
- The control shows where the probe answered. The surface is that plus what the sheet says (the ball's radius
  along the search, on Z also the point that the machine page reads); the tablet gives it, the person enters
  it.
- The value of the touch is what was read back, never what was given.
  One that is another than the surface is read a second time and then asked about: the lead sees both.
- A touch without its trigger position since the search does not count.
- `static/js/rules/setup/touching/by_hand.js` does the same in the browser.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import Answer, TouchEntered, TriggerRead
from webapp.domain.evidence.folded_setup import Touch
from webapp.domain.setup.state import Refused, SetupState
from webapp.domain.setup.steps import read_length
from webapp.domain.touch.compare import touch_length_nm


def read_trigger(state: SetupState, event: Answer[TriggerRead]) -> None:
    """Trigger.read: the step stays open for the value that is read back."""
    data, axis = event["data"], event["data"]["axis"]
    offset_nm = offset_of(state, axis)
    if state.plan[event["step"]]["axis"] != axis or offset_nm is None:
        raise Refused("setup.trigger_not_asked", axis=axis)
    value_nm = read_length(touch_length_nm, state, data["typed"], axis)
    surface_nm = value_nm + offset_nm
    if data["value_nm"] != value_nm:
        state.note(event, "setup.value_differs", axis=axis, typed=data["typed"])
    if data["surface_nm"] != surface_nm:
        state.note(event, "setup.surface_differs", axis=axis, typed=data["typed"])
    state.triggers.append({
        "axis": axis,
        "typed": data["typed"],
        "value_nm": value_nm,
        "surface_nm": surface_nm,
        "event": event["id"],
        "at_utc": event["at_utc"],
    })  # fmt: skip
    state.triggered_at[axis] = state.searched_at.get(axis, 0)
    state.blocked = None


def offset_of(state: SetupState, axis: str) -> int | None:
    """Return what is added to a trigger position, None where the control writes the slot."""
    return state.axes[axis].get("by_hand_nm") if axis in state.axes else None


def to_enter_nm(state: SetupState) -> int | None:
    """Return the surface that is to be entered and read back now,
    None while no trigger position waits for that.
    """
    step = state.current
    axis = step["axis"] if step is not None and step["kind"] == "touch" else None
    if axis is None or offset_of(state, axis) is None or not _is_triggered(state, axis):
        return None
    return _last_surface_nm(state, axis)


def _is_triggered(state: SetupState, axis: str) -> bool:
    return state.triggered_at.get(axis) == state.searched_at.get(axis, 0)


def _last_surface_nm(state: SetupState, axis: str) -> int:
    return next(one["surface_nm"] for one in reversed(state.triggers) if one["axis"] == axis)


def must_be_triggered(state: SetupState, event: Answer[TouchEntered]) -> None:
    """Raise `Refused` for a value by hand without its trigger position since the search."""
    axis = event["data"]["axis"]
    if offset_of(state, axis) is not None and not _is_triggered(state, axis):
        raise Refused("setup.trigger_needed", axis=axis)


def hold_against_surface(state: SetupState, touch: Touch) -> None:
    """Note a value that is another than the surface which was to be entered."""
    if offset_of(state, touch["axis"]) is None:
        return
    surface_nm = _last_surface_nm(state, touch["axis"])
    if touch["value_nm"] != surface_nm:
        state.entered_otherwise[touch["event"]] = surface_nm
