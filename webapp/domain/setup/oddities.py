"""What is odd about a setup: the one rule that marks it for a lead, and keeps it out of a list that is signed
by one entry of a passphrase.

Rules of this module:
- An oddity is a fact with its fields, never an accusation. A setup without one has each axis touched once and
  within its ask line, and nothing about it that asks for more than a look.
- What others know of it counts like its own events: an open worry of somebody else about what it used, a
  history that splits, a closed machine, what is wrong with its tablet, how fast its steps were done.
- A feed hold is never held against anyone, and is no oddity.
- Whether its values are within the lines of now is asked when a list is signed (`standings`): a value beyond
  them, or the first one of a seating, is decided about on the setup's own page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.errors import Finding

COMPLETE, AGREES, CHANGED, WITHIN = "complete", "agrees", "changed", "within"
# Lists of a folded setup of which every entry is one to be read.
COUNTED = ("problems", "questions", "worries", "remarks", "troubles", "lifts", "put_backs")


@dataclass(frozen=True)
class Surroundings:
    """What is known of a setup beside its own events.

    `worries_of_others`: open ones of other setups about its machine, vise or probe. `forks`: numbers of its
    tablet that several of its events carry. `tablet` is its tablet's state (enrolled, forked, disabled;
    unknown without one), `alarms` that tablet's open reports about the ledger, `waiting` events of it that
    wait for the one before. What of the setup was set aside is among its own problems.
    `changed_meanwhile`: how much of what its tablet went by the shop says otherwise.
    `fast_steps` of `steps` were faster than the shop does them and than they can be read.
    """

    worries_of_others: int = 0
    forks: int = 0
    machine_closed: bool = False
    tablet: str = "enrolled"
    alarms: int = 0
    waiting: int = 0
    changed_meanwhile: int = 0
    fast_steps: int = 0
    steps: int = 0
    standings: Mapping[str, str] = field(default_factory=dict)


def oddities(sheet: WrittenSheet, state: Folded, beside: Surroundings) -> tuple[Finding, ...]:
    """Return what is odd about a setup, each as a code of the catalogue with its fields; empty for a plain
    one.
    """
    return (
        *_of_touches(sheet, state),
        *_of_events(state),
        *_of_surroundings(beside),
        *(
            Finding(f"oddity.{how}_now", {"axis": axis})
            for axis, how in beside.standings.items()
            if how != WITHIN
        ),
    )


def _of_touches(sheet: WrittenSheet, state: Folded) -> Iterator[Finding]:
    if state["outcome"] != COMPLETE:
        yield Finding(f"oddity.{state['outcome'] or 'not_finished'}")
    for axis in (one["axis"] for one in sheet["axes"]):
        touches = [touch for touch in state["touches"] if touch["axis"] == axis]
        if len(touches) > 1:
            yield Finding("oddity.touched_again", {"axis": axis, "count": len(touches)})
        if not any(touch["kept"] for touch in touches):
            yield Finding("oddity.no_value", {"axis": axis})
        elif not any(touch["kept"] and touch["difference_nm"] is not None for touch in touches):
            yield Finding("oddity.nothing_to_compare", {"axis": axis})
        if any(touch["verdict"] != AGREES and touch["difference_nm"] is not None for touch in touches):
            yield Finding("oddity.beyond_ask", {"axis": axis})


def _of_events(state: Folded) -> Iterator[Finding]:
    for name in COUNTED:
        if count := len(state[name]):  # type: ignore[literal-required]
            yield Finding(f"oddity.{name}", {"count": count})
    if state["not_usable"]:
        yield Finding("oddity.not_usable", {"axes": ", ".join(state["not_usable"]["axes"])})
    if state["zeroed"]:
        yield Finding("oddity.row_zeroed")
    if state["redo"]:
        yield Finding("oddity.redo")
    if any(square["stands"] and square["told"] for square in state["squares"]):
        yield Finding("oddity.jaw_askew")
    changed = [
        axis for axis, how in (state["copied"] or {"compared": {}})["compared"].items() if how == CHANGED
    ]
    if changed:
        yield Finding("oddity.copied_changed", {"axes": ", ".join(changed)})


def _of_surroundings(beside: Surroundings) -> Iterator[Finding]:
    for name in ("worries_of_others", "forks", "alarms", "waiting", "changed_meanwhile"):
        if count := getattr(beside, name):
            yield Finding(f"oddity.{name}", {"count": count})
    if beside.machine_closed:
        yield Finding("oddity.machine_closed")
    if beside.tablet != "enrolled":
        yield Finding(f"oddity.tablet_{beside.tablet}")
    if beside.fast_steps:
        yield Finding("oddity.fast_steps", {"count": beside.fast_steps, "steps": beside.steps})
