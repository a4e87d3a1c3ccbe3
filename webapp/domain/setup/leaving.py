"""Leaving a setup to somebody: to its signer, to the next person, to the lead;
and leaving before anything was done.

Rules of this module:
- Before anything was done at the machine a setup is left without a trace on the board: it was begun by
  mistake, or by the wrong person. Reading cautions and finding the machine clear is not yet doing.
- A finished setup may wait on its tablet for its signer.
- Handing over in the middle ends this setup at a stow; the next person begins anew in a slot of their own.
  Both setups name the other.
- An axis that a stop keeps from standing, with no lead at hand, is given up: the setup ends as not usable.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import AxisGivenUp, Event, Nothing, SetupHandedOver, SetupTakenOver
from webapp.domain.setup.notes import break_for
from webapp.domain.setup.state import Refused, SetupState
from webapp.domain.setup.touching.touches import same_axis
from webapp.domain.setup.trouble import stops
from webapp.domain.setup.trouble.troubles import BEFORE_A_TOUCH

HARMLESS_KINDS = frozenset({"caution", "board"})


def may_leave(state: SetupState) -> bool:
    """Tell whether nothing was done yet, so that the setup can be left as if it had not begun."""
    done = {state.plan[step_id]["kind"] for step_id, found in state.steps.items() if found["state"] == "done"}
    odd = (state.probe_in_spindle, state.blocked, state.worries, state.questions, state.broken_off)
    return state.outcome is None and done <= HARMLESS_KINDS and not any(odd) and state.setup is not None


def leave(state: SetupState, event: Event[Nothing]) -> None:
    """Setup.left: begun by mistake, and nothing was done."""
    if not may_leave(state):
        raise Refused("setup.not_left_now")
    for step_id, found in state.steps.items():
        if found["state"] == "open":
            state.skip(step_id, event)
    state.outcome = "left"


def leave_unsigned(state: SetupState, event: Event[Nothing]) -> None:
    """Setup.left_unsigned: it waits on this tablet for its signer, and the tablet is handed on."""
    if state.current is None or state.current["kind"] != "sign":
        raise Refused("setup.not_left_unsigned")
    state.left_unsigned = {"at_utc": event["at_utc"], "event": event["id"]}


def hand_over(state: SetupState, event: Event[SetupHandedOver]) -> None:
    """Setup.handed_over: somebody else goes on, anew and in a slot of their own."""
    to = event["data"]["to"]
    if to == event["person"]:
        raise Refused("setup.handed_to_oneself")
    broken = break_for(state, event, "handed_over")
    broken["to"], broken["event"] = to, event["id"]


def take_over(state: SetupState, event: Event[SetupTakenOver]) -> None:
    """Setup.taken_over: this setup begins where another person handed over."""
    if state.taken_over is not None or any(found["state"] == "done" for found in state.steps.values()):
        raise Refused("setup.taken_over_late")
    data = event["data"]
    state.taken_over = {
        "setup": data["from_setup"],
        "person": data["from_person"],
        "event": event["id"],
        "at_utc": event["at_utc"],
    }


def give_up(state: SetupState, event: Event[AxisGivenUp]) -> None:
    """Axis.given_up: a stop stands and no lead lifts it; the setup ends as not usable."""
    axis = event["data"]["axis"]
    step = state.current
    if (
        step is None
        or step["kind"] not in {"compare", *BEFORE_A_TOUCH}
        or stops.waits_for(state, axis) is None
    ):
        raise Refused("setup.nothing_to_give_up", axis=axis)
    same_axis(step, axis)
    break_for(state, event, "stop_verdict")
    state.given_up = [axis]
