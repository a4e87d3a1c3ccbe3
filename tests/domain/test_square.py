"""The look for square: on the sheet, in the arithmetic, in a procedure, on the drawing."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.rules.example_shop import MILL_MM, PROBE, VISE, example_sheet, sheet_value
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.procedure.rules import faults
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.shop.fields import ShopFieldError
from webapp.domain.shop.shop import FixtureFace
from webapp.domain.touch.jaw_square import jaw_angle
from webapp.domain.touch.square import error_over_jaw_nm, square_plan
from webapp.words import say

ASKING = replace(VISE, square_apart_nm=100_000_000)


def test_a_sheet_has_the_step_only_where_the_fixture_asks_and_on_its_clamping_face() -> None:
    steps = {
        name: [step["id"] for stage in sheet_value(name)["procedure"]["stages"] for step in stage["steps"]]
        for name in ("mm", "square")
    }
    own = ["y.square_over", "y.square_lower", "y.square"]
    assert [step for step in steps["square"] if step not in steps["mm"]] == own
    assert steps["square"].index("y.square") < steps["square"].index("y.search")
    assert sheet_value("mm")["square"] is None
    assert example_sheet(fixture=ASKING).hash != example_sheet().hash


@pytest.mark.parametrize("askew_nm", [0, 7_000, -7_001, 123_456, -10_000_000])
def test_whole_nanometres_come_to_what_the_arithmetic_says(askew_nm: int) -> None:
    plan = square_plan(MILL_MM, ASKING, PROBE)
    assert plan is not None
    error_nm, told = error_over_jaw_nm((-152_400_000, -152_400_000 + askew_nm), plan)
    places, readings = (0, plan["apart_nm"]), (0, askew_nm)
    found = jaw_angle(places, readings, plan["u_touch_nm"], plan["jaw_length_nm"], MILL_MM.display)
    assert error_nm == pytest.approx(found.error_nm, abs=0.5)
    assert told == found.is_told


@pytest.mark.parametrize("apart_nm", [-1, 19_999_999, VISE.jaw_length_nm])
def test_places_that_do_not_lie_on_the_jaw_are_refused(apart_nm: int) -> None:
    with pytest.raises(ShopFieldError):
        replace(VISE, square_apart_nm=apart_nm)


def test_a_vise_whose_clamping_face_is_not_touched_cannot_be_squared() -> None:
    with pytest.raises(ShopFieldError):
        replace(ASKING, faces=VISE.faces[:1])


def moved(stage_id: str, place: int) -> Procedure:
    """The shipped procedure with the look for square of Y at another place of a stage."""
    step = next(step for step in SHIPPED.steps if step.id == "y.square")
    stages = []
    for stage in SHIPPED.stages:
        steps = [one for one in stage.steps if one is not step]
        if stage.id == stage_id:
            axis = {"x": "X", "y": "Y", "z": "Z"}.get(stage_id)
            steps.insert(place, replace(step, id=f"{stage_id}.square_too", axis=axis))
        stages.append(replace(stage, steps=tuple(steps)))
    return replace(SHIPPED, stages=tuple(stages))


@pytest.mark.parametrize(("stage", "place"), [("y", 7), ("z", 0), ("x", 0)])
def test_a_look_for_square_after_the_touch_in_z_or_twice_is_refused(stage: str, place: int) -> None:
    found = [one for one in faults(moved(stage, place)) if one.code == "procedure.square_place"]
    assert [one.fields["stage"] for one in found] == [stage]
    assert say(found[0].code, found[0].fields)


def test_the_shipped_procedure_may_be_published_with_it() -> None:
    assert faults(SHIPPED) == ()


@pytest.mark.parametrize(
    ("axis", "direction", "face"),
    [("Y", -1, "front"), ("Y", 1, "back"), ("X", 1, "front"), ("X", -1, "back")],
)
def test_both_places_are_drawn_whichever_way_the_vise_stands(axis: str, direction: int, face: str) -> None:
    end = "Y" if axis == "X" else "X"
    faces = (FixtureFace(end, -1, "left_end"), FixtureFace(axis, direction, face), VISE.faces[2])
    fixture = replace(ASKING, clamping_axis=axis, clamping_direction=direction, faces=faces)
    drawing = json.loads(example_sheet(fixture=fixture).text)["square"]["drawing"]
    for view in (drawing, drawing["compact"]):
        balls = [shape for shape in view["shapes"] if shape["kind"] == "circle"]
        assert len(balls) == 2
        same, other = ("cy", "cx") if axis == "Y" else ("cx", "cy")
        assert balls[0][same] == balls[1][same]
        assert balls[0][other] != balls[1][other]
        assert all(0 <= ball["cx"] <= view["width"] and 0 <= ball["cy"] <= view["height"] for ball in balls)
    assert "100.000 mm" in say(drawing["words"]["code"], drawing["words"]["fields"])


@pytest.mark.parametrize(("error_nm", "told"), [(7, False), (8, True), (-7, False), (-8, True)])
def test_an_error_is_told_from_none_beyond_its_line_and_not_on_it(error_nm: int, told: bool) -> None:
    plan = {**sheet_value("square")["square"], "jaw_length_nm": 100, "apart_nm": 100, "told_nm": 7}
    assert error_over_jaw_nm([0, error_nm], plan) == (error_nm, told)  # type: ignore[arg-type]
