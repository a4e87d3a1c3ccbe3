"""The list followed by hand and eye at the simulated mill, with the real tablet:
a slice of `tests.long mistakes`.
"""

from __future__ import annotations

import pytest

from tests.kit.demo import AXES, Demo
from tests.kit.following import Following
from tests.kit.tablet import Tablet
from webapp.demo.mill.planting import planted


@pytest.fixture
def following(tablet: Tablet, demo: Demo) -> Following:
    """Odile at Plover, who follows the list."""
    tablet.begin("plover", "odile")
    return Following(tablet, demo, "plover", "odile")


def plant(hand: Following, *names: str) -> None:
    hand.mill.mill.plant(planted(names, hand.mill.mill.ball_radius_nm, "7"))


def test_nothing_is_hit_and_every_value_is_right_while_the_list_is_followed(following: Following) -> None:
    plant(following, "handle_left", "chip_x")
    following.walk()
    mill = following.mill.mill
    assert mill.crashes == []
    assert mill.hanging.ball is None
    kept = following.tablet.events_of("touch.entered")
    assert [one["data"]["verdict"] for one in kept] == ["agrees"] * 3
    row, truth = mill.slots_nm[following.slot], mill.vise.surface_nm
    assert {one["data"]["axis"]: one["data"]["value_nm"] for one in kept} == row
    assert all(abs(row[axis] - truth[axis]) < 20_000 for axis in AXES)


def test_a_dead_probe_whose_lamp_shines_is_found_at_the_input_and_put_away(following: Following) -> None:
    plant(following, "probe_dead")
    following.walk(until="probe.input")
    following.close("input")
    tablet = following.tablet
    assert tablet.step == "probe.input"
    assert tablet.events_of("step.done")[-1]["data"] == {"answer": "lamp"}
    tablet.tap("break-off")
    assert tablet.step == "stow.up"
    following.walk(until="sign.review")
    assert following.mill.mill.crashes == []
    assert following.mill.mill.magazine["30"] == "probe"


def test_a_vise_that_was_turned_is_found_by_which_jaw_stands_still(following: Following) -> None:
    plant(following, "vise_turned")
    following.walk(until="vise.open")
    following.close("jaw")
    assert following.tablet.step == "vise.open"
    assert following.tablet.events_of("step.done")[-1]["data"] == {"answer": "front"}
