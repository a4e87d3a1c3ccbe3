"""The shop's values are taken as they are stated, or refused by kind, id and field."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest

from tests.rules.example_shop import MILL_INCH, MILL_MM, PARKED_MILL, PROBE, RULES, VISE
from webapp.domain.plain.json_strict import canonical_bytes, read_json
from webapp.domain.plain.length_errors import DisplayNotExactError
from webapp.domain.sheet.lines_here import lines_choice
from webapp.domain.shop.errors import FamilyEmptyError
from webapp.domain.shop.fields import ShopFieldError, ShopFieldsError, as_plain, from_plain
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Person, Probe, ShopRules
from webapp.domain.usual.usual import LinesChoice
from webapp.words import say

PERSON = Person("mara", "Mara Okafor", ("operator",))


@pytest.mark.parametrize(
    "item", [PERSON, RULES, MILL_MM, MILL_INCH, VISE, PROBE], ids=lambda item: type(item).__name__
)
def test_an_item_turns_into_json_and_back_without_loss(item: Any) -> None:
    assert from_plain(type(item), read_json(canonical_bytes(as_plain(item)))) == item


@pytest.mark.parametrize(
    ("kind", "good", "field", "value"),
    [
        (Person, PERSON, "id", "Mara"),
        (Person, PERSON, "name", " "),
        (Person, PERSON, "name", "Ma{slot}ra"),
        (Person, PERSON, "name", "Mara\u202eOkafor"),
        (Person, PERSON, "name", "M" * 81),
        (Person, PERSON, "roles", []),
        (Person, PERSON, "roles", ["boss"]),
        (ShopRules, RULES, "lead", ""),
        (ShopRules, RULES, "search_cap_nm", 0),
        (ShopRules, RULES, "search_cap_nm", 6.35),
        (ShopRules, RULES, "safety_factor", 0.5),
        (ShopRules, RULES, "ask_one_in", 1),
        (ShopRules, RULES, "stop_one_in", 1),
        (ShopRules, RULES, "stop_xy_nm", 0),
        (ShopRules, RULES, "stop_z_nm", 0.2),
        (ShopRules, RULES, "least_ask_nm", -1),
        (Machine, MILL_MM, "z_point", "spindle"),
        (Machine, MILL_MM, "z_length_nm", 0),
        (Fixture, VISE, "stops_above_jaw_nm", -1),
        (ShopRules, RULES, "sheet_hours", 0),
        (ShopRules, RULES, "temperature_half_range_kelvin", -1),
        (ShopRules, RULES, "coverage_factor", float("inf")),
        (Machine, MILL_MM, "unit", "cm"),
        (Machine, MILL_MM, "travel_nm", {"X": [0, 1], "Y": [0, 1]}),
        (Machine, MILL_MM, "travel_nm", {"X": [1, 0], "Y": [0, 1], "Z": [0, 1]}),
        (Machine, MILL_MM, "travel_nm", {"X": [0.5, 1], "Y": [0, 1], "Z": [0, 1]}),
        (Machine, MILL_MM, "confirm_limit_nm", -1),
        (Machine, MILL_MM, "probe_tool", "T30"),
        (Machine, MILL_MM, "probe_tool", "²"),
        (Machine, MILL_MM, "parking_tool", "030"),
        (Machine, MILL_MM, "latency_s", -0.1),
        (Machine, MILL_MM, "parked_z_nm", -50_000_000),
        (Machine, PARKED_MILL, "parked_z_nm", -600_000_000),
        (Machine, PARKED_MILL, "parked_z_nm", 0),
        (Machine, PARKED_MILL, "parked_z_nm", -50_000_100),
        (Machine, PARKED_MILL, "parked_z_nm", -50.0),
        (Machine, MILL_MM, "u_axis_nm", {"X": 1, "Y": 2, "Z": -3}),
        (Machine, MILL_MM, "fixture", "Vise A"),
        (Fixture, VISE, "jaw_length_nm", 0),
        (Fixture, VISE, "edge_break_nm", -1),
        (Fixture, VISE, "clamping_axis", "Z"),
        (Fixture, VISE, "clamping_direction", 2),
        (Fixture, VISE, "faces", []),
        (Fixture, VISE, "parallels_nm", [0]),
        (Fixture, VISE, "parallels_nm", [12_000_000, 12_000_000]),
        (Fixture, VISE, "parallels_nm", list(range(1, 10))),
        (Fixture, VISE, "jaw_steps_nm", "4"),
        (Fixture, VISE, "jaw_steps_nm", [4.0]),
        (Fixture, VISE, "moving_jaw_thickness_nm", 0),
        (Fixture, VISE, "faces", [FixtureFace("X", -1, "front")]),
        (Fixture, VISE, "faces", [FixtureFace("Y", -1, "left_end")]),
        (Fixture, VISE, "faces", [FixtureFace("X", -1, "left_end"), FixtureFace("X", 1, "right_end")]),
        (Probe, PROBE, "ball_diameter_nm", True),
        (Probe, PROBE, "stylus_reach_nm", 0),
        (Probe, PROBE, "u_probe_nm", -1),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_its_field(
    kind: Any, good: Any, field: str, value: Any
) -> None:
    plain = {name: getattr(good, name) for name in asdict(good)} | {field: value}
    with pytest.raises(ShopFieldError) as refused:
        kind(**plain)
    assert refused.value.fields["field"] == field
    assert say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("axis", {"axis": "W"}),
        ("normal", {"normal": 0}),
        ("face", {"face": "middle"}),
        ("face", {"face": "top"}),
        ("face", {"axis": "Z"}),
        ("normal", {"axis": "Z", "face": "top", "normal": -1}),
    ],
)
def test_a_face_that_no_vise_has_is_refused(field: str, changes: dict[str, Any]) -> None:
    with pytest.raises(ShopFieldError) as refused:
        FixtureFace(**({"axis": "X", "normal": -1, "face": "left_end"} | changes))
    assert refused.value.fields["field"] == field


def test_a_display_that_cannot_be_kept_exactly_is_refused() -> None:
    with pytest.raises(DisplayNotExactError):
        from_plain(Machine, as_plain(MILL_MM) | {"decimals": 7})


def test_a_machine_without_slots_is_refused() -> None:
    with pytest.raises(FamilyEmptyError):
        from_plain(Machine, as_plain(MILL_MM) | {"slot_family": " "})


@pytest.mark.parametrize("change", [{"colour": "red"}, {"name": None}])
def test_a_field_too_many_or_too_few_is_refused(change: dict[str, Any]) -> None:
    plain = as_plain(PROBE) | change
    if change == {"name": None}:
        del plain["name"]
    with pytest.raises(ShopFieldsError) as refused:
        from_plain(Probe, plain)
    assert refused.value.fields == {"kind": "probe", "field": next(iter(change))}


def test_what_is_no_object_is_refused() -> None:
    with pytest.raises(ShopFieldsError):
        from_plain(Probe, json.loads("[]"))


def test_what_only_causes_need_may_be_left_out_and_comes_back_as_it_was_stored() -> None:
    left_out = ("parallels_nm", "jaw_steps_nm", "moving_jaw_thickness_nm")
    plain = {name: value for name, value in as_plain(VISE).items() if name not in left_out}
    assert from_plain(Fixture, plain) == VISE
    stated = replace(VISE, parallels_nm=(12_000_000, 20_000_000), moving_jaw_thickness_nm=32_000_000)
    assert from_plain(Fixture, json.loads(json.dumps(as_plain(stated)))) == stated


def test_a_gauge_line_needs_the_length_to_the_ball() -> None:
    with pytest.raises(ShopFieldError) as refused:
        replace(MILL_MM, z_point="gauge_line")
    assert refused.value.fields["field"] == "z_length_nm"
    assert replace(MILL_MM, z_point="gauge_line", z_length_nm=1).z_length_nm == 1


def test_values_that_are_left_out_take_what_ships() -> None:
    rules = from_plain(ShopRules, {"name": "A shop", "lead": "Ask at the bench"})
    assert (rules.search_cap_nm, rules.ask_one_in, rules.stop_one_in, rules.ceiling_nm) == (
        6_350_000,
        100,
        None,
        500_000,
    )
    assert (rules.stop_xy_nm, rules.stop_z_nm) == (100_000, 200_000)
    assert lines_choice(rules, "X", "mm") == LinesChoice(100, 1000, 500_000, None, 100_000, 10_000, 5)
    assert lines_choice(rules, "Z", "in") == LinesChoice(100, 1000, 500_000, None, 200_000, 12_700, 5)


def test_a_shop_that_chose_how_rare_a_false_stop_is_keeps_that() -> None:
    # As an earlier version wrote every shop down.
    stored = {"name": "A shop", "lead": "Ask", "stop_one_in": 2000, "ask_one_in": 50}
    choice = lines_choice(from_plain(ShopRules, stored), "X", "mm")
    assert (choice.stop_one_in, choice.stop_length_nm) == (2000, None)
    finer = from_plain(ShopRules, {"name": "A shop", "lead": "Ask", "least_ask_nm": 0})
    assert lines_choice(finer, "X", "mm").least_ask_nm == 0
