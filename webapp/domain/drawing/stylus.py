"""A spindle probe's stylus from the side, beside the form that it is typed in: to scale, free and pushed.

Rules of this module:
- Left it hangs free: from the ball's centre up to where the stylus gets thicker is its reach, the ball across
  is its diameter. Right it is pushed as far as it may be: to the side, and upwards.
- One scale for all of it, so that an overtravel that was typed ten times too large is seen.
"""

from __future__ import annotations

from typing import TypedDict

from webapp.domain.drawing.canvas import Canvas, Point
from webapp.domain.evidence.written_sheet import Said, ShapeOnSheet
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.shop.shop import Probe

WIDTH, HEIGHT = 720, 300
TEXT = 15.0
NM_PER_MM = 1_000_000
# Where the body ends, in units; how wide it is and the stylus are follows from the ball: neither is typed.
BODY_TOP, BODY_END = 14.0, 46.0
ROOM_DOWN, ROOM_ASIDE = 216.0, 96.0
HEAD = 9.0


class StylusDrawing(TypedDict):
    """The stylus, free and pushed, beside each other: 720 by 300 units."""

    width: int
    height: int
    words: Said
    shapes: list[ShapeOnSheet]


class _Measures:
    """The probe's lengths in units of the drawing."""

    def __init__(self, probe: Probe) -> None:
        radius, reach = probe.ball_diameter_nm / 2 / NM_PER_MM, probe.stylus_reach_nm / NM_PER_MM
        side, up = probe.overtravel_side_nm / NM_PER_MM, probe.overtravel_up_nm / NM_PER_MM
        down, aside = reach + radius, side + radius
        self.scale = min(ROOM_DOWN / max(down, up + radius), ROOM_ASIDE / aside)
        self.radius, self.reach = radius * self.scale, reach * self.scale
        self.side, self.up = side * self.scale, up * self.scale


def draw_stylus(probe: Probe, display: Display) -> StylusDrawing:
    """Return the stylus as it is typed; lengths are written as the display shows them."""
    canvas, measures = Canvas(text=TEXT), _Measures(probe)
    said = {
        "reach": format_length(probe.stylus_reach_nm, display, sign=False),
        "ball": format_length(probe.ball_diameter_nm, display, sign=False),
        "side": format_length(probe.overtravel_side_nm, display, sign=False),
        "up": format_length(probe.overtravel_up_nm, display, sign=False),
        "unit": display.unit.value,
    }
    _free(canvas, measures, 160.0, said)
    _pushed(canvas, measures, 430.0, said)
    words: Said = {"code": "drawing.words_stylus", "fields": {**said}}
    return {"width": WIDTH, "height": HEIGHT, "words": words, "shapes": canvas.shapes}


def _free(canvas: Canvas, measures: _Measures, x: float, said: dict[str, str]) -> None:
    centre = _probe(canvas, measures, x)
    beside = x + max(measures.radius, 34) + 26
    for y in (BODY_END, centre[1]):
        canvas.line("extension", (x, y), (beside + 6, y))
    canvas.arrow("dimension", (beside, BODY_END + 1), (beside, centre[1]), HEAD)
    canvas.words("dimension_label", (beside + 10, (BODY_END + centre[1]) / 2), "start", "drawing.reach", said)
    at = (x - measures.radius - 10, centre[1] + TEXT * 0.4)
    canvas.words("dimension_label", at, "end", "drawing.ball_across", said)


def _pushed(canvas: Canvas, measures: _Measures, x: float, said: dict[str, str]) -> None:
    centre = _probe(canvas, measures, x)
    aside, above = (centre[0] + measures.side, centre[1]), (centre[0], centre[1] - measures.up)
    for to, length in ((aside, measures.side), (above, measures.up)):
        canvas.circle("start_window", to, measures.radius)
        if length > HEAD:
            canvas.arrow("search", centre, to, HEAD)
    label = centre[0] + max(measures.side + measures.radius, 40) + 10
    canvas.words("dimension_label", (label, centre[1] + TEXT * 0.4), "start", "drawing.pushed_aside", said)
    over = min(max(centre[1] - measures.up, BODY_END + TEXT), centre[1] - TEXT * 1.2)
    canvas.words("dimension_label", (label, over), "start", "drawing.pushed_up", said)


def _probe(canvas: Canvas, measures: _Measures, x: float) -> Point:
    """Draw body, stylus and ball hanging at x; the ball's centre."""
    centre = (x, BODY_END + measures.reach)
    canvas.line("spindle_line", (x, 4), (x, HEIGHT - 4))
    canvas.box("fixed_jaw", (x - 34, BODY_TOP), (x + 34, BODY_END))
    thick = max(measures.radius * 0.5, 1.5)
    canvas.box("ball", (x - thick, BODY_END), (x + thick, centre[1]))
    canvas.circle("ball", centre, measures.radius)
    canvas.circle("ball_centre", centre, 2.5)
    return centre
