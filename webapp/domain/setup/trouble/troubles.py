"""What may happen during a move:
held, the wrong way, an alarm, nothing found, a dead probe, a change that stuck.

Rules of this module (what to do is common practice, no source):
- What happened is kept; nobody is judged by it.
- After it the way to the touch is taken anew: raised, over, lowered, searched. A reset of the control drops
  slot, length and units on many controls, so settings and label are asked for again. If the ball touched, the
  input is looked at again. What was copied down and cleared stays done as long as the label is the same.
- An emergency stop or a reset in the middle of a tool change may lose the home position:
  the machine's state is looked at again.
- Nothing found a second time on one axis is the lead's.
  A probe that leans on the face and says nothing is dead: the setup ends at the stow.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import Event, TroubleMet
from webapp.domain.setup.notes import ENDING_STAGES, break_for
from webapp.domain.setup.state import SetupState
from webapp.domain.setup.trouble import stops

MOST_NOTHING_FOUND = 2
BEFORE_A_TOUCH = frozenset({"over", "lower", "search"})
ON_THE_WAY = BEFORE_A_TOUCH | {"touch", "square"}
LOOKED_AT = frozenset({"confirm", "checks"})


def meet_trouble(state: SetupState, event: Event[TroubleMet]) -> None:
    """Trouble.met: what happened, whether the ball touched anything, whether the control was reset."""
    data, step = event["data"], state.current
    axis = None if step is None else step["axis"]
    state.troubles.append({
        "trouble": data["trouble"],
        "axis": axis,
        "touched": data["touched"],
        "reset": data["reset"],
        "step": event["step"],
        "at_utc": event["at_utc"],
        "event": event["id"],
        "order": state.count,
    })  # fmt: skip
    if step is None or state.broken_off is not None or state.stage_of[step["id"]] in ENDING_STAGES:
        return
    if data["trouble"] == "dead_probe":
        break_for(state, event, "probe")
        return
    for step_id in asked_again(state, data["trouble"], touched=data["touched"], reset=data["reset"]):
        state.ask_again(step_id)
    for step_id in way_back(state, step["id"]):
        state.open(step_id)
    state.before_break = None


def asked_again(state: SetupState, trouble: str, *, touched: bool, reset: bool) -> list[str]:
    """Return the done steps whose answers may not hold any more."""
    again, is_loaded = [], False
    loading = next((step_id for step_id, step in state.plan.items() if step["kind"] == "tool_in"), None)
    for step_id, step in state.plan.items():
        stage = state.stage_of[step_id]
        is_loaded = is_loaded or step_id == loading
        at_probe = is_loaded and stage == state.stage_of[loading or ""]
        lost = (
            (at_probe and step["kind"] == "input" and touched)
            or (at_probe and step["kind"] in LOOKED_AT and reset)
            or (step["kind"] == "slot" and reset)
            or (stage == "ready" and step["kind"] in LOOKED_AT and trouble == "change_stuck")
        )
        if lost and state.is_done(step_id):
            again.append(step_id)
    return again


def way_back(state: SetupState, current: str) -> list[str]:
    """Return the done steps of the axis' stage that lead to where this happened, the way to a look for square
    included.
    """
    step = state.plan[current]
    if step["axis"] is None or step["kind"] not in ON_THE_WAY:
        return []
    own = [one for one in state.plan.values() if one["axis"] == step["axis"]]
    if any(one["kind"] == "square" and state.steps[one["id"]]["state"] == "open" for one in own):
        way = [one["id"] for one in own if one["kind"] in {"over", "lower"}]
    else:
        way = stops.way_to_touch(state, step["axis"])
    ids = list(state.plan)
    return [step_id for step_id in way if ids.index(step_id) <= ids.index(current) and state.is_done(step_id)]


def search_waits(state: SetupState, axis: str | None) -> bool:
    """Tell whether a search of this axis waits for the lead:
    it found nothing twice since the lead last spoke.
    """
    orders = [
        trouble["order"]
        for trouble in state.troubles
        if trouble["axis"] == axis and trouble["trouble"] == "nothing_found"
    ]
    spoken = stops.lead_spoke_at(state, axis)
    return len([order for order in orders if order > spoken]) >= MOST_NOTHING_FOUND
