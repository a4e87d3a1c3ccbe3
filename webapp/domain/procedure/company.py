"""For whom a step stands by how they set up, and who has to stand beside them for it.

Rules of this module (the shop's own, no outside source):
- What a record proves is proven by everybody, so a step of those kinds stands for everybody
  (`standing.ALWAYS_STANDS`). A caution alone may stand on top for who has a lead beside; never for those
  alone who set up alone, and not all of them may be such.
- Each search has its own way over for everybody (`ways`).
- Nobody is asked for at a step that closes without a screen of its own, or that is a person's own word: a
  comparison, the review, the signature, a caution that is read once a shift.
- A lead who sets up is a lead who is there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.levels import BESIDE, LEVELS
from webapp.domain.procedure.standing import ALWAYS_STANDS

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Procedure, Step

LEAD, SECOND = "lead", "second"
# Who can be asked for: one of the shop's leads, or anybody who is not the one who sets up.
COMPANY = (LEAD, SECOND)
WITHOUT_COMPANY = frozenset({"compare", "finish", "sign"})


def stands_for(step: Step, level: str) -> bool:
    """Tell whether a step stands for who sets up at this level."""
    return step.level in {"", level}


def at_level(procedure: Procedure, level: str) -> Procedure:
    """Return the procedure of the steps that stand for who sets up at this level."""
    stages = [
        replace(stage, steps=tuple(step for step in stage.steps if stands_for(step, level)))
        for stage in procedure.stages
    ]
    return replace(procedure, stages=tuple(stages))


def company_faults(procedure: Procedure) -> Iterator[Finding]:
    """Yield a reason for each step that stands for the wrong people or asks for the wrong ones."""
    for step in procedure.steps:
        yield from _level_faults(step)
        yield from _there_faults(step)
    cautions = [step for step in procedure.steps if step.kind == "caution"]
    if cautions and all(step.level for step in cautions):
        yield Finding("procedure.no_caution_for_all")


def _level_faults(step: Step) -> Iterator[Finding]:
    if step.level and step.level not in LEVELS:
        yield Finding("procedure.level_unknown", {"step": step.id, "level": step.level})
    elif step.level and step.kind in ALWAYS_STANDS and (step.kind, step.level) != ("caution", BESIDE):
        yield Finding("procedure.must_stand_for_all", {"step": step.id, "kind": step.kind})


def _there_faults(step: Step) -> Iterator[Finding]:
    if step.there and step.there not in COMPANY:
        yield Finding("procedure.there_unknown", {"step": step.id, "there": step.there})
    elif step.there and (step.kind in WITHOUT_COMPANY or step.once_a_shift):
        yield Finding("procedure.there_misplaced", {"step": step.id})
