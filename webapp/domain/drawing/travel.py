"""The ends of a machine's travel beside the form that they are typed in: X and Y from above, Z beside it.

Rules of this module:
- One scale for all three axes, so that an end that was typed ten times too large is seen.
- Numbers stand where they lie, the smaller one left or below; an arrow goes from what was typed as the low
  end to what was typed as the high one. Where they were typed the wrong way round it points against the
  others, the outline is broken, and words say so.
- An axis that is not typed yet is drawn at three fifths of the longest, broken, its ends as question marks.
- Where a vise's touched place usually lies is marked from above alone: what Z in a row means hangs on the
  point that the machine page reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict

from webapp.domain.drawing.canvas import Canvas, Point
from webapp.domain.evidence.written_sheet import Said, ShapeOnSheet

WIDTH, HEIGHT, TEXT = 440, 288, 16.5
# The room of the view from above, and how wide and where the bar of Z is, in units.
LEFT, TOP, ACROSS, UP = 88.0, 36.0, 196.0, 176.0
BAR_LEFT, BAR_RIGHT = 330.0, 350.0
NOT_TYPED = 0.6
HEAD, APART = 10.0, 14.0
BALL = 5.0

Ends = tuple[int | None, int | None]


class TravelDrawing(TypedDict):
    """The travel from above and beside it: 440 by 288 units."""

    width: int
    height: int
    words: Said
    shapes: list[ShapeOnSheet]


@dataclass(frozen=True)
class VisePlace:
    """Where the touched place of a vise usually lies, in machine coordinates."""

    name: str
    x_nm: int
    y_nm: int


@dataclass(frozen=True)
class _Axis:
    """One axis: its ends as they were typed, and as texts."""

    name: str
    ends: Ends
    texts: tuple[str, str]

    @property
    def is_typed(self) -> bool:
        return None not in self.ends

    @property
    def is_right(self) -> bool:
        low, high = self.ends
        return low is not None and high is not None and low < high

    @property
    def length(self) -> int:
        low, high = self.ends
        return 0 if low is None or high is None else abs(high - low)

    @property
    def lowest(self) -> int:
        return min(end for end in self.ends if end is not None)

    @property
    def shown(self) -> tuple[str, str]:
        """The texts of the smaller and of the larger end."""
        low, high = self.ends
        is_turned = low is not None and high is not None and low > high
        return (self.texts[1], self.texts[0]) if is_turned else self.texts


def draw_travel(
    ends: Mapping[str, Ends], texts: Mapping[str, tuple[str, str]], vises: Sequence[VisePlace] = ()
) -> TravelDrawing | None:
    """Return the travel as far as it is typed; None while no axis has two ends that differ."""
    x, y, z = (_Axis(name, ends[name], texts[name]) for name in ("X", "Y", "Z"))
    longest = max(x.length, y.length, z.length)
    if longest == 0:
        return None
    sizes = [(one.length or longest * NOT_TYPED) for one in (x, y, z)]
    scale = min(ACROSS / sizes[0], UP / sizes[1], UP / sizes[2])
    wide, high, deep = (size * scale for size in sizes)
    canvas = Canvas(text=TEXT)
    plan = _Plan(LEFT + (ACROSS - wide) / 2, TOP + (UP - high) / 2, wide, high, scale)
    _from_above(canvas, plan, x, y)
    _beside(canvas, z, TOP + (UP - deep) / 2, deep)
    outside = [one.name for one in vises if not _vise(canvas, plan, x, y, one, vises.index(one))]
    _said(canvas, (x, y, z), outside)
    said = {one.name.lower(): " … ".join(one.texts) for one in (x, y, z)}
    words: Said = {"code": "drawing.words_travel", "fields": {**said}}
    return {"width": WIDTH, "height": HEIGHT, "words": words, "shapes": canvas.shapes}


@dataclass(frozen=True)
class _Plan:
    """The view from above: its upper left corner, its size, and units a nanometre."""

    left: float
    top: float
    wide: float
    high: float
    scale: float

    @property
    def right(self) -> float:
        return self.left + self.wide

    @property
    def bottom(self) -> float:
        return self.top + self.high


def _from_above(canvas: Canvas, plan: _Plan, x: _Axis, y: _Axis) -> None:
    canvas.words("moving_jaw_label", (LEFT + ACROSS / 2, TOP - 18), "middle", "drawing.travel_plan")
    role = _outline(x, y)
    canvas.box(role, (plan.left, plan.top), (plan.right, plan.bottom))
    under, aside = plan.bottom + APART, plan.left - APART
    _arrow(canvas, x, (plan.left, under), (plan.right, under))
    _arrow(canvas, y, (aside, plan.bottom), (aside, plan.top))
    low, high = x.shown
    line = under + TEXT * 0.35
    canvas.mark("label", (plan.left - 6, line), "end", low, TEXT)
    canvas.mark("label", (plan.right + 6, line), "start", high, TEXT)
    canvas.mark("axis_label", ((plan.left + plan.right) / 2, under + TEXT * 1.2), "middle", "X", TEXT)
    low, high = y.shown
    canvas.mark("label", (aside - 8, plan.top + TEXT * 0.7), "end", high, TEXT)
    canvas.mark("label", (aside - 8, plan.bottom - 2), "end", low, TEXT)
    canvas.mark("axis_label", (aside - 8, (plan.top + plan.bottom) / 2 + TEXT * 0.35), "end", "Y", TEXT)


def _beside(canvas: Canvas, z: _Axis, top: float, deep: float) -> None:
    canvas.words("moving_jaw_label", ((BAR_LEFT + BAR_RIGHT) / 2 + 20, TOP - 18), "middle",
                 "drawing.travel_height")  # fmt: skip
    bottom, aside = top + deep, BAR_RIGHT + APART
    canvas.box(_outline(z), (BAR_LEFT, top), (BAR_RIGHT, bottom))
    _arrow(canvas, z, (aside, bottom), (aside, top))
    low, high = z.shown
    canvas.mark("label", (aside + 8, top + TEXT * 0.7), "start", high, TEXT)
    canvas.mark("label", (aside + 8, bottom - 2), "start", low, TEXT)
    canvas.mark("axis_label", (aside + 8, (top + bottom) / 2 + TEXT * 0.35), "start", "Z", TEXT)


def _outline(*axes: _Axis) -> str:
    return "fixed_jaw" if all(one.is_right for one in axes) else "moving_jaw"


def _arrow(canvas: Canvas, axis: _Axis, smaller: Point, larger: Point) -> None:
    """From the end that was typed as low to the one that was typed as high; none where they are not there."""
    if axis.length:
        canvas.arrow("axis", *((smaller, larger) if axis.is_right else (larger, smaller)), HEAD)


def _vise(canvas: Canvas, plan: _Plan, x: _Axis, y: _Axis, vise: VisePlace, number: int) -> bool:
    """Mark the place and write its name, the next one's below; whether it lies inside."""
    if not (x.is_right and y.is_right):
        return True
    across, away = (vise.x_nm - x.lowest) * plan.scale, (vise.y_nm - y.lowest) * plan.scale
    if not (0 <= across <= plan.wide and 0 <= away <= plan.high):
        return False
    at = (plan.left + across, plan.bottom - away)
    canvas.circle("ball", at, BALL)
    canvas.circle("ball_centre", at, 2)
    is_right = across > plan.wide / 2
    beside = (at[0] + (-9 if is_right else 9), at[1] + (TEXT * 1.15 if number % 2 else -TEXT * 0.45))
    canvas.mark("label", beside, "end" if is_right else "start", vise.name[:18], TEXT - 1.5)
    return True


def _said(canvas: Canvas, axes: Iterable[_Axis], outside: Sequence[str]) -> None:
    """Below the drawing: which ends were typed the wrong way round, which vise lies outside."""
    turned = ", ".join(one.name for one in axes if one.is_typed and not one.is_right)
    lines = [("drawing.travel_turned", {"axes": turned})] if turned else []
    lines += [("drawing.travel_outside", {"name": outside[0][:18]})] if outside else []
    for number, (code, fields) in enumerate(reversed(lines)):
        at = (WIDTH / 2, HEIGHT - 8 - number * 22)
        canvas.words("fixed_jaw_label", at, "middle", code, fields)
