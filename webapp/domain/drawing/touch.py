"""One touch in millimetres and directions of the page, as the parts of its drawing need it."""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.plain.errors import Fields
from webapp.domain.plain.lengths import MINUS


@dataclass(frozen=True)
class Touch:
    """One touch. Lengths in millimetres; `normal` and `clamping_direction` are +1 or -1.

    `gap_low`, `gap_high` and `range` are None when no approach could be worked out.
    `labels` holds the same lengths as text in the machine's unit and resolution.
    """

    axis: str
    normal: int
    face: str
    ball: float
    gap_low: float | None
    gap_high: float | None
    range: float | None
    length: float
    thickness: float
    height: float
    opening: float
    clamping_axis: str
    clamping_direction: int
    labels: Fields

    @property
    def search_label(self) -> str:
        """Return the direction of the search with its sign, such as "X+"."""
        return f"{self.axis}{MINUS if self.normal > 0 else '+'}"

    @property
    def view(self) -> str:
        """Return "side" for a touch on top, else "plan"."""
        return "side" if self.axis == "Z" else "plan"

    @property
    def upright(self) -> bool:
        """Tell whether the search runs up or down the page."""
        return self.axis == self.view_axes[1]

    @property
    def view_axes(self) -> tuple[str, str]:
        """Return the machine axes that point to the right and up in the drawing."""
        return (self.clamping_axis, "Z") if self.view == "side" else ("X", "Y")
