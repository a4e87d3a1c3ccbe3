"""The marks that a drawing is made of: plain numbers, roles and words, ready for JSON.

Rules of this module:
- A shape names what it stands for (its role), never a colour:
  the page and the printed record give roles their looks.
- Coordinates are drawing units, x to the right, y down,
  rounded to a tenth, so that a drawing has one JSON text.
- Sections are hatched at 45 degrees (ISO 128-3, from memory).
  The lines are worked out here as plain segments, so no reader of the drawing needs patterns or clipping.
- A cut is drawn as a long thin line with a zigzag (ISO 128-3, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from webapp.domain.evidence.written_sheet import ShapeOnSheet

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

ZIGZAG = 7.0


def tenth(value: float) -> float | int:
    """Return the value rounded to a tenth, as an integer when it is whole."""
    rounded = round(value, 1)
    return int(rounded) if rounded == int(rounded) else rounded


def path_text(points: Sequence[Point], closed: bool = False) -> str:
    """Return straight lines through the points as path text: "M1 2L3 4", with "Z" when closed."""
    text = "L".join(f"{tenth(x)} {tenth(y)}" for x, y in points)
    return f"M{text}{'Z' if closed else ''}"


@dataclass
class Canvas:
    """Collects shapes in the order they are drawn. `text` is the size of ordinary text in drawing units."""

    text: float
    shapes: list[ShapeOnSheet] = field(default_factory=list)

    def rect(self, role: str, x: float, y: float, width: float, height: float) -> None:
        """Add a rectangle with its upper left corner at x, y."""
        numbers: ShapeOnSheet = {"x": tenth(x), "y": tenth(y), "width": tenth(width), "height": tenth(height)}
        self.shapes.append({"kind": "rect", "role": role, **numbers})

    def box(self, role: str, one: Point, other: Point) -> None:
        """Add a rectangle with two opposite corners at the points."""
        (x1, y1), (x2, y2) = one, other
        self.rect(role, min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1))

    def circle(self, role: str, centre: Point, radius: float) -> None:
        """Add a circle."""
        numbers: ShapeOnSheet = {"cx": tenth(centre[0]), "cy": tenth(centre[1]), "r": tenth(radius)}
        self.shapes.append({"kind": "circle", "role": role, **numbers})

    def line(self, role: str, start: Point, end: Point) -> None:
        """Add a straight line."""
        start_at: ShapeOnSheet = {"x1": tenth(start[0]), "y1": tenth(start[1])}
        end_at: ShapeOnSheet = {"x2": tenth(end[0]), "y2": tenth(end[1])}
        self.shapes.append({"kind": "line", "role": role, **start_at, **end_at})

    def path(self, role: str, text: str) -> None:
        """Add a path; an empty one is left out."""
        if text:
            self.shapes.append({"kind": "path", "role": role, "d": text})

    def arrow(self, role: str, start: Point, end: Point, head: float) -> None:
        """Add a line that ends in a filled head with its point at `end`; `head` is the head's length."""
        along = _towards(start, end)
        neck = (end[0] - along[0] * head, end[1] - along[1] * head)
        side = (-along[1] * head * 0.42, along[0] * head * 0.42)
        wings = [(neck[0] + side[0], neck[1] + side[1]), end, (neck[0] - side[0], neck[1] - side[1])]
        self.path(role, path_text([start, neck]) + path_text(wings, closed=True))

    def words(
        self,
        role: str,
        at: Point,
        anchor: Anchor,
        code: str,
        fields: Mapping[str, str | int] | None = None,
        size: float | None = None,
    ) -> None:
        """Add a sentence of the catalogue; `at` is the left, middle or right end of its base line."""
        self._text(role, at, anchor, size or self.text, {"code": code, "fields": dict(fields or {})})

    def mark(self, role: str, at: Point, anchor: Anchor, text: str, size: float) -> None:
        """Add a short text that is the same in every language, such as "X+"."""
        self._text(role, at, anchor, size, {"text": text})

    def _text(self, role: str, at: Point, anchor: Anchor, size: float, said: ShapeOnSheet) -> None:
        numbers: ShapeOnSheet = {"x": tenth(at[0]), "y": tenth(at[1]), "size": tenth(size)}
        self.shapes.append({"kind": "text", "role": role, "anchor": anchor, **numbers, **said})


def _towards(start: Point, end: Point) -> Point:
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    return ((end[0] - start[0]) / length, (end[1] - start[1]) / length)


def cut_line(start: Point, end: Point) -> list[Point]:
    """Return the points of a cut from start to end: straight, with one zigzag in the middle."""
    (x, y), length = _towards(start, end), math.hypot(end[0] - start[0], end[1] - start[1])

    def at(along: float, aside: float) -> Point:
        return (start[0] + x * along - y * aside, start[1] + y * along + x * aside)

    middle = length / 2
    zigzag = [
        at(middle - ZIGZAG, 0),
        at(middle - ZIGZAG / 2, ZIGZAG),
        at(middle + ZIGZAG / 2, -ZIGZAG),
        at(middle + ZIGZAG, 0),
    ]
    return [start, *(zigzag if length > 4 * ZIGZAG else []), end]


def hatch(corners: Sequence[Point], spacing: float) -> str:
    """Return 45 degree lines inside a closed outline as path text.

    `spacing` is the distance along x between lines. The lines x + y = constant are cut with every side of the
    outline; between an odd and the next even crossing lies the inside (even-odd rule).
    """
    sums = [x + y for x, y in corners]
    first = math.floor(min(sums) / spacing) + 1
    pieces = []
    for number in range(first, math.ceil(max(sums) / spacing)):
        crossings = sorted(_crossings(corners, number * spacing))
        pieces += [
            path_text([one, other]) for one, other in zip(crossings[::2], crossings[1::2], strict=False)
        ]
    return "".join(pieces)


def _crossings(corners: Sequence[Point], total: float) -> list[Point]:
    """Return where the line x + y = total crosses the sides of the outline."""
    found = []
    for (x1, y1), (x2, y2) in zip(corners, [*corners[1:], corners[0]], strict=True):
        one, other = x1 + y1 - total, x2 + y2 - total
        if (one <= 0) != (other <= 0):
            part = one / (one - other)
            found.append((x1 + (x2 - x1) * part, y1 + (y2 - y1) * part))
    return found
