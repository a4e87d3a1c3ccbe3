"""The lead at the tablet: a stop lifted by the lead's own PIN.

Rules of this module:
- It counts once the server has verified the PIN, and no earlier; it lifts a stop and never signs anything off.
- Whoever runs the setup does not lift its stop.
- The decision holds whenever it comes: before the event, or after it.
"""

from __future__ import annotations

from webapp.domain.setup.state import Event, Plain, Refused, SetupState


def lift_stop(state: SetupState, event: Event) -> None:
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
        **standing(state, event),
    })  # fmt: skip
    state.lift_order[event["id"]] = state.count


def standing(state: SetupState, event: Event) -> Plain:
    """Return where a PIN sealed beside this event stands with the server."""
    found: Plain = {"event": event["id"], "at_utc": event["at_utc"], "state": "on_device"}
    return _settled(state, found | {"refused_because": None, "tries_left": None})


def settle(state: SetupState) -> None:
    """Bring every lift and every row put back to what the server decided about it."""
    for given in (*state.lifts, *state.put_backs):
        _settled(state, given)


def _settled(state: SetupState, given: Plain) -> Plain:
    if given["event"] in state.lifts_verified:
        given["state"], given["refused_because"], given["tries_left"] = "verified", None, None
    elif given["event"] in state.lifts_refused:
        given |= {"state": "refused", **state.lifts_refused[given["event"]]}
    return given
