"""The lead at the tablet: a stop lifted by the lead's own PIN.

Rules of this module:
- It counts once the server has verified the PIN, and no earlier;
  it lifts a stop and never signs anything off.
- Whoever runs the setup does not lift its stop.
- The decision holds whenever it comes: before the event, or after it.
"""

from __future__ import annotations

from webapp.domain.evidence.decisions import NotVerified
from webapp.domain.evidence.event_kinds import Event, StopLifted
from webapp.domain.evidence.folded_setup import NotCounted, Sealed
from webapp.domain.setup.state import Refused, SetupState


def lift_stop(state: SetupState, event: Event[StopLifted]) -> None:
    """Stop.lifted: the lead stood at the tablet and gave a PIN."""
    data = event["data"]
    if data["axis"] not in state.axes:
        raise Refused("setup.axis_unknown", axis=data["axis"])
    if data["lead"] == event["person"]:
        raise Refused("setup.own_stop")
    state.lifts.append({
        "axis": data["axis"],
        "lead": data["lead"],
        "decision": data["decision"],
        "reason": data["reason"],
        "event": event["id"],
        "at_utc": event["at_utc"],
        "state": "on_device",
        "refused_because": None,
        "tries_left": None,
    })  # fmt: skip
    state.lift_order[event["id"]] = state.count
    settle(state)


def not_counted(data: NotVerified) -> NotCounted:
    """Return why a PIN did not count. How many tries are left was not always said."""
    return {"refused_because": data["reason"], "tries_left": data.get("tries_left")}


def settle(state: SetupState) -> None:
    """Bring every lift and every row put back to what the server decided about it."""
    sealed: list[Sealed] = [*state.lifts, *state.put_backs]
    for given in sealed:
        if given["event"] in state.lifts_verified:
            given["state"], given["refused_because"], given["tries_left"] = "verified", None, None
        elif given["event"] in state.lifts_refused:
            why = state.lifts_refused[given["event"]]
            given["state"], given["refused_because"] = "refused", why["refused_because"]
            given["tries_left"] = why["tries_left"]
