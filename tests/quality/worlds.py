"""Random shops: machines, vises, probes, units, seatings and histories, and the sheet's part that causes are
named from.

All lengths here are in steps of the display until they become whole nanometres;
nothing is tuned to a mistake.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import stats

from webapp.domain.causes.facts import Known, Measures, known_axis
from webapp.domain.causes.named import AxisFacts, prepare
from webapp.domain.causes.reading import OtherSeating, OtherSlot, RecentTouch
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual

DISPLAYS = (Display(Unit.MM, 3), Display(Unit.MM, 3), Display(Unit.MM, 4), Display(Unit.INCH, 4))
CHOICE = LinesChoice(ceiling_nm=10**9)
PEOPLE = ("mara", "ivo", "lena", "odile")


@dataclass
class World:
    """One machine with its vise: what is true (`place_nm`, `sigma_nm`) and what the shop knows.

    `sizes` are how many values each seating has, the one of now last. In a quiet world no touch scatters.
    """

    display: Display
    measures: Measures
    faces: dict[str, Face]
    names: dict[str, str]
    travel_nm: dict[str, tuple[int, int]]
    place_nm: dict[str, float]
    sigma_nm: float
    usuals: dict[str, Usual]
    seatings: dict[str, list[OtherSeating]]
    slots: dict[str, list[OtherSlot]]
    sizes: dict[str, list[int]] = field(default_factory=dict)
    is_quiet: bool = False
    recent: dict[str, list[RecentTouch]] = field(default_factory=dict)

    def rounded(self, value_nm: float) -> int:
        """What the control shows, as whole nanometres."""
        return round(value_nm / self.display.resolution_nm) * self.display.resolution_nm

    def line_nm(self, axis: str) -> float:
        """The ask line of somebody who knows how much touches scatter and how few values there are; the
        program is not asked, so that a line of its own that is too wide does not move what it is held to.
        """
        degrees = sum(size - 1 for size in self.sizes[axis])
        factor = float(stats.t.ppf(1 - 1 / (2 * CHOICE.ask_one_in), degrees))
        return factor * self.one_more_nm(axis) + self.display.resolution_nm

    def one_more_nm(self, axis: str) -> float:
        """The spread of one more value about the middle of those of now."""
        return self.sigma_nm * math.sqrt(1 + 1 / self.sizes[axis][-1])

    def known(self, axis: str) -> Known:
        return known_axis(self.faces[axis], self.usuals[axis], CHOICE)

    def section(self, axis: str) -> dict[str, Any]:
        """The part `causes` of the sheet."""
        facts = {
            name: AxisFacts(
                self.known(name),
                self.names[name],
                self.travel_nm[name],
                self.slots[name],
                self.seatings[name],
                self.recent.get(name, ()),
            )
            for name in self.faces
        }
        return prepare(axis, facts, self.measures, self.display)

    def plain_usual(self, axis: str) -> dict[str, Any]:
        found = self.usuals[axis]
        return {"centre_nm": found.centre_nm, "ask_nm": found.ask_nm, "stop_nm": found.stop_nm}

    def inside(self, axis: str, value_nm: float) -> bool:
        low, high = self.travel_nm[axis]
        return low <= value_nm <= high


def draw(chance: np.random.Generator) -> World:
    """One random world."""
    display = DISPLAYS[int(chance.integers(len(DISPLAYS)))]
    mm = 1_000_000
    sigma_nm = float(np.exp(chance.uniform(math.log(2_000), math.log(30_000))))
    span = {"X": chance.uniform(500, 900), "Y": chance.uniform(350, 500), "Z": chance.uniform(400, 550)}
    # Half of the machines count from the end of the travel, half from its middle.
    low = {
        axis: -round(length * mm) if chance.random() < 0.5 else -round(length * mm / 2)
        for axis, length in span.items()
    }
    travel = {axis: (low[axis], low[axis] + round(span[axis] * mm)) for axis in span}
    clamps = int(chance.choice([-1, 1]))
    end = int(chance.choice([-1, 1]))
    faces = {"X": Face(Axis.X, end), "Y": Face(Axis.Y, clamps), "Z": Face(Axis.Z, 1)}
    names = {"X": "left_end" if end < 0 else "right_end", "Y": "front", "Z": "top"}
    measures = Measures(
        effective_radius_nm=round(chance.uniform(0.75, 4.0) * mm),
        radius_uncertainty_nm=1_000,
        gauge_length_nm=round(chance.uniform(120, 220) * mm),
        stylus_reach_nm=round(chance.uniform(20, 60) * mm),
        jaw_length_nm=round(chance.uniform(90, 200) * mm),
        jaw_thickness_nm=round(chance.uniform(15, 40) * mm),
        jaw_height_nm=round(chance.uniform(30, 60) * mm),
        opening_nm=round(chance.uniform(30, 150) * mm),
        clamping_axis="Y",
        clamping_direction=clamps,
        moving_jaw_thickness_nm=round(chance.uniform(15, 40) * mm),
        parallels_nm=(round(chance.uniform(8, 28) * mm),),
        jaw_steps_nm=(round(chance.uniform(2, 8) * mm),),
    )
    place, usuals, seatings, slots, sizes = {}, {}, {}, {}, {}
    for axis in faces:
        place[axis], usuals[axis], seatings[axis], sizes[axis] = _axis(
            chance, display, travel[axis], sigma_nm
        )
        slots[axis] = _slots(chance, display, travel[axis])
    return World(display, measures, faces, names, travel, place, sigma_nm, usuals, seatings, slots, sizes)


def _axis(
    chance: np.random.Generator, display: Display, travel: tuple[int, int], sigma_nm: float
) -> tuple[float, Usual, list[OtherSeating], list[int]]:
    """Where the vise sits, its usual from 5 to 200 values and 0 to 3 earlier seatings, those, and all sizes.

    Fewer values leave the floor to rule alone, which nobody has stated for these worlds:
    nearly every touch would ask.
    """
    step = display.resolution_nm
    margin = (travel[1] - travel[0]) / 5
    sizes = [
        *chance.integers(5, 25, int(chance.integers(0, 4))),
        round(math.exp(chance.uniform(math.log(5), math.log(200)))),
    ]
    history, earlier, at = [], [], 0.0
    for number, size in enumerate(sizes):
        at = float(chance.uniform(travel[0] + margin, travel[1] - margin))
        values = [int(v) * step for v in np.rint((at + sigma_nm * chance.standard_normal(size)) / step)]
        history.append(SeatingValues.of(str(number), values))
        if number + 1 < len(sizes):
            centre = round(sum(values) / len(values) / step) * step
            earlier.append(OtherSeating(f"2026-0{number + 1}-01T00:00:00.000Z", centre, len(values)))
    return at, usual(history, FloorInputs(500, 500), CHOICE, display), earlier, [int(one) for one in sizes]


def _slots(chance: np.random.Generator, display: Display, travel: tuple[int, int]) -> list[OtherSlot]:
    step = display.resolution_nm
    return [
        OtherSlot(f"G{54 + number}", round(chance.uniform(*travel) / step) * step)
        for number in range(int(chance.integers(1, 5)))
    ]
