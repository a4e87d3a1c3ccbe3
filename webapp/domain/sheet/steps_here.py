"""The procedure as it stands on a sheet: the steps of this machine, this vise, in these words.

Rules of this module:
- A step, or a line of a list, that has a condition stands only where it holds;
  other words under a condition take the place of the step's own, the later ones last.
- Stages of axes stand in the order in which the fixture's faces are touched;
  an axis without a face has no stage.
- Of the jaws that can have stood still, the fixture's fixed one alone closes the step;
  the operator's screen does not tell which that is.
- Words for whom is practised stand beside the step's own: a sheet is everybody's at the machine.
- Wording is filled once, here; only {slot} is left, because it differs from person to person.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
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
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, ShopRules

_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")
# Fields of a step that say when and how it stands; what they say is done once the sheet is made.
_SETTLED = ("when", "variants")


@dataclass(frozen=True)
class Here:
    """Where a procedure is worked by: the machine, its fixture and probe, and the faces that are touched."""

    rules: ShopRules
    machine: Machine
    fixture: Fixture
    probe: Probe
    faces: Sequence[FixtureFace]

    @property
    def words(self) -> dict[str, str]:
        """Return what stands for each placeholder, those of an axis aside."""
        return {
            "probe_tool": self.machine.probe_tool,
            "parking_tool": self.machine.parking_tool,
            "probe": self.probe.name,
            "fixture": self.fixture.name,
            "machine": self.machine.name,
            "lead": self.rules.lead,
            "units": UNIT_WORDS[self.machine.unit],
            "slot": "{slot}",
            "parked": (
                f"{format_length(self.machine.parked_nm['Z'], self.machine.display)} {self.machine.unit}"
            ),
            **self.machine.profile_words,
        }

    def conditions(self, axis: str | None) -> frozenset[str]:
        """Return what holds for a step of this axis."""
        more = set()
        clamping = axis == self.fixture.clamping_axis
        if clamping and self.fixture.square_apart_nm:
            more.add("square")
        if clamping:
            more.add("clamping_face")
        if clamping and self.machine.clamping_face_hidden:
            more.add("face_hidden")
        if self.machine.confirm_limit_nm is not None:
            more.add("control_asks")
        return self.machine.conditions | more


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
                "steps": [_step(step, here) for step in stage.steps if _stands(step, here)],
            }
            for stage in _ordered(procedure, here)
        ],
    }


def row_to_zero(step: Step, here: Here) -> StepOnSheet:
    """Return the step that sets the row of a broken off setup to zero again, in this machine's words."""
    return _step(step, here)


def _ordered(procedure: Procedure, here: Here) -> list[Stage]:
    """Return the stages with those of the axes in the fixture's order, in the place of the first of them."""
    by_id = {stage.id: stage for stage in procedure.stages}
    touched = [face.axis for face in here.faces]
    axis_stages = [axis.lower() for axis in here.fixture.touched_axes if axis in touched]
    ordered: list[Stage] = []
    for stage in procedure.stages:
        if stage.id not in AXIS_STAGES:
            ordered.append(stage)
        elif by_id[axis_stages[0]] not in ordered:
            ordered.extend(by_id[axis] for axis in axis_stages)
    return ordered


def _stands(step: Step, here: Here) -> bool:
    """Tell whether a step stands on the sheet. A look for square always needed a fixture that asks for it."""
    when = step.when or ("square" if step.kind == "square" else "")
    return not when or when in here.conditions(step.axis)


def _step(step: Step, here: Here) -> StepOnSheet:
    holds = here.conditions(step.axis)
    value = {name: item for name, item in asdict(step).items() if name not in _SETTLED}
    for variant in step.variants:
        if variant.when in holds:
            value |= {name: text for name in TEXTS if (text := getattr(variant, name))}
            value["hands"] = value["hands"] if variant.hands is None else variant.hands
    value["checks"] = [
        {"id": check.id, "label": check.label}
        for check in step.checks
        if not check.when or check.when in holds
    ]
    if any(variant.when == PRACTISED for variant in step.variants):
        value["practised"] = _for_practised(step, cast("StepOnSheet", value))
    if step.kind == "jaw":
        value["choices"] = [_jaw(choice, here.fixture.fixed_side) for choice in value["choices"]]
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
