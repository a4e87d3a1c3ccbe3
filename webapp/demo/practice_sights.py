"""What a person standing at the practice mill would see:
from above, from the front, and how much air there is.

Drawn from the same solids that the simulation moves among, so that what is seen is what would be hit.
Gaps are told as an eye judges them, to half a millimetre or two hundredths of an inch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from webapp.demo.mill import SimulatedMill
from webapp.demo.mill.moving import tip_nm
from webapp.demo.mill.solids import Box, first_contact
from webapp.domain.plain.lengths import Display, Unit

AROUND_NM = 45_000_000
FAR_NM = 60_000_000
BY_EYE_NM = {Unit.MM: 500_000, Unit.INCH: 508_000}
WAYS = (("X", 1), ("X", -1), ("Y", 1), ("Y", -1), ("Z", -1))


@dataclass(frozen=True)
class Shape:
    """A rectangle, or (with `radius`) a circle, in micrometres, x to the right, y down.
    `role`: what it stands for.
    """

    role: str
    x: int
    y: int
    width: int = 0
    height: int = 0
    radius: int = 0


@dataclass(frozen=True)
class Sight:
    """One view: what it is called, its window (x, y, width, height) and its shapes."""

    code: str
    window: tuple[int, int, int, int]
    shapes: tuple[Shape, ...]


@dataclass(frozen=True)
class Air:
    """How much air there is one way, as an eye judges it: the way, what stands there, how far off."""

    way: str
    on: str
    away: str


def sights(mill: SimulatedMill) -> tuple[Sight, Sight]:
    """From above (X to the right, Y up) and from the front (X to the right, Z up)."""
    return _sight(mill, "above", "Y"), _sight(mill, "front", "Z")


def air(mill: SimulatedMill, display: Display) -> list[Air]:
    """What stands within reach of an eye, each way along the axes; nothing of what is far."""
    found = []
    for axis, direction in WAYS:
        contact = first_contact(mill.hanging, tip_nm(mill.state, mill.hanging), axis, direction, mill.boxes)
        if contact is not None and (contact.away_nm <= FAR_NM or axis == "Z"):
            way = f"{axis}{'+' if direction > 0 else '−'}"
            found.append(Air(way, contact.box.name, _by_eye(contact.away_nm, display.unit)))
    return found


def _by_eye(away_nm: int, unit: Unit) -> str:
    steps = round(away_nm / BY_EYE_NM[unit])
    return f"{steps / 2:.1f} mm" if unit is Unit.MM else f"{steps / 50:.2f} in"


def _sight(mill: SimulatedMill, code: str, upright: str) -> Sight:
    boxes = sorted(
        (box for box in mill.boxes if box.name != "table"), key=lambda box: _nearness(box, upright)
    )
    tip = tip_nm(mill.state, mill.hanging)
    wide = _range(boxes, "X", tip["X"])
    high = _range(boxes, upright, tip[upright] + mill.hanging.length_nm // 3)
    window = (_um(wide[0]), _um(-high[1]), _um(wide[1] - wide[0]), _um(high[1] - high[0]))
    return Sight(code, window, (*(_box(box, upright) for box in boxes), *_tool(mill, upright)))


def _nearness(box: Box, upright: str) -> int:
    """What is nearer to the eye is drawn later: higher from above, more to the operator from the front."""
    return box.high_nm["Z"] if upright == "Y" else -box.low_nm["Y"]


def _range(boxes: list[Box], axis: str, tool_nm: int) -> tuple[int, int]:
    """From one side to the other, the tool included while it is not too far away to matter."""
    low = min(box.low_nm[axis] for box in boxes)
    high = max(box.high_nm[axis] for box in boxes)
    if abs(tool_nm - (low + high) // 2) < 3 * (high - low) + 2 * AROUND_NM:
        low, high = min(low, tool_nm), max(high, tool_nm)
    return low - AROUND_NM, high + AROUND_NM


def _box(box: Box, upright: str) -> Shape:
    role = box.name.replace(" ", "_")
    width, height = box.high_nm["X"] - box.low_nm["X"], box.high_nm[upright] - box.low_nm[upright]
    return Shape(role, _um(box.low_nm["X"]), _um(-box.high_nm[upright]), _um(width), _um(height))


def _tool(mill: SimulatedMill, upright: str) -> Iterator[Shape]:
    tool, tip = mill.hanging, tip_nm(mill.state, mill.hanging)
    for part in sorted(tool.parts, key=lambda part: -part.low_nm):
        role = "ball" if part.is_ball else "tool"
        if upright == "Y":
            yield Shape(role, _um(tip["X"]), _um(-tip["Y"]), radius=_um(part.radius_nm))
        elif part.is_ball:
            yield Shape(role, _um(tip["X"]), _um(-tip["Z"] - part.radius_nm), radius=_um(part.radius_nm))
        else:
            left, top = tip["X"] - part.radius_nm, -tip["Z"] - part.high_nm
            yield Shape(role, _um(left), _um(top), _um(2 * part.radius_nm), _um(part.high_nm - part.low_nm))


def _um(value_nm: int) -> int:
    return round(value_nm / 1000)
