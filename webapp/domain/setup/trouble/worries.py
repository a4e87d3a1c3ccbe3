"""Worries: something was off, what it is about, and whether it keeps that thing from use.

Rules of this module:
- A worry names the machine, the vise or the probe. Most kinds say themselves which; "other" is told by the
  person. One that names nothing (somebody in the way) is over when the setup is and stands in its record
  alone.
- Kinds after which nobody can say that a probe or a vise is sound keep it from the next setup until a lead
  has entered a check or a reason (common practice, no source).
- An event from before worries named anything names nothing, whatever its kind: it keeps its meaning.
- `static/js/rules/setup/trouble/worries.js` does the same in the browser.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from webapp.domain.evidence.decisions import WorryClosed
from webapp.domain.evidence.event_kinds import Event, SetupStarted, WorryRaised
from webapp.domain.evidence.folded_setup import ClosedWorry
from webapp.domain.setup.state import SetupState


class WorryRule(NamedTuple):
    """What a kind of worry is about (None:
    the person says, or nothing), and whether that is kept from use.
    """

    about: str | None
    blocks: bool


TOLD = "other"
RULES: Mapping[str, WorryRule] = {
    "hit_something": WorryRule(about="probe", blocks=True),
    "stylus_bent": WorryRule(about="probe", blocks=True),
    "fell": WorryRule(about="probe", blocks=True),
    "probe_looks_wrong": WorryRule(about="probe", blocks=True),
    "vise_loose": WorryRule(about="vise", blocks=True),
    "wrong_place": WorryRule(about="vise", blocks=False),
    "machine_looks_wrong": WorryRule(about="machine", blocks=False),
    "somebody_in_the_way": WorryRule(about=None, blocks=False),
    TOLD: WorryRule(about=None, blocks=False),
}


@dataclass(frozen=True)
class RaisedWorry:
    """A worry as it was raised. `event` is the id of its event,
    `fixture` and `probe` those of its setup's sheet.
    """

    event: str
    setup: str
    machine: str
    fixture: str
    probe: str
    about: str
    kind: str
    blocks: bool
    text: str
    person: str
    at_utc: str


@dataclass(frozen=True)
class WorryRow(RaisedWorry):
    """The same with how it was closed; None while it is open."""

    closed_at_utc: str | None
    closed_by: str | None
    closed_how: str | None
    closed_reason: str | None


def raise_worry(state: SetupState, event: Event[WorryRaised]) -> None:
    """Worry.raised: something is off."""
    data = event["data"]
    rule = RULES[data["worry"]]
    names = "about" in data
    told = data.get("about") if data["worry"] == TOLD else rule.about
    if names and data.get("about") != told:
        state.note(event, "setup.worry_about_differs", about_code=f"about.{data.get('about') or 'nothing'}")
    state.worries.append({
        "worry": data["worry"],
        "text": data["text"],
        "step": event["step"],
        "at_utc": event["at_utc"],
        "event": event["id"],
        "about": told if names else None,
        "blocks": names and rule.blocks,
        "closed": state.worries_closed.get(event["id"]),
    })  # fmt: skip


def close_worry(state: SetupState, decision: WorryClosed) -> None:
    """A lead closed a worry, by a check or with a reason."""
    data = decision["data"]
    closed: ClosedWorry = {
        "how": data["how"],
        "reason": data["reason"],
        "by": decision["by"],
        "at_utc": decision["at_utc"],
    }
    state.worries_closed[data["worry"]] = closed
    for worry in state.worries:
        if worry["event"] == data["worry"]:
            worry["closed"] = closed


def note_open_worries(state: SetupState, event: Event[SetupStarted]) -> None:
    """List as problems the worries that keep this sheet's probe or vise from use:
    no setup should have begun on it.
    """
    for worry in state.sheet["board"].get("worries", ()):
        if worry["blocks"]:
            fields = {"worry_code": f"worry.{worry['worry']}", "about_code": f"about.{worry['about']}"}
            state.note(event, "setup.began_despite_worry", text=worry["text"], **fields)
