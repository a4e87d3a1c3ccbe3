"""What stands on the table and what hangs in the spindle, as solids, and where a move brings them together.

Rules of this module:
- Whole nanometres in machine coordinates; X and Y of the spindle's middle, Z of a tool's lowest point.
- What stands on the table is made of boxes along the axes.
  A tool is a ball, or upright columns one above the other.
- A move goes along one axis. A ball meets a box face, edge or corner where its surface first reaches it (the
  nearest point of the box across the move, by Pythagoras), so a ball beside an edge slides past or sinks
  beside it.
- A box that a tool already reaches into is not met again: leaning and leaving are `moving`'s business.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

AXES = ("X", "Y", "Z")
Values = dict[str, int]


@dataclass(frozen=True)
class Box:
    """A solid between two corners, both included."""

    name: str
    low_nm: Values
    high_nm: Values

    def beside_nm(self, axis: str, place_nm: float) -> float:
        """How far a place lies outside this box along one axis; 0 within."""
        return max(self.low_nm[axis] - place_nm, place_nm - self.high_nm[axis], 0)


@dataclass(frozen=True)
class Part:
    """One part of a tool: a ball (low_nm to high_nm is its diameter) or a column,
    by height above the lowest point.
    """

    name: str
    radius_nm: int
    low_nm: int
    high_nm: int
    is_ball: bool = False


@dataclass(frozen=True)
class Tool:
    """What can hang in the spindle. `length_nm` reaches from the spindle's gauge line to the lowest point."""

    number: str
    name: str
    length_nm: int
    parts: tuple[Part, ...] = field(default=())

    @property
    def ball(self) -> Part | None:
        """Its stylus ball, None where it has none."""
        return next((part for part in self.parts if part.is_ball), None)


@dataclass(frozen=True)
class Contact:
    """The first thing that a move meets: how far on, which part of the tool, which solid."""

    away_nm: int
    part: Part
    box: Box


def probe_tool(number: str, ball_diameter_nm: int, reach_nm: int, length_nm: int) -> Tool:
    """A probe: ball, stylus up to its reach above the ball's middle,
    and a body as wide as a hand is (40 mm).
    """
    radius = ball_diameter_nm // 2
    shank = min(radius + reach_nm, length_nm)
    return Tool(
        number,
        "probe",
        length_nm,
        (
            Part("ball", radius, 0, 2 * radius, is_ball=True),
            Part("stylus", radius * 3 // 5, radius, shank),
            Part("probe body", 20_000_000, shank, max(length_nm, shank)),
        ),
    )


def cutter(number: str, name: str, diameter_nm: int, length_nm: int) -> Tool:
    """A cutter or a stub: one column."""
    return Tool(number, name, length_nm, (Part(name, diameter_nm // 2, 0, length_nm),))


def first_contact(
    tool: Tool, tip_nm: Values, axis: str, direction: int, boxes: Iterable[Box]
) -> Contact | None:
    """The nearest contact ahead of a tool whose lowest point stands at `tip_nm`;
    None where nothing is in the way.
    """
    found = [
        Contact(round(away), part, box)
        for part in tool.parts
        for box in boxes
        for away in _aways(part, tip_nm, axis, direction, box)
    ]
    return min(found, key=lambda contact: contact.away_nm, default=None)


def _aways(part: Part, tip_nm: Values, axis: str, direction: int, box: Box) -> Iterator[float]:
    reach = _reach_nm(part, tip_nm, axis, box)
    if reach is None:
        return
    face = box.low_nm[axis] if direction > 0 else box.high_nm[axis]
    middle = tip_nm[axis] + (part.radius_nm if part.is_ball and axis == "Z" else 0)
    if axis == "Z" and not part.is_ball:
        middle = tip_nm["Z"] + (part.high_nm if direction > 0 else part.low_nm)
    away = (face - middle) * direction - reach
    if away >= 0:
        yield away


def _reach_nm(part: Part, tip_nm: Values, axis: str, box: Box) -> float | None:
    """How far the part's surface stands ahead of its middle where it would meet this box;
    None where it passes it.
    """
    across = [box.beside_nm(other, tip_nm[other]) for other in "XY" if other != axis]
    if part.is_ball:
        if axis != "Z":
            across.append(box.beside_nm("Z", tip_nm["Z"] + part.radius_nm))
        beside = math.hypot(*across)
        return math.sqrt(part.radius_nm**2 - beside**2) if beside < part.radius_nm else None
    if axis == "Z":
        return 0.0 if math.hypot(*across) < part.radius_nm else None
    low, high = tip_nm["Z"] + part.low_nm, tip_nm["Z"] + part.high_nm
    if high <= box.low_nm["Z"] or low >= box.high_nm["Z"]:
        return None
    return math.sqrt(part.radius_nm**2 - across[0] ** 2) if across[0] < part.radius_nm else None
