"""Steps for some people only, and steps for which somebody has to be there: what a procedure may ask for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.rules.example_shop import procedure_of_levels
from webapp.domain.plain.levels import ALONE, BESIDE
from webapp.domain.procedure import editing
from webapp.domain.procedure.company import LEAD, WITHOUT_COMPANY, at_level
from webapp.domain.procedure.procedure import Procedure, procedure_from_json, publish, text_of
from webapp.domain.procedure.rules import faults
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.procedure.standing import ALWAYS_STANDS
from webapp.words import say


def changed(step_id: str, **changes: Any) -> Procedure:
    return editing.with_step(SHIPPED, replace(editing.step_of(SHIPPED, step_id), **changes))


def codes(procedure: Procedure) -> list[str]:
    found = faults(procedure)
    assert all(say(one.code, one.fields) for one in found)
    return [one.code for one in found]


def test_more_and_other_steps_by_level_and_somebody_who_is_there_can_be_published() -> None:
    procedure = procedure_of_levels()
    assert faults(procedure) == ()
    alone, beside = ({step.id for step in at_level(procedure, level).steps} for level in (ALONE, BESIDE))
    assert alone - beside == {"vise.note"}
    assert beside - alone == {"ready.learn", "vise.tell"}
    again = procedure_from_json(publish(procedure).text.encode())
    assert again == procedure


@pytest.mark.parametrize("level", [ALONE, BESIDE])
@pytest.mark.parametrize("kind", sorted(ALWAYS_STANDS))
def test_what_a_record_proves_stands_for_everybody(kind: str, level: str) -> None:
    step = next(one for one in SHIPPED.steps if one.kind == kind)
    on_top = (kind, level) == ("caution", BESIDE)
    assert codes(changed(step.id, level=level)) == ([] if on_top else ["procedure.must_stand_for_all"])


def test_one_caution_at_least_stands_for_everybody() -> None:
    procedure = SHIPPED
    for step in SHIPPED.steps:
        if step.kind == "caution":
            assert codes(procedure) == []
            procedure = editing.with_step(procedure, replace(step, level=BESIDE))
    assert codes(procedure) == ["procedure.no_caution_for_all"]


@pytest.mark.parametrize("level", [ALONE, BESIDE])
def test_whoever_sets_up_comes_over_the_face_before_each_search(level: str) -> None:
    procedure = changed("x.over", level=level)
    (fault,) = faults(procedure)
    assert (fault.code, fault.fields) == ("procedure.search_without_over_for_all", {"step": "x.search"})
    other = BESIDE if level == ALONE else ALONE
    too = replace(editing.step_of(SHIPPED, "x.over"), id="x.over_too", level=other)
    (x,) = (stage for stage in procedure.stages if stage.id == "x")
    steps = tuple(one for step in x.steps for one in ((step, too) if step.id == "x.over" else (step,)))
    stages = tuple(replace(stage, steps=steps) if stage.id == "x" else stage for stage in procedure.stages)
    assert codes(replace(procedure, stages=stages)) == []


def test_a_level_or_company_that_nobody_knows_is_named() -> None:
    assert codes(changed("vise.bare", level="drunk")) == ["procedure.level_unknown"]
    assert codes(changed("vise.bare", there="the cat")) == ["procedure.there_unknown"]


def test_nobody_is_asked_for_where_no_screen_would_ask() -> None:
    for kind in WITHOUT_COMPANY:
        step = next(one for one in SHIPPED.steps if one.kind == kind)
        assert codes(changed(step.id, there=LEAD)) == ["procedure.there_misplaced"]
    assert codes(changed("ready.machine", there=LEAD)) == ["procedure.there_misplaced"]
    assert codes(changed("ready.machine", there=LEAD, once_a_shift=False)) == []


def test_a_procedure_that_says_nothing_of_it_keeps_the_text_and_the_hash_that_it_had_before() -> None:
    assert '"level"' not in text_of(SHIPPED)
    assert '"there"' not in text_of(SHIPPED)
    assert '"level":"beside"' in text_of(changed("vise.bare", level=BESIDE))
    assert '"there":"lead"' in text_of(changed("vise.bare", there=LEAD))
