"""Axes, faces and directions.

Rules of this module:
- Axes are right-handed and describe the tool's motion relative to the work, whichever part really moves
  (ISO 841:2001; the facts used here are from memory). On a vertical mill seen by the operator in front of it:
  +X to the right, +Y away from the operator, +Z up, away from the work.
- A face has an outward normal n along one axis, +1 or -1: the side that is open, where the ball stands. The
  search goes the other way, d = -n. Nothing assumes that a jaw is at the back: a fixture turned on the table
  turns its normals with it.
- The surface lies one effective ball radius beyond the ball's centre, in the direction of search (common
  practice, no source).
- Direction words are codes of the words catalogue, not text.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from webapp.domain.plain.length_errors import NormalNotAlongAxisError
from webapp.domain.plain.lengths import MINUS


class Axis(StrEnum):
    """A straight axis of the machine."""

    X = "X"
    Y = "Y"
    Z = "Z"


WORDS = {
    (Axis.X, 1): "direction.to_the_right",
    (Axis.X, -1): "direction.to_the_left",
    (Axis.Y, 1): "direction.away_from_you",
    (Axis.Y, -1): "direction.towards_you",
    (Axis.Z, 1): "direction.up",
    (Axis.Z, -1): "direction.down",
}


@dataclass(frozen=True)
class Face:
    """A flat face to touch. `normal` is +1 or -1 along `axis` and points away from the material."""

    axis: Axis
    normal: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "axis", Axis(self.axis))
        if self.normal not in {1, -1}:
            raise NormalNotAlongAxisError(axis=self.axis.value, normal=self.normal)


@dataclass(frozen=True)
class Direction:
    """A way along an axis: `sense` is +1 or -1, as the tool moves relative to the work."""

    axis: Axis
    sense: int

    @property
    def label(self) -> str:
        """Return the axis and its sign, such as "X+" or "Y−" (with U+2212)."""
        return self.axis.value + ("+" if self.sense > 0 else MINUS)

    @property
    def words_code(self) -> str:
        """Return the code of the words that say where the tool goes,
        for an operator in front of the machine.
        """
        return WORDS[self.axis, self.sense]


def search_direction(face: Face) -> Direction:
    """Return the direction in which the ball searches for the face: against its normal."""
    return Direction(face.axis, -face.normal)


def turned(face: Face, quarter_turns: int) -> Face:
    """Return the face after its fixture was turned about Z by quarter turns, counter-clockwise seen from
    above.

    One quarter turn takes +X to +Y and +Y to -X; a negative number turns clockwise. Z faces stay.
    """
    if face.axis is Axis.Z:
        return face
    for _ in range(quarter_turns % 4):
        face = Face(Axis.Y, face.normal) if face.axis is Axis.X else Face(Axis.X, -face.normal)
    return face
