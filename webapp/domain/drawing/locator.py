"""The whole vise beside the close-up: both jaws, the touched place, where the operator stands.

Rules of this module:
- Both jaws have the measures of the fixed one; the moving jaw stands at the opening, in outline only.
- Millimetres from the middle of the fixed jaw's clamping face (its upper edge in a side view), in the view's
  axes.
"""

from __future__ import annotations

from collections.abc import Callable

from webapp.domain.drawing.canvas import Canvas, Point, hatch
from webapp.domain.drawing.touch import Touch

Box = tuple[float, float, float, float]

HATCH_SPACING = 7.0
BALL = 4.5
REACH = 24.0
NAME = 26.0


def draw_locator(canvas: Canvas, touch: Touch, box: Box) -> None:
    """Draw the vise into the box (x, y, width, height), to one scale;
    the touched place is marked, not to scale.
    """
    x, y, width, height = box
    _draw_vise(canvas, touch, (x, y, width, height - 84), REACH, (34, 20))
    canvas.rect("panel", x, y, width, height)
    middle, bottom = x + width / 2, y + height
    canvas.words("moving_jaw_label", (middle, bottom - 66), "middle", "drawing.moving_jaw")
    canvas.words("moving_jaw_label", (middle, bottom - 46), "middle", "drawing.moving_jaw_never")
    canvas.line("panel", (x + 16, bottom - 34), (x + width - 16, bottom - 34))
    canvas.words("operator", (middle, bottom - 12), "middle", _operator(touch, ""))


def draw_small_locator(canvas: Canvas, touch: Touch, box: Box) -> None:
    """Draw the vise and the axes into a narrow box."""
    x, y, width, height = box
    _draw_vise(canvas, touch, (x, y, width, height - 104), 13, (22, 9))
    canvas.rect("panel", x, y, width, height - 104)
    for line, (role, code) in enumerate(
        (
            ("moving_jaw_label", "drawing.moving_jaw_short"),
            ("moving_jaw_label", "drawing.moving_jaw_never_short"),
            ("operator", _operator(touch, "_short")),
        )
    ):
        canvas.words(role, (x + width / 2, y + height - 87 + line * 16), "middle", code)
    draw_axes(canvas, touch, (x + width / 2 - 20, y + height - 3), 22)


def draw_named_locator(canvas: Canvas, touch: Touch, box: Box) -> None:
    """Draw both jaws into a small box, and under them which one is hatched."""
    x, y, width, height = box
    _draw_vise(canvas, touch, (x, y, width, height - NAME), 11, (18, 7))
    canvas.rect("panel", x, y, width, height)
    canvas.words(
        "fixed_jaw_label", (x + width / 2, y + height - 8), "middle", "drawing.fixed_jaw", size=NAME - 4
    )


def draw_axes(canvas: Canvas, touch: Touch, foot: Point, size: float) -> None:
    """Draw the view's two axes from their common foot."""
    x, y = foot
    across, up = touch.view_axes
    canvas.arrow("axis", foot, (x + size, y), 9)
    canvas.arrow("axis", foot, (x, y - size), 9)
    canvas.mark("axis_label", (x + size + 4, y + canvas.text * 0.2), "start", f"{across}+", canvas.text)
    canvas.mark("axis_label", (x - 2, y - size - 4), "start", f"{up}+", canvas.text)


def _draw_vise(canvas: Canvas, touch: Touch, box: Box, reach: float, edges: tuple[float, float]) -> None:
    """Draw both jaws; `edges` are kept free along the search, where the ball stands, and across it."""
    x, y, width, height = box
    aside, over = edges[::-1] if touch.upright else edges
    fixed, moving = _jaws(touch)
    at = _fit(fixed, moving, (x + aside, y + over, width - 2 * aside, height - 2 * over))
    corners, moving_corners = _corners(fixed, at), _corners(moving, at)
    canvas.path("hatch", hatch(corners, HATCH_SPACING))
    canvas.box("fixed_jaw", corners[0], corners[2])
    canvas.box("moving_jaw", moving_corners[0], moving_corners[2])
    _mark(canvas, touch, at, reach)


def _jaws(touch: Touch) -> tuple[tuple[Point, Point], tuple[Point, Point]]:
    """Return the fixed and the moving jaw as two opposite corners each."""
    sign = touch.clamping_direction
    clamp = ((-sign * touch.thickness, 0.0), (sign * touch.opening, sign * (touch.opening + touch.thickness)))
    if touch.view == "side":
        boxes = [((one, -touch.height), (other, 0.0)) for one, other in clamp]
    elif touch.clamping_axis == "X":
        boxes = [((one, -touch.length / 2), (other, touch.length / 2)) for one, other in clamp]
    else:
        boxes = [((-touch.length / 2, one), (touch.length / 2, other)) for one, other in clamp]
    return boxes[0], boxes[1]


def _fit(one: tuple[Point, Point], other: tuple[Point, Point], room: Box) -> Callable[[Point], Point]:
    """Return how to turn millimetres into units so that both boxes fill the room, centred, to one scale."""
    xs = [point[0] for box in (one, other) for point in box]
    ys = [point[1] for box in (one, other) for point in box]
    x, y, width, height = room
    scale = min(width / (max(xs) - min(xs)), height / (max(ys) - min(ys)))
    middle_x, middle_y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2

    def at(point: Point) -> Point:
        return (
            x + width / 2 + (point[0] - middle_x) * scale,
            y + height / 2 - (point[1] - middle_y) * scale,
        )

    return at


def _corners(box: tuple[Point, Point], at: Callable[[Point], Point]) -> list[Point]:
    (x1, y1), (x2, y2) = box
    return [at(point) for point in ((x1, y1), (x2, y1), (x2, y2), (x1, y2))]


def _touched(touch: Touch) -> Point:
    """Return the touched place in the view's millimetres."""
    back = -touch.clamping_direction * touch.thickness
    clamp = {"front": 0.0, "back": back}.get(touch.face, back / 2)
    if touch.view == "side":
        return (clamp, 0.0)
    end = touch.normal * touch.length / 2 if touch.face in {"left_end", "right_end"} else 0.0
    return (clamp, end) if touch.clamping_axis == "X" else (end, clamp)


def _mark(canvas: Canvas, touch: Touch, at: Callable[[Point], Point], reach: float) -> None:
    """Draw the ball and the direction of its search at the touched place."""
    place = at(_touched(touch))
    outward = (0, -touch.normal) if touch.upright else (touch.normal, 0)
    ball = (place[0] + outward[0] * reach, place[1] + outward[1] * reach)
    canvas.arrow("search", ball, place, min(10.0, reach / 2))
    canvas.circle("ball", ball, BALL)


def _operator(touch: Touch, ending: str) -> str:
    if touch.view == "plan":
        return f"drawing.operator_below{ending}"
    side = "left" if touch.clamping_axis == "Y" else "front"
    return f"drawing.operator_{side}{ending}"
