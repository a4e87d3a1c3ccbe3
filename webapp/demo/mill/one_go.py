"""A touch in one go: where the ball stands before a face as is common, and what may go wrong at one touch."""

from __future__ import annotations

from dataclasses import dataclass, replace

from webapp.demo.mill.build import Faults
from webapp.demo.mill.solids import Tool, Values
from webapp.demo.mill.vise import MM, ViseTruth

STANDS_OFF_NM, GOES_DEEP_NM = 3 * MM, 7 * MM
RANGE_NM = 2 * STANDS_OFF_NM


@dataclass(frozen=True)
class Mistake:
    """What can go wrong at one touch without the operator noticing."""

    moving_jaw: bool = False
    ball_left_out: bool = False
    chip_nm: int = 0


NO_MISTAKE = Mistake()


def with_mistake(faults: Faults, mistake: Mistake, axis: str, ball_radius_nm: int) -> Faults:
    """What is wrong during this one touch. On Z a ball left out is a length too short by its radius."""
    if mistake.ball_left_out:
        length_off = -ball_radius_nm if axis == "Z" else 0
        faults = replace(faults, ball_in_control_nm=0, length_off_nm=length_off)
    if mistake.chip_nm:
        faults = replace(faults, chip_nm={**faults.chip_nm, axis: mistake.chip_nm})
    return faults


def stand_before(vise: ViseTruth, probe: Tool, axis: str, *, moving_jaw: bool) -> tuple[Values, int]:
    """Where the spindle stands before a face, as far off and as deep as is common, and the direction of the
    search.
    """
    place, radius = vise.middle_nm, probe.ball.radius_nm if probe.ball else 0
    if axis == "Z":
        return {**place, "Z": place["Z"] + probe.length_nm + STANDS_OFF_NM}, -1
    normal, surface = vise.normal[axis], vise.surface_nm[axis]
    if moving_jaw and axis == vise.clamping_axis:
        surface, normal = vise.moving_face_nm, -normal
    place[axis] = surface + normal * (radius + STANDS_OFF_NM)
    place["Z"] += probe.length_nm - radius - GOES_DEEP_NM
    return place, -normal
