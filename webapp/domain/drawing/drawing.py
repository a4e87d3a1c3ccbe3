"""The drawing of one touch, to scale, from the real measures of vise, stylus and approach.

Rules of this module:
- Directions as ISO 841: X to the right, Y away from the operator, Z up. X and Y touches are seen from above.
  A Z touch is seen along the jaw, so that both jaws show: from the operator's place when the vise clamps
  along X, from the right-hand side of the machine (Y to the right) when it clamps along Y.
- Nothing assumes where the jaw is:
  the touched face's normal and the clamping direction come from the fixture.
- The close-up is to one scale in both directions; where the jaw does not fit,
  it is cut, and the cut is drawn. The whole vise stands beside it to one smaller scale.
- The start window is where the near side of the ball may stand: gap_low to gap_high from the face.
  The range starts at the near side of the ball and runs in the search direction.
- Numbers in a drawing are in the machine's unit and resolution.
- No text is smaller than 15 units in the view 720 wide, nor than 14 in the compact view 360 wide,
  which is meant to be shown one unit to a CSS pixel or larger.
- The small view, 360 by 96, holds the touched face, the ball, its window,
  the search and its name, and both jaws with the fixed one named; no other words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypedDict

from webapp.domain.drawing.canvas import Canvas
from webapp.domain.drawing.close_up import COMPACT, COMPACT_TEXT, SMALL, WIDE, draw_close_up
from webapp.domain.drawing.locator import draw_axes, draw_locator, draw_named_locator, draw_small_locator
from webapp.domain.drawing.touch import Touch
from webapp.domain.evidence.written_sheet import ApproachOnSheet, Drawing, Said, ShapeOnSheet
from webapp.domain.plain.errors import DomainError, Fields
from webapp.domain.plain.lengths import Display, as_judged, format_length
from webapp.domain.shop.shop import FixtureFace

NM_PER_MM = 1_000_000
ENDS = ("left_end", "right_end")
SIDES = ("front", "back")
WIDE_TEXT = 16.0
WHOLE_WIDTH = 720


class DrawingError(DomainError):
    """A touch cannot be drawn from these measures."""


class DrawingMeasureNotPositiveError(DrawingError):
    """A measure that the drawing needs is zero or less."""

    code = "drawing.measure_not_positive"
    field_names = ("measure_code", "value")


class DrawingFaceUnknownError(DrawingError):
    """The face is none of left_end, right_end, front, back and top, or does not lie along the named axis."""

    code = "drawing.face_unknown"
    field_names = ("face", "axis")


@dataclass(frozen=True)
class Vise:
    """What a drawing needs to know of a vise: measures in nanometres, directions of the machine.

    `clamping_axis` ("X" or "Y") and `clamping_direction` (+1 or -1) say where the fixed jaw's clamping face
    looks, which is towards the moving jaw. `opening_nm` is the distance between the jaws.
    """

    jaw_length_nm: int
    jaw_thickness_nm: int
    jaw_height_nm: int
    opening_nm: int
    clamping_axis: str
    clamping_direction: int


def draw_touch(
    vise: Vise,
    ball_diameter_nm: int,
    approach: ApproachOnSheet | None,
    axis: str,
    face: str,
    normal: int,
    display: Display,
) -> Drawing:
    """Return the drawing of the touch of `face` along `axis`:
    720 by 300 units, compact 360 by 200, small 360 by 96.

    `normal` is +1 or -1: where the face looks along its axis. `approach` holds gap_low_nm, gap_high_nm and
    range_nm; with None the drawing shows vise, ball and direction and says that there is no start window.
    Raises a `DrawingError` for a measure that is not above zero or a face that does not lie along the axis.
    """
    _check(vise, ball_diameter_nm, axis, face)
    touch = _touch(vise, ball_diameter_nm, approach, axis, face, normal, display)
    wide, compact = Canvas(text=WIDE_TEXT), Canvas(text=COMPACT_TEXT)
    draw_close_up(wide, touch, (0, 0, 440, 300), WIDE)
    draw_axes(wide, touch, (10, 60 if touch.normal > 0 and touch.upright else 290), 36)
    draw_locator(wide, touch, (456, 8, 256, 284))
    draw_close_up(compact, touch, (0, 0, 262, 200), COMPACT)
    draw_small_locator(compact, touch, (266, 4, 90, 194))
    small = Canvas(text=COMPACT_TEXT)
    draw_close_up(small, touch, (0, 0, 240, 96), SMALL)
    draw_named_locator(small, touch, (242, 2, 116, 92))
    return {
        "view": touch.view,
        "width": 720,
        "height": 300,
        "words": _words(touch),
        "shapes": wide.shapes,
        "compact": {"width": 360, "height": 200, "shapes": compact.shapes},
        "small": {"width": 360, "height": 96, "shapes": small.shapes},
    }


class ViseDrawing(TypedDict):
    """A whole vise, as many times as it has faces that are touched."""

    width: int
    height: int
    words: Said
    shapes: list[ShapeOnSheet]


def draw_vise(vise: Vise, faces: Sequence[FixtureFace], display: Display) -> ViseDrawing:
    """Return the vise with each place that is touched, beside each other: 720 by 300 units.

    The ball is a mark and not to scale. Raises a `DrawingError` as `draw_touch` does.
    """
    canvas = Canvas(text=COMPACT_TEXT)
    width = WHOLE_WIDTH / len(faces)
    for number, face in enumerate(faces):
        _check(vise, NM_PER_MM, face.axis, face.face)
        touch = _touch(vise, NM_PER_MM, None, face.axis, face.face, face.normal, display)
        draw_locator(canvas, touch, (number * width + 4, 8, width - 8, 284))
    words: Said = {"code": "drawing.words_vise", "fields": {}}
    return {"width": WHOLE_WIDTH, "height": 300, "words": words, "shapes": canvas.shapes}


def _check(vise: Vise, ball_diameter_nm: int, axis: str, face: str) -> None:
    measures = {
        "drawing.jaw_length": vise.jaw_length_nm,
        "drawing.jaw_thickness": vise.jaw_thickness_nm,
        "drawing.jaw_height": vise.jaw_height_nm,
        "drawing.opening": vise.opening_nm,
        "drawing.ball_diameter": ball_diameter_nm,
    }
    for code, value in measures.items():
        if value <= 0:
            raise DrawingMeasureNotPositiveError(measure_code=code, value=value)
    other = {"X": "Y", "Y": "X"}.get(vise.clamping_axis, "")
    expected = {**dict.fromkeys(ENDS, other), **dict.fromkeys(SIDES, vise.clamping_axis), "top": "Z"}
    if not axis or expected.get(face) != axis:
        raise DrawingFaceUnknownError(face=face, axis=axis)


def _touch(
    vise: Vise,
    ball_nm: int,
    approach: ApproachOnSheet | None,
    axis: str,
    face: str,
    normal: int,
    display: Display,
) -> Touch:
    lengths = {
        "low": None if approach is None else approach["gap_low_nm"],
        "high": None if approach is None else approach["gap_high_nm"],
        "range": None if approach is None else approach["range_nm"],
        "ball": ball_nm,
    }
    by_eye = as_judged(display)
    shown = {
        name: format_length(value, by_eye if name in {"low", "high"} else display, sign=False)
        for name, value in lengths.items()
        if value
    }
    return Touch(
        axis=axis,
        normal=normal,
        face=face,
        ball=ball_nm / NM_PER_MM,
        gap_low=_mm(lengths["low"]),
        gap_high=_mm(lengths["high"]),
        range=_mm(lengths["range"]),
        length=vise.jaw_length_nm / NM_PER_MM,
        thickness=vise.jaw_thickness_nm / NM_PER_MM,
        height=vise.jaw_height_nm / NM_PER_MM,
        opening=vise.opening_nm / NM_PER_MM,
        clamping_axis=vise.clamping_axis,
        clamping_direction=vise.clamping_direction,
        labels={**shown, "unit": display.unit.value},
    )


def _mm(value_nm: int | None) -> float | None:
    return None if value_nm is None else value_nm / NM_PER_MM


def _words(touch: Touch) -> Said:
    """Return the sentence that says in words what the drawing shows."""
    view = touch.view if touch.view == "plan" else f"side_{touch.clamping_axis.lower()}"
    planned = "" if touch.gap_low is not None else "_without_window"
    fields: Fields = {
        **touch.labels,
        "axis": touch.axis,
        "search": touch.search_label,
        "face_code": f"drawing.face_{touch.face}",
    }
    return {"code": f"drawing.words_{view}{planned}", "fields": fields}
