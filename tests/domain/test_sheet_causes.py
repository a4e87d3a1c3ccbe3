"""The part `causes` of a sheet, from an invented shop's own items."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.rules.example_shop import (
    CENTRES_NM,
    MACHINES,
    PARKED_MILL,
    PROBE,
    RULES,
    SLOTS,
    VISE,
    causes_of,
    usual_of,
)
from webapp.domain.causes.named import name_causes
from webapp.domain.causes.of_sheet import earlier_seatings, measures_of, other_balls, sheet_causes
from webapp.domain.causes.reading import RecentTouch
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.sheet.lines_here import lines_choice
from webapp.domain.usual.usual import SeatingValues

CHOICES = {axis: lines_choice(RULES, axis, "mm") for axis in "XYZ"}


@pytest.mark.parametrize("name", ["mm", "inch"])
def test_every_axis_of_the_fixture_has_its_part_as_canonical_data(name: str) -> None:
    machine = MACHINES[name]
    usuals = {axis: usual_of(machine, axis) for axis in "XYZ"}
    found = sheet_causes(machine, VISE, measures_of(VISE, PROBE), usuals, CHOICES, slots=SLOTS)
    assert set(found) == {"X", "Y", "Z"}
    assert json.loads(canonical_text(found)) == found
    assert len(canonical_text(found)) < 20_000
    codes = {one["code"] for part in found.values() for one in part["candidates"]}
    assert {
        "cause.ball_left_out",
        "cause.other_end",
        "cause.moving_jaw",
        "cause.other_axis",
        "cause.zero_left",
    } <= codes
    assert not any("parallel" in code or "step" in code for code in codes)


def test_a_ball_left_out_is_named_on_both_displays() -> None:
    for machine in MACHINES.values():
        usuals = {axis: usual_of(machine, axis) for axis in "XYZ"}
        found = sheet_causes(machine, VISE, measures_of(VISE, PROBE), usuals, CHOICES)
        step = machine.display.resolution_nm
        value = round((CENTRES_NM["X"] - PROBE.effective_radius_nm) / step) * step
        plain = {"centre_nm": usuals["X"].centre_nm, "ask_nm": usuals["X"].ask_nm}
        named = name_causes(value, found["X"], plain, machine.display)
        assert named[0]["code"] == "cause.ball_left_out"


def test_what_the_shop_states_besides_makes_candidates() -> None:
    machine = MACHINES["mm"]
    usuals = {axis: usual_of(machine, axis) for axis in "XYZ"}
    stated = {
        "parallels_nm": [12_000_000],
        "jaw_steps_nm": [4_000_000],
        "moving_jaw_thickness_nm": 30_000_000,
    }
    measures = measures_of(replace(VISE, **stated), PROBE)
    found = sheet_causes(machine, VISE, measures, usuals, CHOICES)
    codes = {one["code"] for part in found.values() for one in part["candidates"]}
    assert {
        "cause.parallel_on_jaw",
        "cause.parallel_on_bed",
        "cause.jaw_step",
        "cause.moving_jaw_outside",
    } <= codes


def test_the_shops_other_balls_come_first_and_then_the_sizes_that_are_sold() -> None:
    small = replace(PROBE, id="small", ball_diameter_nm=4_000_000, effective_radius_nm=1_994_000)
    balls = other_balls(PROBE, [PROBE, small])
    assert (balls[0].effective_radius_nm, balls[0].uncertainty_nm) == (1_994_000, PROBE.radius_uncertainty_nm)
    sizes = [ball.diameter_nm for ball in balls]
    assert sizes.count(4_000_000) == 1
    assert PROBE.ball_diameter_nm not in sizes
    assert {3_000_000, 5_000_000, 8_000_000} <= set(sizes)
    machine = MACHINES["mm"]
    usuals = {axis: usual_of(machine, axis) for axis in "XYZ"}
    found = sheet_causes(machine, VISE, measures_of(VISE, PROBE, [PROBE, small]), usuals, CHOICES)
    value = CENTRES_NM["X"] - (PROBE.effective_radius_nm - 1_994_000)
    plain = {"centre_nm": usuals["X"].centre_nm, "ask_nm": usuals["X"].ask_nm}
    assert name_causes(value, found["X"], plain, machine.display)[0]["code"] == "cause.other_ball"


def test_no_more_than_the_last_seatings_are_carried() -> None:
    history = [SeatingValues.of(f"s{place}", [-370_000_000 - place * 1_000_000]) for place in range(20)]
    until = {one.seating_id: f"2026-09-{place + 1:02d}T00:00:00.000Z" for place, one in enumerate(history)}
    found = earlier_seatings(history, until, MACHINES["mm"])
    assert [one.until_utc for one in found] == [until[f"s{place}"] for place in range(18, 10, -1)]


def test_earlier_seatings_and_recent_touches_reach_their_axis() -> None:
    machine = MACHINES["mm"]
    usuals = {axis: usual_of(machine, axis) for axis in "XYZ"}
    history = [
        SeatingValues("empty"),
        SeatingValues.of("old", [-370_000_000, -370_002_000]),
        SeatingValues.of("now", [CENTRES_NM["X"]]),
    ]
    seatings = earlier_seatings(
        history, {"empty": "2026-09-01T00:00:00.000Z", "old": "2026-10-02T00:00:00.000Z"}, machine
    )
    assert [(one.centre_nm, one.values) for one in seatings] == [(-370_001_000 // 1000 * 1000, 2)]
    recent = [
        RecentTouch(who, f"2026-11-2{n}T09:00:00.000Z", CENTRES_NM["X"] + 800_000)
        for n, who in enumerate(("ivo", "mara"))
    ]
    found = sheet_causes(
        machine,
        VISE,
        measures_of(VISE, PROBE),
        usuals,
        CHOICES,
        seatings={"X": seatings},
        recent={"X": recent},
    )
    here = {one["code"] for one in found["X"]["candidates"]}
    assert {"cause.other_seating", "cause.vise_moved"} <= here
    assert "cause.vise_moved" not in {one["code"] for one in found["Y"]["candidates"]}


def test_a_seating_without_a_value_names_only_what_was_read_off() -> None:
    machine = MACHINES["mm"]
    usuals = {axis: usual_of(machine, axis, known=False) for axis in "XYZ"}
    found = sheet_causes(machine, VISE, measures_of(VISE, PROBE), usuals, CHOICES, slots=SLOTS)
    codes = [one["code"] for one in found["X"]["candidates"]]
    assert set(codes) == {"cause.zero_left", "cause.other_slot"}


def test_where_rows_are_parked_the_parked_value_is_what_a_touch_may_not_have_written() -> None:
    usuals = {axis: usual_of(PARKED_MILL, axis) for axis in "XYZ"}
    found = causes_of(PARKED_MILL, usuals)
    left = {
        axis: [
            (one["code"], one["low_nm"]) for one in found[axis]["candidates"] if one["code"].endswith("_left")
        ]
        for axis in "XYZ"
    }
    assert left == {
        "X": [("cause.zero_left", 0)],
        "Y": [("cause.zero_left", 0)],
        "Z": [("cause.parked_left", -50_000_000)],
    }
