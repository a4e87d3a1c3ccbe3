"""The steps that a sheet can ask for: those of its procedure, and the one that sets a row to zero again.

The last is there only on a sheet that carries it, and due only where a setup was broken off.
"""

from __future__ import annotations

from webapp.domain.evidence.for_whom import stages_for
from webapp.domain.evidence.written_sheet import StageOnSheet, StepOnSheet, WrittenSheet

STOW = "stow"


def planned_steps(sheet: WrittenSheet, person: str | None = None) -> dict[str, StepOnSheet]:
    """Return every step that stands for this person, by its id, in the order in which they are done."""
    steps: dict[str, StepOnSheet] = {}
    zero = sheet.get("row_to_zero")
    for stage in stages_for(sheet, person):
        for step in stage["steps"]:
            if zero is not None and step["kind"] == "finish":
                steps[zero["id"]] = zero
            steps[step["id"]] = step
    return steps


def stage_of(sheet: WrittenSheet, step_id: str | None) -> StageOnSheet | None:
    """Return the stage that a step is done in, None for a step that the sheet does not have."""
    zero = sheet.get("row_to_zero")
    in_stow = zero is not None and zero["id"] == step_id
    for stage in sheet["procedure"]["stages"]:
        if (in_stow and stage["id"] == STOW) or any(step["id"] == step_id for step in stage["steps"]):
            return stage
    return None
