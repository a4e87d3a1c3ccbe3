"""The close-up of a touch: the face, the ball, the start window, the search, to one scale.

Rules of this module:
- Local coordinates in millimetres: `along` from the face outward (where its normal looks), `across` along the
  face, in the direction of the machine's axis, zero at the ball. The ball stands at the middle of the face.
- The scale is the largest at which the face's width and the way of the ball fit;
  the ball never falls below a size at which it can be seen. What does not fit is cut.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.drawing.canvas import Canvas, Point, cut_line, hatch, path_text
from webapp.domain.drawing.touch import Touch

Box = tuple[float, float, float, float]

EDGE = 12.0
LEAST_JAW = 46.0
HATCH_SPACING = 11.0
COMPACT_TEXT = 14.0
SMALL_LABEL = 26.0


@dataclass(frozen=True)
class Place:
    """Where the face stands in the drawing and how millimetres become units.
    `outward` is the normal on the page.
    """

    face: Point
    scale: float
    outward: tuple[int, int]

    @property
    def upright(self) -> bool:
        """Tell whether the touch runs up or down the page."""
        return self.outward[0] == 0

    def at(self, along: float, across: float) -> Point:
        """Return the point on the page of a point in millimetres."""
        x, y = self.outward
        along, across = along * self.scale, across * self.scale
        if self.upright:
            return (self.face[0] + across, self.face[1] + y * along)
        return (self.face[0] + x * along, self.face[1] - across)


@dataclass(frozen=True)
class Body:
    """The shown part of the jaw in millimetres behind the face and to both sides of the ball, and what is
    cut.
    """

    depth: float
    low: float
    high: float
    depth_cut: bool
    low_cut: bool
    high_cut: bool


@dataclass(frozen=True)
class Layout:
    """Distances in units that differ between the wide and the compact drawing."""

    above: float
    below: float
    least_ball: float
    ball_x: float
    largest_scale: float
    window_edge: float
    least_jaw: float = LEAST_JAW
    is_bare: bool = False


WIDE = Layout(above=36, below=78, least_ball=44, ball_x=118, largest_scale=14, window_edge=12)
COMPACT = Layout(above=26, below=56, least_ball=30, ball_x=46, largest_scale=8.5, window_edge=6)
SMALL = Layout(
    above=8, below=8, least_ball=24, ball_x=120, largest_scale=6, window_edge=5, least_jaw=26, is_bare=True
)


def draw_close_up(canvas: Canvas, touch: Touch, box: Box, layout: Layout) -> None:
    """Draw the touch into the box (x, y, width, height)."""
    outward = (0, -touch.normal) if touch.upright else (touch.normal, 0)
    place, body = (_upright if outward[0] == 0 else _level)(touch, box, outward, layout)
    half = touch.ball / 2 + layout.window_edge / place.scale
    if touch.gap_low is not None:
        canvas.box("start_window", place.at(touch.gap_low, -half), place.at(gap_high(touch), half))
    _draw_moving_jaw(canvas, touch, place, box)
    _draw_fixed_jaw(canvas, place, body)
    _draw_ball(canvas, touch, place, box)
    if layout.is_bare:
        _label_bare(canvas, touch, box)
        return
    (_label_upright if place.upright else _label_level)(canvas, touch, place, body, half)


def _label_bare(canvas: Canvas, touch: Touch, box: Box) -> None:
    """Label a drawing that has room for the direction alone, at the side that the jaw leaves free."""
    x, y, width, height = box
    if touch.upright:
        canvas.mark("search_label", (x + 8, y + height / 2 + 9), "start", touch.search_label, SMALL_LABEL)
        return
    at: Point = (x + 8, y + 24) if touch.normal < 0 else (x + width - 8, y + 24)
    canvas.mark("search_label", at, "start" if touch.normal < 0 else "end", touch.search_label, SMALL_LABEL)


def _way(touch: Touch) -> float:
    """Return how far the far side of the ball may stand from the face, in millimetres."""
    return gap_high(touch) + touch.ball


def gap_high(touch: Touch) -> float:
    """Return the largest gap, or a ball's radius where no window could be worked out."""
    return touch.ball / 2 if touch.gap_high is None else touch.gap_high


def gap_middle(touch: Touch) -> float:
    """Return the gap that the ball is drawn with: the middle of the window."""
    return touch.ball / 2 if touch.gap_low is None else (touch.gap_low + gap_high(touch)) / 2


