"""What can be read off a simulated mill: its pages, its lamp, its magazine, and the truth behind them."""

from __future__ import annotations

import random
from dataclasses import dataclass

from webapp.demo.mill.build import WELL, Faults, MillBuild
from webapp.demo.mill.probing import Probing
from webapp.demo.mill.solids import Box, Tool, Values
from webapp.demo.mill.state import Crash, MillState
from webapp.demo.mill.vise import ViseTruth


@dataclass
class Readings:
    """A mill: what it is, where its vise stands, what is wrong with it, how it stands now."""

    build: MillBuild
    truth: ViseTruth
    state: MillState
    chance: random.Random
    faults: Faults = WELL

    @property
    def slot_labels(self) -> tuple[str, ...]:
        """The labels of its slots, in the control's order."""
        return self.build.slot_labels

    @property
    def probe_tool(self) -> str:
        """The number of the probe's pocket."""
        return self.build.probe_tool

    @property
    def parking_tool(self) -> str:
        """The number of the tool that stands in while the probe is away."""
        return self.build.parking_tool

    @property
    def ball_radius_nm(self) -> int:
        """The true radius of the probe's ball."""
        ball = self.build.probe.ball
        return ball.radius_nm if ball else 0

    @property
    def spindle_tool(self) -> str:
        """The number that the control shows."""
        return self.state.spindle_tool

    @property
    def selected_slot(self) -> str:
        """The slot that a touch would write."""
        return self.state.selected_slot

    @property
    def slots_nm(self) -> dict[str, Values]:
        """The whole table, by label."""
        return self.state.slots_nm

    @property
    def crashes(self) -> list[Crash]:
        """What was hit so far."""
        return self.state.crashes

    @property
    def hanging(self) -> Tool:
        """What really hangs in the spindle, whatever the control shows."""
        number = self.state.spindle_tool
        if number == self.build.probe_tool and self.faults.hangs_instead is not None:
            number = self.faults.hangs_instead
        return self.build.tools[number]

    @property
    def vise(self) -> ViseTruth:
        """Where the vise stands now, moved, turned, with other jaws or pushed by touches as it may be."""
        vise = self.truth.moved(self.faults.moved_nm).moved(self.faults.jaw_off_nm)
        vise = vise.moved(dict.fromkeys(("X", "Y"), self.state.gave_nm))
        return vise.turned() if self.faults.turned else vise

    @property
    def boxes(self) -> tuple[Box, ...]:
        """Everything that a tool can run into now."""
        vise = self.vise
        left = () if self.state.bare else self.faults.left
        return vise.boxes(*(vise.left_on(what, height_nm) for what, height_nm in left))

    def shown_nm(self) -> Values:
        """The three values of the selected slot, nm, as the control shows them."""
        return dict(self.slots_nm[self.selected_slot])

    def page_nm(self) -> Values:
        """What the machine page shows: where the axes stand, Z by the point that this control counts from."""
        probing = self.probing()
        return {axis: round(probing.page_nm(axis, value)) for axis, value in self.state.place_nm.items()}

    @property
    def lamp(self) -> str:
        """What the probe's own lamp shows: "ready", "dark", "touching"."""
        if self.faults.probe == "dark" or self.state.asleep or self.hanging.ball is None:
            return "dark"
        if self.state.broken:
            return "dark"
        return "touching" if self.state.lean is not None or self.faults.probe == "stuck" else "ready"

    def input_seen(self, *, nudged: bool) -> bool:
        """Whether the control shows a touch, with the stylus nudged by a stick or not."""
        if self.faults.probe == "stuck":
            return True
        touching = nudged or self.state.lean is not None
        return touching and self.probing().answers

    @property
    def magazine(self) -> dict[str, str]:
        """What hangs in each pocket, by number: the name of the tool, empty for what is in the spindle."""
        return {
            number: "" if number == self.spindle_tool else tool.name
            for number, tool in self.build.tools.items()
        }

    def probing(self) -> Probing:
        """A probing move that could begin now."""
        return Probing(self.build, self.state, self.faults, self.hanging, self.boxes, self.chance)
