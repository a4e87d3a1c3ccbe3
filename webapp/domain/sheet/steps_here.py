"""The procedure as it stands on a sheet: the steps of this machine, this vise, in these words.

Rules of this module:
- A step, or a line of a list, that has a condition stands only where it holds;
  other words under a condition take the place of the step's own, the later ones last.
- Stages of axes stand in the order in which the fixture's faces are touched;
  an axis without a face has no stage.
- Of the jaws that can have stood still, the fixture's fixed one alone closes the step;
  the operator's screen does not tell which that is.
- A step that offers no picture says nothing of one, nor one for everybody of levels, nor one that asks for
  nobody of company: their sheet is the one that it was before there were any.
- Words for whom is practised stand beside the step's own: a sheet is everybody's at the machine.
- Wording is filled once, here; only {slot} is left, because it differs from person to person.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, cast

from webapp.domain.evidence.written_sheet import (
    ChoiceOnSheet,
    PractisedWords,
    ProcedureOnSheet,
    StepOnSheet,
)
from webapp.domain.plain.axes import search_direction
from webapp.domain.plain.lengths import format_length
from webapp.domain.procedure.procedure import Procedure, Revision, Stage, Step
from webapp.domain.procedure.profile import PRACTISED, UNIT_WORDS
from webapp.domain.procedure.rules import AXIS_STAGES, JAWS, TEXTS
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.shop import FixtureFace

_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")
# Fields of a step that say when and how it stands; what they say is done once the sheet is made.
_SETTLED = ("when", "variants")
# Fields that a step on a sheet has only where they say something.
SAID_ALONE = ("photo", "level", "there", "picture")


@dataclass(frozen=True)
class Here:
    """Where a procedure is worked by: the machine, its fixture and probe, and the faces that are touched."""

    fitted: FittedMachine
    faces: Sequence[FixtureFace]

    @property
    def words(self) -> dict[str, str]:
        """Return what stands for each placeholder, those of an axis aside."""
        machine = self.fitted.machine
        return {
            "probe_tool": machine.probe_tool,
            "parking_tool": machine.parking_tool,
            "probe": self.fitted.probe.name,
            "fixture": self.fitted.fixture.name,
            "machine": machine.name,
            "lead": self.fitted.rules.lead,
            "units": UNIT_WORDS[machine.unit],
            "slot": "{slot}",
            "parked": (f"{format_length(machine.parked_nm['Z'], machine.display)} {machine.unit}"),
            **machine.profile_words,
        }

    def conditions(self, axis: str | None) -> frozenset[str]:
        """Return what holds for a step of this axis."""
        more = set()
        clamping = axis == self.fitted.fixture.clamping_axis
        if clamping and self.fitted.fixture.square_apart_nm:
            more.add("square")
        if clamping:
            more.add("clamping_face")
        if clamping and self.fitted.machine.clamping_face_hidden:
            more.add("face_hidden")
        if self.fitted.machine.confirm_limit_nm is not None:
            more.add("control_asks")
        return self.fitted.machine.conditions | more


def procedure_here(revision: Revision, here: Here) -> ProcedureOnSheet:
    """Return the part `procedure` of a sheet."""
    procedure = revision.procedure
    return {
        "id": procedure.id,
        "revision": revision.hash,
        "title": procedure.title,
        "stages": [
            {
                "id": stage.id,
                "short": stage.short,
                "title": stage.title,
                "steps": [_step(step, here) for step in stage.steps],
            }
            for stage in stages_here(procedure, here)
        ],
    }


def row_to_zero(step: Step, here: Here) -> StepOnSheet:
    """Return the step that sets the row of a broken off setup to zero again, in this machine's words."""
    return _step(step, here)


def stages_here(procedure: Procedure, here: Here) -> list[Stage]:
    """Return the stages in the order of this fixture, each with the steps that stand here."""
    return [
        replace(stage, steps=tuple(step for step in stage.steps if _stands(step, here)))
        for stage in _ordered(procedure, here)
    ]


def step_here(step: Step, here: Here) -> Step:
    """Return a step that stands here as it is here, its placeholders aside: under no condition any more, in
    the words and with the lines that hold. Words for whom is practised stay beside them.
    """
    holds = here.conditions(step.axis)
    said = replace(step, when="", variants=tuple(one for one in step.variants if one.when == PRACTISED))
    for variant in step.variants:
        if variant.when in holds:
            texts = {name: text for name in TEXTS if (text := getattr(variant, name))}
            hands = said.hands if variant.hands is None else variant.hands
            said = replace(said, **texts, hands=hands)
    checks = [replace(one, when="") for one in step.checks if not one.when or one.when in holds]
    return replace(said, checks=tuple(checks))


def _ordered(procedure: Procedure, here: Here) -> list[Stage]:
    """Return the stages with those of the axes in the fixture's order, in the place of the first of them."""
    by_id = {stage.id: stage for stage in procedure.stages}
    touched = [face.axis for face in here.faces]
    axis_stages = [axis.lower() for axis in here.fitted.fixture.touched_axes if axis in touched]
    ordered: list[Stage] = []
    for stage in procedure.stages:
        if stage.id not in AXIS_STAGES:
            ordered.append(stage)
        elif axis_stages and by_id[axis_stages[0]] not in ordered:
            ordered.extend(by_id[axis] for axis in axis_stages)
    return ordered


def _stands(step: Step, here: Here) -> bool:
    """Tell whether a step stands on the sheet. A look for square always needed a fixture that asks for it."""
    when = step.when or ("square" if step.kind == "square" else "")
    return not when or when in here.conditions(step.axis)


def _step(step: Step, here: Here) -> StepOnSheet:
    value = {name: item for name, item in asdict(step_here(step, here)).items() if name not in _SETTLED}
    for name in SAID_ALONE:
        if not value[name]:
            del value[name]
    value["checks"] = [{"id": one["id"], "label": one["label"]} for one in value["checks"]]
    if any(variant.when == PRACTISED for variant in step.variants):
        value["practised"] = _for_practised(step, cast("StepOnSheet", value))
    if step.kind == "jaw":
        value["choices"] = [_jaw(choice, here.fitted.fixture.fixed_side) for choice in value["choices"]]
    return _filled(value, _words(step, here))  # type: ignore[no-any-return]


def _for_practised(step: Step, own: StepOnSheet) -> PractisedWords:
    said = next(variant for variant in step.variants if variant.when == PRACTISED)
    return {
        "do": said.do or own["do"],
        "look_for": said.look_for or own["look_for"],
        "if_not": said.if_not or own["if_not"],
        "action": said.action or own["action"],
    }


def _jaw(choice: ChoiceOnSheet, fixed: str) -> ChoiceOnSheet:
    return {**choice, "closes": choice["id"] == fixed if choice["id"] in JAWS else choice["closes"]}


def _words(step: Step, here: Here) -> dict[str, str]:
    if step.axis is None:
        return here.words
    face = next(face for face in here.faces if face.axis == step.axis)
    return here.words | {"axis": step.axis, "search": search_direction(face.direction).label}


def _filled(value: Any, words: Mapping[str, str]) -> Any:
    """Return the value with every placeholder in its texts filled, once:
    what a name holds is not looked at again.
    """
    if isinstance(value, str):
        return _PLACEHOLDER.sub(lambda found: words[found.group(1)], value).strip()
    if isinstance(value, dict):
        return {name: _filled(item, words) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_filled(item, words) for item in value]
    return value