def _measures(touch: Touch) -> tuple[float, float]:
    """Return the jaw's whole depth behind the touched face and the face's width across, in millimetres."""
    if touch.face in {"left_end", "right_end"}:
        return touch.length, touch.thickness
    if touch.face in {"front", "back"}:
        return touch.thickness, touch.length
    return touch.height, touch.thickness


def _body(depth: float, width: float, room: tuple[float, float, float]) -> Body:
    """Return the part of the jaw that fits into the room behind the face, to the low and to the high side."""
    back, low, high = room
    half = width / 2
    return Body(min(depth, back), min(half, low), min(half, high), depth > back, half > low, half > high)


def _level(touch: Touch, box: Box, outward: tuple[int, int], layout: Layout) -> tuple[Place, Body]:
    """Place a touch that runs along the page: the whole face if its ball stays large enough to be seen."""
    x, y, width, height = box
    depth, across = _measures(touch)
    room = height - layout.above - layout.below
    scale = max(room / across, layout.least_ball / touch.ball)
    scale = min(scale, width * 0.5 / _way(touch), layout.largest_scale)
    outside = _way(touch) * scale + EDGE
    face = (x + outside if outward[0] < 0 else x + width - outside, y + layout.above + room / 2)
    half_room = room / 2 / scale
    behind = (width - outside - EDGE) / scale
    return Place(face, scale, outward), _body(depth, across, (behind, half_room, half_room))


def _upright(touch: Touch, box: Box, outward: tuple[int, int], layout: Layout) -> tuple[Place, Body]:
    """Place a touch that runs up or down the page:
    the ball stands left of the middle, beside it the dimensions.
    """
    x, y, width, height = box
    depth, across = _measures(touch)
    room = height - layout.above - EDGE
    scale = min((room - layout.least_jaw) / _way(touch), layout.largest_scale)
    jaw = min(room - _way(touch) * scale, depth * scale)
    face_y = y + layout.above + jaw if outward[1] > 0 else y + height - layout.above - jaw
    sides = (layout.ball_x - EDGE) / scale, (width - layout.ball_x - EDGE) / scale
    place = Place((x + layout.ball_x, face_y), scale, outward)
    return place, _body(depth, across, (jaw / scale, *sides))


def _draw_fixed_jaw(canvas: Canvas, place: Place, body: Body) -> None:
    corners = [
        place.at(0, -body.low),
        place.at(0, body.high),
        place.at(-body.depth, body.high),
        place.at(-body.depth, -body.low),
    ]
    cuts = [False, body.high_cut, body.depth_cut, body.low_cut]
    sides = list(zip(corners, [*corners[1:], corners[0]], cuts, strict=True))
    outline: list[Point] = []
    for start, end, cut in sides:
        outline += (cut_line(start, end) if cut else [start, end])[:-1]
    canvas.path("hatch", hatch(outline, HATCH_SPACING))
    for start, end, cut in sides:
        if cut:
            canvas.path("cut", path_text(cut_line(start, end)))
        else:
            canvas.line("fixed_jaw", start, end)


def _draw_moving_jaw(canvas: Canvas, touch: Touch, place: Place, box: Box) -> None:
    """Draw the moving jaw's clamping face where it comes into the close-up."""
    if touch.face != "front":
        return
    left, right = place.at(touch.opening, 0), place.at(touch.opening, 0)
    if box[1] < left[1] < box[1] + box[3] and place.upright:
        canvas.line("moving_jaw", (box[0] + EDGE, left[1]), (box[0] + box[2] - EDGE, right[1]))
    elif box[0] < left[0] < box[0] + box[2] and not place.upright:
        canvas.line("moving_jaw", (left[0], box[1] + EDGE), (right[0], box[1] + box[3] - EDGE))


def _draw_ball(canvas: Canvas, touch: Touch, place: Place, box: Box) -> None:
    centre_along = gap_middle(touch) + touch.ball / 2
    centre = place.at(centre_along, 0)
    canvas.circle("ball", centre, touch.ball / 2 * place.scale)
    if touch.view == "side":
        canvas.line("spindle_line", place.at(gap_middle(touch) + touch.ball, 0), (centre[0], box[1] + 4))
    canvas.circle("ball_centre", centre, 2.5)
    canvas.arrow("search", centre, place.at(0, 0), 13)


