"""How old the look at the probe's input may be when a search is set.

Rules of this module:
- A probe falls asleep, and a battery ends: what was seen of its input holds for as long as the machine's
  profile says (5 minutes where it says nothing; common practice, no source), told by the tablet's own forward
  clock.
- A search that is set later stays open. The probe is raised first;
  then the input is looked at again, the settings, the label, and the way to the face is taken anew.
- A sheet from before says no age, and a procedure without a look at the input has none to tell.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import Event, Nothing
from webapp.domain.setup.notes import correct
from webapp.domain.setup.state import AnyEvent, Refused, SetupState
from webapp.domain.setup.trouble import troubles


def look_at_input(state: SetupState, event: AnyEvent) -> None:
    """Note when the input was seen to change and to change back."""
    state.input_checked_ms = event["elapsed_ms"]


def is_old(state: SetupState, elapsed_ms: int) -> bool:
    """Tell whether the input was looked at too long ago for a search at this time of the tablet's forward
    clock.
    """
    limit_ms = state.sheet["machine"].get("input_age_ms")
    if limit_ms is None or state.input_checked_ms is None:
        return False
    return elapsed_ms - state.input_checked_ms > limit_ms


def raise_first(state: SetupState, event: Event[Nothing]) -> None:
    """Input.aged: the probe was raised, because what was seen of its input is too old."""
    step = state.current
    if step is None or step["kind"] not in troubles.ON_THE_WAY or state.input_checked_ms is None:
        raise Refused("setup.input_not_due", type=event["type"])
    for step_id in troubles.asked_again(state, "", touched=True, reset=True):
        state.ask_again(step_id)
    for step_id in troubles.way_back(state, step["id"]):
        state.open(step_id)
    correct(state, event, "input_aged", step["id"], "")
    state.input_checked_ms = None
    state.before_break = None
