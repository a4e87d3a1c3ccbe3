"""For whom the steps of a sheet stand, and whom they ask for.

Rules of this module:
- A step with a level stands for whom the sheet says that they set up so. Somebody whom the sheet does not
  name has every step.
- A lead who sets up is a lead who is there: a step that asks for one asks them for nobody.
- `static/js/rules/setup/for_whom.js` does the same in the browser.
"""

from __future__ import annotations

from webapp.domain.evidence.written_sheet import LeadOnSheet, StageOnSheet, StepOnSheet, WrittenSheet
from webapp.domain.plain.levels import ALONE, BESIDE

LEAD, SECOND = "lead", "second"


def level_of(sheet: WrittenSheet, person: str | None) -> str | None:
    """Return how somebody sets up by this sheet, None for somebody whom it does not name."""
    listed = next((one for one in sheet["people"] if one["id"] == person), None)
    if listed is None:
        return None
    return BESIDE if listed.get("beside", False) else ALONE


def stages_for(sheet: WrittenSheet, person: str | None) -> list[StageOnSheet]:
    """Return the stages, each with the steps that stand for this person."""
    level = level_of(sheet, person)
    return [
        {**stage, "steps": [step for step in stage["steps"] if level in {None, step.get("level") or level}]}
        for stage in sheet["procedure"]["stages"]
    ]


def asked_for(sheet: WrittenSheet, step: StepOnSheet, person: str | None) -> str | None:
    """Return whom a step asks this person for, "lead" or "second"; None for nobody."""
    there = step.get("there")
    is_lead = any(one["id"] == person for one in sheet.get("leads", []))
    return None if there == LEAD and is_lead else there


def may_stand_beside(sheet: WrittenSheet, step: StepOnSheet, person: str | None) -> list[LeadOnSheet]:
    """Return who may be named at a step: the shop's leads, or they and all who set up at this machine."""
    found: dict[str, LeadOnSheet] = {}
    for one in (*(sheet["people"] if step.get("there") == SECOND else ()), *sheet.get("leads", [])):
        found[one["id"]] = {"id": one["id"], "name": one["name"]}
    return [one for one in found.values() if one["id"] != person]
