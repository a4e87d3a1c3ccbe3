"""A slice of the long run over invented shops:
every planned touch keeps what a person at the mill needs it to keep.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from tests.long import windows
from webapp.domain.sheet.axis_plans import AxisPlan
from webapp.domain.touch import window

SLICE = 400


def test_every_place_to_stand_keeps_ball_stylus_and_travel_and_what_has_no_window_says_why() -> None:
    counted, wrong = windows.walk(SLICE)
    assert wrong == []
    kinds = {kind.split()[0] for kind in counted}
    assert counted.total() == 3 * SLICE
    assert "planned," in kinds
    for code in (
        "approach.cap_too_small_for_spread",
        "approach.fixed_search_too_short",
        "approach.stand_outside_travel",
        "approach.room_too_small",
    ):
        assert counted[code], code
    for dead in window.DeadProbe:
        assert counted[f"planned, dead probe {dead.value}"], dead


def test_the_kept_figures_are_those_of_the_whole_run_and_nothing_was_wrong() -> None:
    kept = windows.KEPT.read_text(encoding="utf-8")
    assert f"{windows.CASES} shops, {3 * windows.CASES} touches:" in kept
    assert kept.rstrip().endswith("Wrong: 0.")


def test_the_figures_count_both_kinds_and_name_what_is_wrong() -> None:
    counted = Counter({"planned, dead probe breaks": 4, "approach.room_too_small": 2, "approach.no": 1})
    lines = list(windows.table(3, counted, ["shop 1: this"]))
    assert lines[0].startswith("3 shops, 7 touches: 4 with a window, 2 without one")
    assert lines[-2:] == ["Wrong: 1.", "- shop 1: this"]


def _planned(dead: str, axis: str) -> tuple[windows.World, AxisPlan]:
    """A shop and a planned touch with a usual and a coordinate, where a dead probe does that."""
    for world in windows.worlds(SLICE):
        for plan in windows.plans(world):
            found = plan.approach
            known = found is not None and found["stand_low_nm"] is not None
            if known and plan.face.axis == axis and found["dead_probe"] == dead:
                return world, plan
    raise AssertionError(dead)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("range_nm", 2_000_000, "does not reach"),
        ("stand_high_nm", 10**12, "outside the travel"),
        ("dead_probe", "breaks", "without a word"),
        ("first_feed_mm_per_min", 10**6, "after the trigger"),
        ("depth_low_nm", 100_000, "deep"),
        ("depth_high_nm", 10**9, "deep"),
    ],
)
def test_a_plan_that_is_made_worse_is_found(name: str, value: int | str, said: str) -> None:
    world, plan = _planned("within_factor", "X")
    worse = replace(plan, approach={**(plan.approach or {}), name: value})
    assert windows.held_against(world, plan, random.Random(1)) == []
    assert any(said in one for one in windows.held_against(world, worse, random.Random(1)))


@pytest.mark.parametrize("end", ["stand_low_nm", "stand_high_nm"])
def test_a_place_inside_the_jaw_is_found(end: str) -> None:
    world, plan = _planned("within_factor", "X")
    inside = {**(plan.approach or {}), end: world.usuals["X"].centre_nm}
    found = windows.held_against(world, replace(plan, approach=inside), random.Random(1))
    assert any("in the jaw" in one for one in found)
