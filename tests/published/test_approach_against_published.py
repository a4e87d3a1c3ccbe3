"""Stopping distance, search cap, axes and slots against what is published.

- Stopping distance: OpenStax, College Physics, Example 2.14 (data/stopping_distance.json).
- Search cap of a quarter inch, factor of two on the overtravel: common practice, no source.
- Straight probe and slots: NISTIR 6556 (Kramer, Proctor, Messina, 2000), sections 3.5.9,
  3.2.2 and Table 2, read in a copy of the report, which is in the public domain.
- Axes: ISO 841:2001, as a control maker's manual quotes it and from memory; the standard's text was not read.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from webapp.domain.plain.axes import Axis, Direction, Face
from webapp.domain.plain.lengths import NM_PER_INCH, Display, Unit
from webapp.domain.shop.measures import COMMON_SEARCH_CAP_NM, SHIPPED_SAFETY_FACTOR
from webapp.domain.shop.slots import SlotFamily
from webapp.domain.touch.approach import AxisTravel, FaceMeasures, ProbingMotion, Stylus, plan_approach
from webapp.domain.touch.feeds import largest_feed_mm_per_min, stopping_distance_mm
from webapp.words import say

STOPPING = json.loads(
    (Path(__file__).parent / "data" / "stopping_distance.json").read_text(encoding="utf-8")
)["cases"]


@pytest.mark.parametrize("case", STOPPING)
def test_the_stopping_distance_is_the_printed_one(case: dict[str, Any]) -> None:
    found = stopping_distance_mm(case["v"], case["a"], case["t"])
    assert f"{found:.1f}" == case["d"]


@pytest.mark.parametrize("case", STOPPING)
def test_the_largest_feed_for_a_printed_distance_is_the_printed_speed(case: dict[str, Any]) -> None:
    # Metres are read as millimetres: the formula has no unit of its own.
    # The printed distance has three digits.
    feed = largest_feed_mm_per_min(float(case["d"]) * 1e6, case["a"], case["t"], Display(Unit.MM, 3))
    assert feed / 60 == pytest.approx(case["v"], rel=1e-3)


def test_the_common_search_cap_is_a_quarter_inch() -> None:
    assert 4 * COMMON_SEARCH_CAP_NM == NM_PER_INCH


def test_the_overtravel_is_used_by_half_at_most_as_shipped() -> None:
    assert SHIPPED_SAFETY_FACTOR == 2


@pytest.mark.parametrize("unit", [Unit.MM, Unit.INCH])
def test_a_search_always_starts_farther_away_than_a_straight_probe_needs(unit: Unit) -> None:
    least_nm = 254_000  # 0.254 mm or 0.01 in
    stylus = Stylus(1_000_000, 1_000_000, 20_000_000, 10_000_000, 5_000_000)
    slow = ProbingMotion(10, 5, 5000, 0)
    face = FaceMeasures(Face(Axis.X, 1))
    found = plan_approach(stylus, slow, face, AxisTravel(-1, 1), Display(unit, 4))
    assert found.gap_low_nm > least_nm
    assert found.range_nm > least_nm


def test_the_shipped_slots_are_the_nine_systems_of_rs_274_ngc_in_order() -> None:
    codes = ["G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"]
    assert list(SlotFamily.parse("G54-G59, G59.1-G59.3").labels) == codes


# The operator's own frame: right, ahead (away), up.
# It is right-handed: right turned to ahead turns a screw up.
OPERATOR = {
    "to the right": (1, 0, 0),
    "to the left": (-1, 0, 0),
    "away from you": (0, 1, 0),
    "towards you": (0, -1, 0),
    "up": (0, 0, 1),
    "down": (0, 0, -1),
}


def seen(axis: Axis, sense: int) -> tuple[int, int, int]:
    return OPERATOR[say(Direction(axis, sense).words_code)]


def test_the_axes_are_right_handed_as_the_operator_sees_them() -> None:
    (ax, ay, az), (bx, by, bz) = seen(Axis.X, 1), seen(Axis.Y, 1)
    assert (ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx) == seen(Axis.Z, 1)


def test_positive_x_is_to_the_right_and_positive_z_away_from_the_work() -> None:
    assert say(Direction(Axis.X, 1).words_code) == "to the right"
    assert say(Direction(Axis.Z, 1).words_code) == "up"
