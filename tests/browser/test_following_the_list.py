"""The list followed by hand and eye at the simulated mill, with the real tablet:
a slice of `tests.long mistakes`.
"""

from __future__ import annotations

import pytest

from tests.kit.demo import AXES, Demo
from tests.kit.tablet import Operator, Tablet
from tests.long.mistakes.follower import Follower
from webapp.demo.mill.planting import planted


class Following(Operator):
    """Somebody who does at the mill what each screen says, and answers what is seen there."""

    def __init__(self, tablet: Tablet, demo: Demo, machine: str, person: str) -> None:
        slot = demo.slot(machine, person)
        super().__init__(tablet, demo.mill(machine), slot, demo.people[person].pin)
        self.follower = Follower(self.mill.mill, tablet.sheet(machine), slot, plate=machine)

    def close(self, kind: str) -> None:
        self.follower.step = self.tablet.step_on_sheet()
        super().close(kind)

    def _act(self) -> str | None:
        return self.follower.act(self.follower.step)

    def _go_after(self) -> None:
        self._act()
        self._go()

    _caution = _over = _lower = _search = _go_after

    def _confirm(self) -> None:
        seen = self._act()
        if seen is None:
            super()._confirm()
        else:
            self.tablet.tap("choose", seen)

    _jaw = _input = _confirm

    def _checks(self) -> None:
        self._act()
        super()._checks()

    def _board(self) -> None:
        self.tablet.tap("found", self._act() or "clear")

    def _tool_in(self) -> None:
        self.tablet.enter(self.follower.tool(self.mill.mill.probe_tool))

    def _tool_out(self) -> None:
        self.tablet.enter(self.follower.tool(self.mill.mill.parking_tool))

    def _slot(self) -> None:
        self.tablet.enter(self.follower.label(self.slot))

    def _clear(self) -> None:
        self.follower.cleared_nm(self.slot)
        if self.tablet.page.locator("[data-entry]").count():
            self._three()
        else:
            self._go()

    def _touch(self) -> None:
        axis = self.tablet.step[0].upper()
        self.typed = self.mill.text(self.follower.touched_nm(axis))
        self.tablet.enter(self.typed)

    def _square(self) -> None:
        """Both searches are set as at any search;
        then the face is found at two places, raised between them.
        """
        if self.tablet.page.locator("[data-entry]").count() == 0:
            self._go()
            return
        axis = self.tablet.step[0].upper()
        for _ in range(2):
            self.tablet.enter(self.mill.text(self.follower.touched_nm(axis)))
            if self.tablet.kind == "square" and self.tablet.page.locator("[data-entry]").count() == 0:
                self._go()


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
