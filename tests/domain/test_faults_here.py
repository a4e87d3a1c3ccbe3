"""A procedure that can be published holds at each machine as well, or is told what falls away there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from tests.rules.example_shop import MILL_MM, PROBE, RULES, VISE
from webapp.domain.procedure.procedure import Procedure, Step, Variant, publish
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.sheet.faults_here import faults_here
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine

GUARDED, OPEN = replace(MILL_MM, door="guard"), replace(MILL_MM, door="none")


def fitted(machine: Machine = MILL_MM, fixture: Fixture = VISE) -> FittedMachine:
    return FittedMachine(RULES, machine, fixture, PROBE)


def with_steps(change: Callable[[Step], Step]) -> Procedure:
    stages = [replace(stage, steps=tuple(map(change, stage.steps))) for stage in SHIPPED.stages]
    return replace(SHIPPED, stages=tuple(stages))


def with_step(step_id: str, **changes: Any) -> Procedure:
    return with_steps(lambda step: replace(step, **changes) if step.id == step_id else step)


def codes(procedure: Procedure, machine: Machine, fixture: Fixture = VISE) -> list[str]:
    return [one.code for one in faults_here(procedure, fitted(machine, fixture))]


@pytest.mark.parametrize("machine", [MILL_MM, GUARDED, OPEN, replace(MILL_MM, hand_wheel=False)])
@pytest.mark.parametrize("square_apart_nm", [0, 100_000_000])
def test_the_shipped_procedure_holds_at_machines_of_every_kind(
    machine: Machine, square_apart_nm: int
) -> None:
    assert codes(SHIPPED, machine, replace(VISE, square_apart_nm=square_apart_nm)) == []


def test_a_search_whose_way_over_falls_away_at_one_machine_is_told_there_and_nowhere_else() -> None:
    procedure = publish(with_step("x.over", when="door:interlock")).procedure
    assert codes(procedure, MILL_MM) == []
    assert codes(procedure, GUARDED) == ["procedure.search_without_over"]


def test_other_words_that_put_a_hand_inside_count_where_they_hold() -> None:
    procedure = with_step("x.lower", variants=(Variant("door:none", hands=True),))
    assert codes(procedure, MILL_MM) == []
    assert codes(procedure, OPEN) == ["procedure.hands_with_probe"]


def test_a_step_of_a_published_revision_from_before_that_falls_away_is_told_where_it_does() -> None:
    """Such a revision cannot be published any more, and stays in use where it was."""
    procedure = with_step("slot.own", when="door:interlock")
    assert codes(procedure, MILL_MM) == []
    assert codes(procedure, GUARDED) == ["procedure.no_slot"]


def test_a_fixture_without_a_face_on_any_axis_of_the_procedure_has_no_touch() -> None:
    one_axis = replace(SHIPPED, stages=tuple(one for one in SHIPPED.stages if one.id not in {"x", "y"}))
    sides = replace(VISE, faces=(FixtureFace("X", -1, "left_end"), FixtureFace("Y", -1, "front")))
    assert codes(publish(one_axis).procedure, MILL_MM) == []
    assert "procedure.no_touch" in codes(one_axis, MILL_MM, sides)