def _label_level(canvas: Canvas, touch: Touch, place: Place, body: Body, half: float) -> None:
    """Label a touch that runs along the page: dimensions stand below the jaw."""
    text = canvas.text
    top, bottom = place.at(0, body.high)[1], place.at(0, -body.low)[1]
    jaw_middle = place.at(-body.depth / 2, 0)[0]
    canvas.words("fixed_jaw_label", (jaw_middle, top - 10), "middle", "drawing.fixed_jaw")
    above_ball = place.at(gap_middle(touch) + touch.ball / 2, half)
    canvas.mark("search_label", (above_ball[0], above_ball[1] - 7), "middle", touch.search_label, text * 1.5)
    if touch.range is None:
        canvas.words("label", (jaw_middle, bottom + text * 1.5), "middle", "drawing.no_window")
        return
    _level_dimensions(canvas, touch, place, (bottom, place.at(0, -half)[1]))


def _level_dimensions(canvas: Canvas, touch: Touch, place: Place, below: Point) -> None:
    """Draw the gap and under it the range; `below` holds the lower ends of jaw and window on the page."""
    text, outward = canvas.text, place.outward[0]
    first, second = below[0] + text * 1.1, below[0] + text * 2.7
    face, far = place.face[0], place.at(gap_high(touch), 0)[0]
    near, end = (place.at(gap, 0)[0] for gap in (gap_middle(touch), gap_middle(touch) - (touch.range or 0)))
    canvas.line("extension", (face, below[0] + 3), (face, first + 6))
    for gap in (touch.gap_low or 0, gap_high(touch)):
        x = place.at(gap, 0)[0]
        canvas.line("extension", (x, below[1]), (x, first + 6))
    canvas.line("extension", (near, place.face[1]), (near, second + 6))
    _dimension(canvas, (face, first), (far, first))
    _dimension(canvas, (near, second), (end, second), arrow_at_end=True)
    for code, x, y in (("gap", face, first), ("range", end, second)):
        at = (x - outward * 9, y + text * 0.4)
        canvas.words(
            "dimension_label", at, "start" if outward < 0 else "end", _code(canvas, code), touch.labels
        )


def _code(canvas: Canvas, code: str) -> str:
    return f"drawing.{code}" if canvas.text > COMPACT_TEXT else f"drawing.{code}_short"


def _label_upright(canvas: Canvas, touch: Touch, place: Place, body: Body, half: float) -> None:
    """Label a touch that runs up or down the page: dimensions stand to the right of the ball."""
    text, outward = canvas.text, place.outward[1]
    middle, back = place.at(-body.depth, (body.high - body.low) / 2)
    aside = text * 1.3 if outward < 0 else -text * 0.6
    canvas.words("fixed_jaw_label", (middle, back + aside), "middle", "drawing.fixed_jaw")
    right, beyond = place.at(gap_middle(touch) + touch.ball, half)
    search_y = beyond + (text * 1.3 if outward > 0 else 4)
    canvas.mark("search_label", (right - 6, search_y), "start", touch.search_label, text * 1.5)
    if touch.range is None:
        at = (right + 10, place.face[1] + outward * text * 2)
        canvas.words("label", at, "start", "drawing.no_window")
        return
    _upright_dimensions(canvas, touch, place, right)


def _upright_dimensions(canvas: Canvas, touch: Touch, place: Place, right: float) -> None:
    """Draw the range and beside it the gap, from `right` on;
    their labels stand at the ends of their lines.
    """
    text, outward = canvas.text, place.outward[1]
    range_x, gap_x, label_x = (right + text * part for part in (0.55, 1.5, 2.1))
    near, far = place.at(gap_middle(touch), 0)[1], place.at(gap_high(touch), 0)[1]
    for gap in (touch.gap_low or 0, gap_high(touch)):
        y = place.at(gap, 0)[1]
        canvas.line("extension", (right, y), (gap_x + 5, y))
    canvas.line("extension", (place.face[0], near), (label_x - 4, near))
    end = place.at(gap_middle(touch) - (touch.range or 0), 0)[1]
    _dimension(canvas, (range_x, near), (range_x, end), arrow_at_end=True)
    _dimension(canvas, (gap_x, place.face[1]), (gap_x, far))
    level = near + text * 0.35
    step = max(abs(far - near), text * 1.25) * outward
    for code, y in (("range", level), ("gap", level + step)):
        canvas.words("dimension_label", (label_x, y), "start", _code(canvas, code), touch.labels)


def _dimension(canvas: Canvas, start: Point, end: Point, arrow_at_end: bool = False) -> None:
    """Draw a dimension line with a stroke at both ends, or with a dot at its start and a head at its end."""
    if arrow_at_end:
        canvas.circle("dimension_end", start, 2.2)
        canvas.arrow("dimension", start, end, 8)
        return
    canvas.line("dimension", start, end)
    for x, y in (start, end):
        canvas.line("dimension", (x - 4, y + 4), (x + 4, y - 4))
