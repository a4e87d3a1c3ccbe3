"""Who stands beside whoever sets up, at a step that asks for somebody.

Rules of this module:
- Who it is, is told by whoever sets up, out of those whom the sheet names
  (`webapp.domain.evidence.for_whom`); nothing checks who stands there.
- It is said anew whenever the step is opened again. A step that closes without it is closed all the same, and
  the lack is a problem: the tablet asks before it shows the step.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import BesideNamed, Event
from webapp.domain.evidence.folded_setup import Beside
from webapp.domain.evidence.for_whom import asked_for, may_stand_beside
from webapp.domain.setup.state import Refused, SetupState


def name_beside(state: SetupState, event: Event[BesideNamed]) -> None:
    """Beside.named."""
    step, who = state.current, event["data"]["who"]
    if step is None or event["step"] != step["id"] or not asked_for(state.sheet, step, event["person"]):
        raise Refused("setup.beside_not_asked", step=event["step"] or "")
    if who not in {one["id"] for one in may_stand_beside(state.sheet, step, event["person"])}:
        raise Refused("setup.beside_unknown", who=who)
    beside: Beside = {"step": step["id"], "who": who, "at_utc": event["at_utc"], "event": event["id"]}
    state.beside.append(beside)
    state.named[step["id"]] = who


def waits_for(state: SetupState) -> str | None:
    """Return whom the current step asks for and who was not named yet; None for nobody."""
    step = state.current
    if step is None or step["id"] in state.named:
        return None
    return asked_for(state.sheet, step, state.person)
