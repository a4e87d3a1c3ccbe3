"""A sheet holds all that a tablet needs, worked out for this machine, this vise and this register."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from hashlib import sha256
from typing import Any

import pytest

from tests.rules.example_shop import (
    CENTRES_NM,
    MILL_MM,
    PROBE,
    RULES,
    SLOTS,
    VISE,
    causes_of,
    example_sheet,
    sheet_value,
    usual_of,
)
from webapp.domain.causes.of_sheet import measures_of, sheet_causes
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.procedure.procedure import Procedure, publish
from webapp.domain.procedure.shipped import NOTICE, SHIPPED
from webapp.domain.sheet.axis_plans import plan_axes
from webapp.domain.sheet.lines_here import floor_inputs, lines_choice
from webapp.domain.sheet.sheet import SheetOfAnotherError, SheetWithoutTouchError
from webapp.domain.shop.errors import SlotListedTwiceError
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.shop.shop import FixtureFace, ShopRules
from webapp.domain.touch.compare import verdict_on
from webapp.domain.usual.usual import SeatingValues, usual
from webapp.words import say

TURNED = replace(
    VISE,
    clamping_axis="X",
    clamping_direction=1,
    faces=(FixtureFace("Y", 1, "right_end"), FixtureFace("X", 1, "front"), FixtureFace("Z", 1, "top")),
)


def value_of(**changes: Any) -> dict[str, Any]:
    value: dict[str, Any] = json.loads(example_sheet(**changes).text)
    return value


def steps_of(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    return [step for stage in sheet["procedure"]["stages"] for step in stage["steps"]]


def test_a_sheet_is_named_by_its_bytes_and_is_in_its_one_spelling() -> None:
    sheet = example_sheet()
    assert sheet.hash == sha256(sheet.text.encode()).hexdigest()
    assert canonical_text(json.loads(sheet.text)) == sheet.text


def test_the_same_inputs_give_the_same_sheet() -> None:
    assert example_sheet() == example_sheet()


def test_another_time_or_another_register_is_another_sheet() -> None:
    hashes = {
        example_sheet().hash,
        example_sheet(compiled_at_utc="2026-11-25T07:00:00.001Z").hash,
        example_sheet(slots=SLOTS[:-1]).hash,
    }
    assert len(hashes) == 3


def test_a_sheet_has_exactly_the_agreed_parts() -> None:
    sheet = value_of()
    assert sheet.keys() == {
        "domain", "compiled_at_utc", "expires_at_utc", "shop", "machine", "fixture", "probe", "people",
        "slots", "board", "axes", "square", "procedure", "format", "leads", "row_to_zero",
    }  # fmt: skip
    assert sheet["machine"].keys() == {
        "id", "name", "unit", "decimals", "travel_nm", "confirm_limit_nm", "slot_family", "probe_tool",
        "parking_tool", "z_point", "input_age_ms", "profile", "serial", "parked_nm",
    }  # fmt: skip
    assert sheet["axes"][0].keys() == {
        "axis", "normal", "search", "search_label", "face", "approach", "approach_error", "usual", "causes",
        "drawing", "by_hand_nm",
    }  # fmt: skip
    assert sheet["axes"][0]["usual"].keys() == {
        "centre_nm",
        "ask_nm",
        "stop_nm",
        "values",
        "seatings",
        "reasons",
        "early_stops_nm",
    }
    assert steps_of(sheet)[0].keys() == {
        "id", "kind", "do", "look_for", "why", "if_not", "action", "machine_state", "axis", "caution",
        "choices", "checks", "hands", "once_a_shift",
    }  # fmt: skip


def test_a_sheet_carries_the_notice() -> None:
    shop = {"name": RULES.name, "lead": RULES.lead, "notice": NOTICE, "time_zone": "UTC", "offsets": []}
    shop["shift_hours"] = 8
    assert value_of()["shop"] == shop


def test_all_wording_is_filled_but_the_operators_own_slot() -> None:
    text = json.dumps(steps_of(value_of()))
    assert set(re.findall(r"\{([a-z_]+)\}", text)) <= {"slot"}
    board = next(step for step in steps_of(value_of()) if step["id"] == "ready.board")
    assert board["look_for"].startswith("The plate says Plover.")
    assert RULES.lead not in text


def test_a_search_step_says_its_direction_with_the_sign() -> None:
    searches = {step["axis"]: step["do"] for step in steps_of(value_of()) if step["kind"] == "search"}
    assert searches == {
        "X": "Set search X+, range and feed as on the plates.",
        "Y": "Set search Y+, range and feed as on the plates.",
        "Z": "Lower by the wheel to the gap; set search Z\u2212.",
    }


def test_what_to_do_stays_short_once_it_is_filled() -> None:
    assert all(len(step["do"].split()) <= 14 for step in steps_of(value_of()))


def test_the_order_of_touches_and_their_directions_come_from_the_fixture() -> None:
    sheet = value_of(fixture=TURNED)
    assert [(one["axis"], one["search_label"]) for one in sheet["axes"]] == [
        ("Y", "Y\u2212"),
        ("X", "X\u2212"),
        ("Z", "Z\u2212"),
    ]
    stages = [stage["id"] for stage in sheet["procedure"]["stages"]]
    assert stages == ["ready", "vise", "probe", "slot", "copy", "clear", "y", "x", "z", "stow", "sign"]


def test_the_height_is_found_first_where_the_fixture_does_not_say_otherwise() -> None:
    stages = value_of(fixture=replace(TURNED, sides_first=False))["procedure"]["stages"]
    assert [stage["id"] for stage in stages[6:9]] == ["z", "y", "x"]


def test_an_axis_without_a_face_has_no_stage() -> None:
    stages = [stage["id"] for stage in sheet_value("x_only")["procedure"]["stages"]]
    assert stages == ["ready", "vise", "probe", "slot", "copy", "clear", "x", "stow", "sign"]


def test_a_face_without_a_stage_has_no_touch() -> None:
    stages = tuple(stage for stage in SHIPPED.stages if stage.id != "y")
    sheet = value_of(revision=publish(replace(SHIPPED, stages=stages)))
    assert [one["axis"] for one in sheet["axes"]] == ["X", "Z"]


def test_a_procedure_that_touches_none_of_the_faces_gives_no_sheet() -> None:
    stages = tuple(stage for stage in SHIPPED.stages if stage.id != "x")
    revision = publish(Procedure("p", "P", "en", stages))
    with pytest.raises(SheetWithoutTouchError):
        example_sheet(revision=revision, fixture=replace(VISE, faces=VISE.faces[:1]))


@pytest.mark.parametrize("part", ["fixture", "probe"])
def test_a_part_that_the_machine_does_not_name_gives_no_sheet(part: str) -> None:
    other = {"fixture": replace(VISE, id="vise-b"), "probe": replace(PROBE, id="probe-2")}[part]
    with pytest.raises(SheetOfAnotherError):
        example_sheet(**{part: other})


def test_a_register_that_lists_a_slot_twice_gives_no_sheet() -> None:
    with pytest.raises(SlotListedTwiceError):
        example_sheet(slots=(*SLOTS, replace(SLOTS[0], label="g 54")))


def test_slots_stand_in_the_controls_order_and_spelling() -> None:
    sheet = value_of(slots=(replace(SLOTS[1], label="g55"), SLOTS[0]))
    assert [slot["label"] for slot in sheet["slots"]] == ["G54", "G55"]
    assert sheet["slots"][0]["last_values_nm"] == {"X": -381_248_000, "Y": -152_401_000, "Z": -300_050_000}
    assert sheet["slots"][0]["until_utc"] == "2027-06-30T00:00:00.000Z"


def test_a_touch_that_cannot_be_planned_says_which_measure_is_at_fault() -> None:
    sheet = value_of(probe=replace(PROBE, stylus_reach_nm=4_000_000))
    error = sheet["axes"][0]["approach_error"]
    assert sheet["axes"][0]["approach"] is None
    assert error["code"] == "approach.stylus_too_short"
    assert say(error["code"], error["fields"])
    assert sheet["axes"][2]["approach"] is not None


def test_the_place_to_stand_comes_from_the_usual_and_the_gap() -> None:
    axis = value_of()["axes"][0]
    plan, radius = axis["approach"], PROBE.ball_diameter_nm // 2
    assert axis["normal"] == -1
    surface = axis["usual"]["centre_nm"] - radius
    low, high = surface - plan["gap_high_nm"], surface - plan["gap_low_nm"]
    assert low <= plan["stand_low_nm"] < plan["stand_high_nm"] <= high
    assert (plan["place"]["X"]["low_nm"], plan["place"]["X"]["high_nm"]) == (
        plan["stand_low_nm"],
        plan["stand_high_nm"],
    )


def test_all_three_coordinates_stand_on_the_sheet_once_z_was_looked_at() -> None:
    usuals = {axis: usual_of(MILL_MM, axis) for axis in "XYZ"}
    told = plan_axes(
        FittedMachine(RULES, MILL_MM, VISE, PROBE),
        usuals,
        causes_of(MILL_MM, usuals),
        ZReading(ZPoint.BALL_UNDERSIDE),
    )
    for plan in told:
        assert plan.approach is not None
        assert all(plan.approach["place"][axis]["low_nm"] is not None for axis in "XYZ")
    untold = value_of()
    assert untold["machine"]["z_point"] is None
    assert [axis["approach"]["place"]["Z"] for axis in untold["axes"]] == [None, None, None]
    assert untold["axes"][2]["approach"]["stand_low_nm"] is None


def test_the_leads_depth_and_what_stands_on_the_jaw_reach_the_plan() -> None:
    usuals = {axis: usual_of(MILL_MM, axis) for axis in "XYZ"}
    faces = (replace(VISE.faces[0], depth_nm=12_000_000), *VISE.faces[1:])
    fixture = replace(VISE, faces=faces, stops_above_jaw_nm=8_000_000, parallels_nm=(60_000_000,))
    plans = plan_axes(
        FittedMachine(RULES, MILL_MM, fixture, PROBE),
        usuals,
        causes_of(MILL_MM, usuals),
        ZReading("ball_centre", 10**8),
    )
    first = plans[0].approach or {}
    assert (first["depth_low_nm"], first["depth_high_nm"]) == (11_000_000, 13_000_000)
    # The parallel stands 10 mm above the top, higher than the stop: 10, 3 and 25 mm, and the top's stop line.
    assert first["clear_above_surface_nm"] == 38_000_000 + (usuals["Z"].stop_nm or 0)


def test_without_a_value_only_the_gap_is_given() -> None:
    axis = sheet_value("no_usual")["axes"][0]
    assert axis["usual"] == {
        "centre_nm": None,
        "ask_nm": None,
        "stop_nm": None,
        "values": 0,
        "seatings": 2,
        "reasons": ["no_value_yet"],
        "early_stops_nm": [],
    }
    assert axis["approach"]["stand_low_nm"] is None
    assert axis["approach"]["gap_low_nm"] > 0


def _early_sheet(values_nm: list[int], **rules: int) -> dict[str, Any]:
    """The first axis of a sheet whose usual in X stands on these values alone, in a shop as shipped."""
    shop = ShopRules(name="Kettle Lane Workshop", lead="Ines Varga", **rules)  # type: ignore[arg-type]
    choices = {axis: lines_choice(shop, axis, "mm") for axis in "XYZ"}
    usuals = {
        axis: usual(
            [SeatingValues.of("seating-1", values_nm if axis == "X" else [CENTRES_NM[axis]] * 6)],
            floor_inputs(FittedMachine(shop, MILL_MM, VISE, PROBE), axis),
            choices[axis],
            MILL_MM.display,
        )
        for axis in "XYZ"
    }
    causes = sheet_causes(MILL_MM, VISE, measures_of(VISE, PROBE), usuals, choices)
    axes = plan_axes(FittedMachine(shop, MILL_MM, VISE, PROBE), usuals, causes)
    value: dict[str, Any] = value_of(rules=shop, axes=axes)["axes"][0]
    return value


def test_few_setups_ask_up_to_the_ceiling_and_stop_where_a_radius_explains_it() -> None:
    centre = CENTRES_NM["X"]
    axis = _early_sheet([centre] * 4, ceiling_nm=5_000_000)
    early = axis["usual"]
    assert (early["stop_nm"], "early" in early["reasons"]) == (5_000_000, True)
    radius = PROBE.effective_radius_nm
    verdicts = {
        off: verdict_on(centre + off, early)[0]
        for off in (early["ask_nm"], 400_000, 4_900_000, 5_100_000, radius, -radius)
    }
    assert list(verdicts.values()) == ["agrees", "ask", "ask", "stop", "stop", "stop"]
    later = _early_sheet([centre] * 5, ceiling_nm=5_000_000)["usual"]
    assert (later["early_stops_nm"], later["stop_nm"]) == ([], max(100_000, 3 * later["ask_nm"]))
    assert "early" not in later["reasons"]


def test_values_farther_apart_than_the_ceiling_give_no_place_to_stand_and_are_named() -> None:
    centre = CENTRES_NM["X"]
    apart = [centre + step for step in (0, 700_000, 20_000, 680_000, 10_000, 690_000, 0, 700_000)]
    axis = _early_sheet(apart)
    assert axis["approach"] is None
    error = axis["approach_error"]
    assert error["code"] == "approach.values_too_far_apart"
    said = say(error["code"], error["fields"])
    assert "−381.250 to −380.550 mm" in said
    assert "begin a new seating" in said
    assert _early_sheet(apart, ceiling_nm=700_000)["approach"] is not None


def test_a_narrow_end_of_the_jaw_is_measured_across_its_thickness() -> None:
    usuals = {axis: usual_of(MILL_MM, axis) for axis in "XYZ"}
    thin = replace(VISE, jaw_thickness_nm=7_000_000)
    plans = plan_axes(
        FittedMachine(RULES, MILL_MM, thin, PROBE), usuals, causes_of(MILL_MM, usuals, fixture=thin)
    )
    codes = [plan.approach_error.code if plan.approach_error else None for plan in plans]
    assert codes == ["approach.face_too_narrow", None, "approach.face_too_narrow"]


def test_an_inch_machine_has_limits_on_its_own_display() -> None:
    for axis in sheet_value("inch")["axes"]:
        assert axis["usual"]["ask_nm"] % 2_540 == 0
        assert axis["usual"]["centre_nm"] % 2_540 == 0


def test_whom_is_practised_the_step_asks_nothing_in_words_of_its_own() -> None:
    sheet = json.loads(example_sheet(practised=("mara",)).text)
    assert [one["id"] for one in sheet["people"] if one["practised"]] == ["mara"]
    (step,) = (step for step in steps_of(sheet) if "practised" in step)
    assert step["kind"] == "jaw"
    assert step["practised"].keys() == {"do", "look_for", "if_not", "action"}
    assert step["practised"]["do"] == "Open the vise to the mark."
    assert step["practised"]["if_not"] == step["if_not"]
    assert "?" not in "".join(step["practised"].values())
