"""The drawing of the look for square:
the fixed jaw from above, two places on its face, how far apart they lie.

Rules of this module:
- Directions as ISO 841: X to the right, Y away from the operator, so up on the drawing.
  Place 2 lies towards plus.
- Jaw, balls and distance are to one scale. Roles and text sizes as in `webapp.domain.drawing.drawing`.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.drawing.canvas import Anchor, Canvas, Point, hatch, path_text
from webapp.domain.drawing.close_up import COMPACT_TEXT
from webapp.domain.drawing.drawing import Vise
from webapp.domain.evidence.written_sheet import Drawing, SquarePlan
from webapp.domain.plain.errors import Fields

WIDE_TEXT = 16.0
ARROW_HEAD, LEAST_ARROW = 11.0, 40.0
LARGEST_SCALE = 3.2


@dataclass(frozen=True)
class _Frame:
    """Maps along (towards plus of the jaw's own axis) and out (out of the jaw's face),
    in mm, onto the drawing.
    """

    middle: Point
    scale: float
    lies_along_x: bool
    looks: int

    def at(self, along: float, out: float) -> Point:
        x, y = (along, out * self.looks) if self.lies_along_x else (out * self.looks, along)
        return self.middle[0] + x * self.scale, self.middle[1] - y * self.scale


def draw_square(
    vise: Vise, ball_diameter_nm: int, plan: SquarePlan, search_label: str, apart: str
) -> Drawing:
    """Return the drawing, 720 by 300 units, with a compact one of 360 by 200.

    `apart` is the distance in words of the display, such as "100.000 mm".
    """
    wide, compact = Canvas(text=WIDE_TEXT), Canvas(text=COMPACT_TEXT)
    _draw(wide, vise, ball_diameter_nm, plan, apart, (720, 300))
    _draw(compact, vise, ball_diameter_nm, plan, apart, (360, 200))
    fields: Fields = {"axis": plan["axis"], "along": plan["along"], "search": search_label, "apart": apart}
    return {
        "view": "plan",
        "width": 720,
        "height": 300,
        "words": {"code": "drawing.words_square", "fields": fields},
        "shapes": wide.shapes,
        "compact": {"width": 360, "height": 200, "shapes": compact.shapes},
    }


def _draw(
    canvas: Canvas, vise: Vise, ball_diameter_nm: int, plan: SquarePlan, apart: str, size: tuple[int, int]
) -> None:
    length, thick, ball = vise.jaw_length_nm / 1e6, vise.jaw_thickness_nm / 1e6, ball_diameter_nm / 1e6
    lies_along_x = plan["along"] == "X"
    room = (size[0] - 90, size[1] - 140) if lies_along_x else (size[0] - 260, size[1] - 40)
    scale = min(room[0] / length, room[1] / thick) if lies_along_x else min(room[1] / length, room[0] / thick)
    scale = min(scale, LARGEST_SCALE)
    gap = max(1.5 * ball, LEAST_ARROW / scale)
    frame = _Frame((size[0] / 2, size[1] / 2), scale, lies_along_x, vise.clamping_direction)
    face = thick / 2 - (gap + ball) / 2
    corners = [frame.at(x, y) for x, y in ((-length / 2, face), (length / 2, face))]
    corners += [frame.at(x, y) for x, y in ((length / 2, face - thick), (-length / 2, face - thick))]
    canvas.path("hatch", hatch(corners, 14))
    canvas.path("fixed_jaw", path_text(corners, closed=True))
    half, centre = plan["apart_nm"] / 2e6, face + gap + ball / 2
    for number, along in (("1", -half), ("2", half)):
        canvas.arrow("search", frame.at(along, centre), frame.at(along, face), ARROW_HEAD)
        canvas.circle("ball", frame.at(along, centre), max(9.0, ball * scale / 2))
        x, y = frame.at(along, centre)
        canvas.mark("search_label", (x, y + canvas.text / 3), "middle", number, canvas.text)
    _dimension(
        canvas, frame, half, centre + max(9.0, ball * scale / 2) / scale + 16 / scale, plan["along"], apart
    )


def _dimension(canvas: Canvas, frame: _Frame, half: float, out: float, along: str, apart: str) -> None:
    """Draw how far the second place lies from the first, and which way."""
    canvas.arrow("dimension", frame.at(-half, out), frame.at(half, out), ARROW_HEAD)
    x, y = frame.at(0, out)
    text = f"{along}+ {apart}"
    anchor: Anchor = "middle"
    at = (x, y + (canvas.text + 6 if frame.looks < 0 else -8))
    if not frame.lies_along_x:
        at, anchor = (x + 8 * frame.looks, y), "start" if frame.looks > 0 else "end"
    canvas.mark("dimension_label", at, anchor, text, canvas.text)
