"""The surface that a trigger position comes to:
the face lies one effective radius beyond the ball (plain geometry).
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.rules.example_shop import BY_HAND_MILL, PROBE, example_sheet
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.shop.measures import Stylus, ZPoint, ZReading
from webapp.domain.touch.by_hand import surface_from_trigger_nm

MM, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
STYLUS = Stylus(3_000_000, 2_996_000, 40_000_000, 9_000_000, 4_500_000)


@pytest.mark.parametrize(
    ("axis", "normal", "added_nm"),
    [("X", -1, 2_996_000), ("X", 1, -2_996_000), ("Y", -1, 2_996_000), ("Y", 1, -2_996_000)],
)
def test_beside_the_jaw_the_face_lies_one_effective_radius_on(axis: str, normal: int, added_nm: int) -> None:
    assert surface_from_trigger_nm(STYLUS, Face(Axis(axis), normal), MM) == added_nm


@pytest.mark.parametrize(
    ("reading", "added_nm"),
    [
        (ZReading(ZPoint.BALL_CENTRE), -2_996_000),
        (ZReading(ZPoint.BALL_UNDERSIDE), 4_000),
        (ZReading(ZPoint.GAUGE_LINE, 168_200_000), -171_196_000),
        (None, None),
    ],
)
def test_on_the_top_it_hangs_on_what_the_machine_page_reads(
    reading: ZReading | None, added_nm: int | None
) -> None:
    stylus = replace(STYLUS, z_reading=reading)
    assert surface_from_trigger_nm(stylus, Face(Axis.Z, 1), MM) == added_nm


def test_the_surface_is_one_that_the_display_can_show() -> None:
    assert surface_from_trigger_nm(STYLUS, Face(Axis.X, -1), INCH) == 1_180 * 2_540


def test_without_a_checked_reading_no_touch_in_z_is_planned_where_the_slot_is_written_by_hand() -> None:
    axes = {one["axis"]: one for one in json.loads(example_sheet(machine=BY_HAND_MILL).text)["axes"]}
    assert axes["Z"]["approach_error"] == {"code": "approach.by_hand_without_z_point", "fields": {}}
    assert axes["Z"]["approach"] is None
    assert axes["X"]["by_hand_nm"] == PROBE.effective_radius_nm
    assert {one["by_hand_nm"] for one in json.loads(example_sheet().text)["axes"]} == {None}
