"""A procedure changed by one act: a step in other words, moved, added, taken out; and what differs then.

Rules of this module:
- What comes out need not be fit to be published: that is asked once, at the end (`rules`). Here only what has
  no meaning is refused: a step that is not there, two of one name, more steps than a procedure can have.
- A step keeps its id for good: it is what records and questions name it by. It moves within its stage; stages
  move whole.
- A stage whose last step goes, goes with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from typing import TypeVar

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.procedure.procedure import Caution, Choice, Procedure, Stage, Step
from webapp.domain.procedure.rules import (
    AXIS_STAGES,
    BOARD_CHOICES,
    JAWS,
    KINDS,
    MOST_STEPS,
    STAGES,
    is_name,
)

Part = TypeVar("Part", Stage, Step)
Change = Callable[[Sequence[Step]], Sequence[Step]]


class EditError(DomainError):
    """A procedure cannot be changed in this way."""


class NoSuchStepError(EditError):
    """The procedure has no such step, or no such stage."""

    code = "editing.no_such_step"
    field_names = ("step",)


class StepNameError(EditError):
    """The name of a new step is taken, or no name."""

    code = "editing.step_name"
    field_names = ("step",)


class StepKindError(EditError):
    """There is no such kind of step, or no such stage."""

    code = "editing.step_kind"
    field_names = ("kind",)


class TooManyStepsError(EditError):
    """A procedure has as many steps as it can have."""

    code = "editing.too_many_steps"
    field_names = ("most",)


class TextTooLongError(EditError):
    """A text of a step has more characters than any tablet shows."""

    code = "editing.text_too_long"
    field_names = ("field", "characters", "most")


def step_of(procedure: Procedure, step_id: str) -> Step:
    """Return one step. Raises NoSuchStepError."""
    for step in procedure.steps:
        if step.id == step_id:
            return step
    raise NoSuchStepError(step=step_id[:60])


def with_step(procedure: Procedure, step: Step) -> Procedure:
    """Return the procedure with this step in the place of the one of its id. Raises NoSuchStepError."""
    step_of(procedure, step.id)
    return _each_stage(procedure, lambda steps: [step if one.id == step.id else one for one in steps])


def moved_step(procedure: Procedure, step_id: str, by: int) -> Procedure:
    """Return the procedure with a step one place earlier (-1) or later (+1) in its stage; at the stage's end
    it stays. Raises NoSuchStepError.
    """
    step_of(procedure, step_id)
    return _each_stage(procedure, lambda steps: _moved(steps, step_id, by))


def moved_stage(procedure: Procedure, stage_id: str, by: int) -> Procedure:
    """Return the procedure with a stage one place earlier (-1) or later (+1). Raises NoSuchStepError."""
    if stage_id not in {stage.id for stage in procedure.stages}:
        raise NoSuchStepError(step=stage_id[:60])
    return replace(procedure, stages=tuple(_moved(procedure.stages, stage_id, by)))


def without_step(procedure: Procedure, step_id: str) -> Procedure:
    """Return the procedure without a step. Raises NoSuchStepError."""
    step_of(procedure, step_id)
    return _each_stage(procedure, lambda steps: [one for one in steps if one.id != step_id])


def with_new_step(procedure: Procedure, stage_id: str, name: str, kind: str) -> Procedure:
    """Return the procedure with an empty step at the end of a stage, which is made where it is not there yet.

    Raises StepNameError, StepKindError, TooManyStepsError.
    """
    step_id = f"{stage_id}.{name}"
    if kind not in KINDS or stage_id not in STAGES:
        raise StepKindError(kind=(kind if stage_id in STAGES else stage_id)[:40])
    if not is_name(name) or step_id in {step.id for step in procedure.steps}:
        raise StepNameError(step=step_id[:60])
    if len(procedure.steps) >= MOST_STEPS:
        raise TooManyStepsError(most=MOST_STEPS)
    new = _empty_step(step_id, name, stage_id, kind)
    if stage_id in {stage.id for stage in procedure.stages}:
        stages = [
            replace(one, steps=(*one.steps, new)) if one.id == stage_id else one for one in procedure.stages
        ]
        return replace(procedure, stages=tuple(stages))
    before_end = max(0, len(procedure.stages) - 2)
    stage = Stage(stage_id, stage_id, stage_id.capitalize(), (new,))
    return replace(procedure, stages=(*procedure.stages[:before_end], stage, *procedure.stages[before_end:]))


def _empty_step(step_id: str, name: str, stage_id: str, kind: str) -> Step:
    choices: tuple[Choice, ...] = ()
    if kind == "board":
        choices = tuple(Choice(one, "", closes=one == "clear") for one in BOARD_CHOICES)
    elif kind == "jaw":
        choices = tuple(Choice(one, "") for one in JAWS)
    caution = Caution(name, "warning", "", "", "") if kind == "caution" else None
    axis = AXIS_STAGES.get(stage_id)
    return Step(step_id, kind, "", "", "", "", "", "", axis=axis, caution=caution, choices=choices)


def _each_stage(procedure: Procedure, change: Change) -> Procedure:
    stages = [replace(stage, steps=tuple(change(stage.steps))) for stage in procedure.stages]
    return replace(procedure, stages=tuple(stage for stage in stages if stage.steps))


def _moved(parts: Sequence[Part], part_id: str, by: int) -> list[Part]:
    found = list(parts)
    place = next((place for place, one in enumerate(found) if one.id == part_id), None)
    if place is not None and 0 <= place + by < len(found):
        found.insert(place + by, found.pop(place))
    return found


def differences(before: Procedure, after: Procedure) -> tuple[Finding, ...]:
    """Return what differs, in reading order: steps that came, went or moved, and fields with old and new."""
    old, new = {step.id: step for step in before.steps}, {step.id: step for step in after.steps}
    found = [Finding("change.step_out", {"step": one}) for one in old if one not in new]
    for one, step in new.items():
        if one not in old:
            found.append(Finding("change.step_in", {"step": one, "do": step.do}))
        else:
            found += _step_differences(old[one], step)
    if [one for one in old if one in new] != [one for one in new if one in old]:
        found.append(Finding("change.order", {"order": ", ".join(one for one in new if one in old)}))
    if (before.title, before.language) != (after.title, after.language):
        found.append(Finding("change.title", {"old": before.title, "new": after.title}))
    found += [
        Finding("change.stage", {"stage": stage.id, "old": was.title, "new": stage.title})
        for stage in after.stages
        for was in before.stages
        if was.id == stage.id and (was.title, was.short) != (stage.title, stage.short)
    ]
    return tuple(found)


def _step_differences(old: Step, new: Step) -> list[Finding]:
    was, is_now = asdict(old), asdict(new)
    return [
        Finding("change.field", {"step": new.id, "field": name, "old": _said(was[name]), "new": _said(value)})
        for name, value in is_now.items()
        if value != was[name]
    ]


def _said(value: object) -> str:
    """A field's value in one line: a list says its entries, each its fields that say something."""
    if isinstance(value, dict):
        return ", ".join(_said(one) for one in value.values() if one not in ("", None))
    if isinstance(value, list | tuple):
        return "; ".join(_said(one) for one in value) or "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if value not in ("", None) else "–"
