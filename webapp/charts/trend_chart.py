"""The trend of one fixture's axis: values with the usual and its lines, the running average, the steps.

Rules of this module:
- Setups stand side by side in order of time, each seating apart; a dashed line parts two seatings.
- The first panel shows every value (or their outline, see `thinning`) with the usual, the band up to the ask
  line and the stop line; the second the EWMA with its limits; the third the moving range with its limit.
- Shapes carry the meaning, colour repeats it: a dot is a value, a diamond one inside a signal,
  a square a suspect, a cross one that was left out. A bar along a panel's top says where a signal lasts.
- A value beyond the panel stands at its edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from webapp.charts.paper import (
    HAIR,
    INK,
    RULE,
    SOFT,
    STOP,
    TINT,
    Layout,
    blank,
    drawing,
    settings,
    text_width,
)
from webapp.charts.scales import LengthScale, length_scale, spread_out
from webapp.charts.svg import Point, picture
from webapp.charts.thinning import thinned
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.trend import SeatingTrend, TrendPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDE = Layout("wide", 860, 14.5, (230, 130, 100), 44, 30, 46, 128, 420)
NARROW = Layout("narrow", 360, 13.5, (230, 130, 110), 44, 28, 44, 8, 140)
LAYOUTS = (WIDE, NARROW)
KINDS = {"individuals": 0, "ewma": 1, "moving_range": 2}
Say = Callable[[str, Mapping[str, Any]], str]
Href = Callable[[str], str | None]


@dataclass(frozen=True)
class Placed:
    """A seating's trend and the place of its first point from the left."""

    trend: SeatingTrend
    start: int


@dataclass(frozen=True)
class Sheet:
    """What the drawing functions share."""

    layout: Layout
    placed: tuple[Placed, ...]
    count: int
    display: Display
    say: Say
    href: Href
    dense: bool


def trend_charts(
    trends: Sequence[SeatingTrend],
    axis: str,
    words: str,
    display: Display,
    say: Say,
    href: Href,
    layouts: Sequence[Layout] = LAYOUTS,
) -> tuple[str, ...]:
    """Return the chart of these seatings, oldest first, as SVG: for wide places and for narrow ones.

    `href` gives the address of a setup's page, or None on paper. There has to be at least one value.
    """
    with drawing:
        return tuple(_draw(layout, trends, axis, words, display, say, href) for layout in layouts)


def _draw(
    layout: Layout,
    trends: Sequence[SeatingTrend],
    axis: str,
    words: str,
    display: Display,
    say: Say,
    href: Href,
) -> str:
    from matplotlib import rc_context  # noqa: PLC0415 - loaded with the first chart

    placed, start = [], 0
    for trend in trends:
        placed.append(Placed(trend, start))
        start += len(trend.points)
    sheet = Sheet(layout, tuple(placed), start, display, say, href, start > layout.most_points)
    scales = _scales(sheet)
    left = max(text_width(label, layout.text) for scale in scales for label in scale.labels) + 12
    with rc_context(settings(layout)):
        figure, panels = blank(layout, left)
        for axes, scale, code in zip(panels, scales, ("values", "average", "steps"), strict=True):
            _frame(sheet, axes, scale, f"chart.{code}")
        _dates(sheet, panels[-1])
        marks = [
            (panels[0], list(_values(sheet, panels[0], scales[0]))),
            (panels[1], list(_averages(sheet, panels[1], scales[1]))),
            (panels[2], list(_steps(sheet, panels[2], scales[2]))),
        ]
        title = say("chart.trend_title", {"axis": axis})
        return picture(figure, layout, title, words, marks, 1.7 if sheet.dense else 3.0)


def _scales(sheet: Sheet) -> tuple[LengthScale, LengthScale, LengthScale]:
    """Return the scales of the three panels:
    what counts and its lines fit; what was left out may stand at the edge.
    """
    values: list[float] = []
    averages: list[float] = []
    steps: list[float] = [0.0]
    for one in sheet.placed:
        trend, now = one.trend, one.trend.usual
        values += [point.row.value_nm for point in trend.counted]
        if now.centre_nm is not None and now.stop_nm is not None:
            values += [now.centre_nm - now.stop_nm, now.centre_nm + now.stop_nm]
        if trend.chart is not None:
            found = trend.chart
            averages += [point.ewma_nm for point in found.points]
            averages += [found.centre_nm - found.ewma_limit_nm, found.centre_nm + found.ewma_limit_nm]
            steps += [point.moving_range_nm for point in found.points if point.moving_range_nm is not None]
            steps.append(found.moving_range_limit_nm)
    values = values or [point.row.value_nm for one in sheet.placed for point in one.trend.points]
    averages = averages or values
    return (
        length_scale(min(values), max(values), sheet.display, 5),
        length_scale(min(averages), max(averages), sheet.display, 3),
        length_scale(0, max(steps), sheet.display, 3, sign=False, from_zero=True),
    )


def _frame(sheet: Sheet, axes: Axes, scale: LengthScale, code: str) -> None:
    axes.set_xlim(-0.5, max(sheet.count - 0.5, 0.5))
    axes.set_ylim(scale.at(scale.low_nm), scale.at(scale.high_nm))
    axes.set_yticks([scale.at(tick) for tick in scale.ticks_nm], scale.labels)
    axes.set_xticks([])
    words = sheet.say(code, {"unit": sheet.display.unit.value})
    axes.text(0, 1.04, words, transform=axes.transAxes, color=INK, ha="left", va="bottom")
    for one in sheet.placed[1:]:
        axes.axvline(one.start - 0.5, color=RULE, linewidth=1, linestyle=(0, (5, 4)), clip_on=False)


def _width(sheet: Sheet) -> float:
    """Return about how wide the panels are: a little less, so that what is measured by it fits."""
    return sheet.layout.width - sheet.layout.right - 90


def _dates(sheet: Sheet, axes: Axes) -> None:
    """Write the day under some setups, as many as there is room for."""
    rows = [point.row for one in sheet.placed for point in one.trend.points]
    apart = len(rows) * 1.35 * text_width("2026-01-01", sheet.layout.text) / _width(sheet)
    places = [0]
    for place in range(1, len(rows) - 1):
        # The ends are written beside their setups, not under them, so they need half as much again.
        if (
            place - places[-1] >= apart * (1.5 if len(places) == 1 else 1)
            and len(rows) - 1 - place >= 1.5 * apart
        ):
            places.append(place)
    if len(rows) > 1 and len(rows) >= 1.5 * apart:
        places.append(len(rows) - 1)
    for number, place in enumerate(places):
        side = "left" if number == 0 else "right" if place == len(rows) - 1 else "center"
        where = {"left": -0.5, "right": len(rows) - 0.5, "center": float(place)}[side]
        axes.annotate(
            rows[place].at_utc[:10],
            (where, 0),
            (0, -6),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            color=SOFT,
            ha=side,
            va="top",
            annotation_clip=False,
        )
    words = sheet.say("chart.setups", {})
    axes.annotate(
        words, (0, 0), (0, -6 - 1.35 * sheet.layout.text), xycoords="axes fraction",
        textcoords="offset points", color=INK, ha="left", va="top", annotation_clip=False,
    )  # fmt: skip


def _ends(one: Placed) -> tuple[float, float]:
    return one.start - 0.5, one.start + len(one.trend.points) - 0.5


def _line(
    axes: Axes, one: Placed, height: float, colour: str, dashes: Any = "solid", width: float = 1.4
) -> None:
    axes.plot(
        _ends(one), (height, height), color=colour, linewidth=width, linestyle=dashes, clip_on=False,
        zorder=2.0, solid_capstyle="butt",
    )  # fmt: skip


def _names(sheet: Sheet, axes: Axes, wanted: Sequence[tuple[float, str]]) -> None:
    """Write what the lines of the last seating are, beside them; on a narrow sheet the page says it."""
    if sheet.layout.right < 100:
        return
    pixel = axes.transData.inverted().transform((0, sheet.layout.text))[1]
    pixel -= axes.transData.inverted().transform((0, 0))[1]
    for height, text in spread_out(wanted, 1.05 * pixel):
        axes.annotate(
            text, (1, height), (8, 0), xycoords=("axes fraction", "data"), textcoords="offset points",
            color=INK, ha="left", va="center", annotation_clip=False,
        )  # fmt: skip


def _length(sheet: Sheet, value_nm: float, *, sign: bool = False) -> str:
    return format_length(round(value_nm), sheet.display, sign)


def _values(sheet: Sheet, axes: Axes, scale: LengthScale) -> Iterable[Point]:
    for one in sheet.placed:
        now = one.trend.usual
        if now.centre_nm is not None and now.ask_nm is not None and now.stop_nm is not None:
            low, high = scale.inside(now.centre_nm - now.ask_nm), scale.inside(now.centre_nm + now.ask_nm)
            left, right = _ends(one)
            axes.fill((left, right, right, left), (low, low, high, high), color=TINT, linewidth=0, zorder=1.0)
            for side in (-1, 1):
                _line(axes, one, scale.inside(now.centre_nm + side * now.ask_nm), SOFT, (0, (6, 4)), 1.1)
                _line(axes, one, scale.inside(now.centre_nm + side * now.stop_nm), STOP, "solid", 1.4)
            _line(axes, one, scale.inside(now.centre_nm), INK, "solid", 1.2)
        yield from _series(sheet, axes, one, lambda point: scale.inside(point.row.value_nm), "individuals")
        yield from _left_out(sheet, one, scale)
    last = sheet.placed[-1].trend.usual
    if last.centre_nm is not None and last.ask_nm is not None and last.stop_nm is not None:
        wanted = (
            (0, "chart.usual", _length(sheet, last.centre_nm, sign=True)),
            (-last.ask_nm, "chart.ask", _length(sheet, last.ask_nm)),
            (last.stop_nm, "chart.stop", _length(sheet, last.stop_nm)),
        )
        names = [
            (scale.inside(last.centre_nm + above), sheet.say(code, {"value": value}))
            for above, code, value in wanted
        ]
        _names(sheet, axes, names)


def _averages(sheet: Sheet, axes: Axes, scale: LengthScale) -> Iterable[Point]:
    last = sheet.placed[-1].trend.chart
    for one in sheet.placed:
        found = one.trend.chart
        if found is None:
            continue
        for side in (-1, 1):
            _line(axes, one, scale.at(found.centre_nm + side * found.ewma_limit_nm), STOP)
        _line(axes, one, scale.at(found.centre_nm), HAIR)
        yield from _series(sheet, axes, one, lambda point: scale.at(point.ewma_nm or 0.0), "ewma")
    if last is not None:
        words = sheet.say("chart.limit", {"value": _length(sheet, last.ewma_limit_nm)})
        _names(sheet, axes, [(scale.at(last.centre_nm + last.ewma_limit_nm), words)])


def _steps(sheet: Sheet, axes: Axes, scale: LengthScale) -> Iterable[Point]:
    last = sheet.placed[-1].trend.chart
    for one in sheet.placed:
        found = one.trend.chart
        if found is None:
            continue
        _line(axes, one, scale.at(found.moving_range_limit_nm), STOP)
        yield from _series(
            sheet, axes, one, lambda point: scale.at(point.moving_range_nm or 0), "moving_range"
        )
    if last is not None:
        words = sheet.say("chart.step_limit", {"value": _length(sheet, last.moving_range_limit_nm)})
        _names(sheet, axes, [(scale.at(last.moving_range_limit_nm), words)])


def _series(
    sheet: Sheet, axes: Axes, one: Placed, height: Callable[[TrendPoint], float], kind: str
) -> Iterable[Point]:
    """Draw the line through one panel's points and the bars of its signals; yield the points to be seen."""
    points = [point for point in one.trend.counted if kind == "individuals" or point.ewma_nm is not None]
    heights = [height(point) for point in points]
    found = one.trend.chart
    signals = [signal for signal in found.signals if signal.kind == kind] if found else []
    share = max(4, sheet.layout.most_points * len(points) // max(sheet.count, 1))
    ends = (place for signal in signals[-40:] for place in (signal.first, signal.last))
    shown = [place for place in thinned(heights, share, ends) if place or kind != "moving_range"]
    at = [_place(one, points[place]) for place in shown]
    line = 0.8 if sheet.dense else 1.1
    axes.plot(at, [heights[place] for place in shown], color=RULE, linewidth=line, clip_on=False, zorder=2.5)
    _bars(
        axes,
        [(_place(one, points[sign.since]), _place(one, points[sign.last])) for sign in signals],
    )
    named = partial(_point, sheet)
    for place, x in zip(shown, at, strict=True):
        shape = "signal" if kind in points[place].signals else "value"
        if kind == "individuals" and points[place].is_suspect:
            shape = "suspect"
        yield named(points[place], x, heights[place], shape)


def _place(one: Placed, point: TrendPoint) -> int:
    """Return the place of a point from the left."""
    return one.start + point.number - one.trend.first_number


def _bars(axes: Axes, spans: Sequence[tuple[int, int]]) -> None:
    """Draw a bar along the panel's top over each span of places: all of them are one line with gaps in it."""
    if not spans:
        return
    top = axes.get_ylim()[1]
    at = [place for first, last in spans for place in (first - 0.5, last + 0.5, math.nan)]
    axes.plot(at, [top] * len(at), color=STOP, linewidth=5, clip_on=False, solid_capstyle="butt", zorder=3)


def _left_out(sheet: Sheet, one: Placed, scale: LengthScale) -> Iterable[Point]:
    gone = [point for point in one.trend.points if point.row.left_out_reason is not None]
    for place in thinned([point.row.value_nm for point in gone], sheet.layout.most_points // 4):
        point = gone[place]
        x = _place(one, point)
        yield _point(sheet, point, x, scale.inside(point.row.value_nm), "left_out")


def _point(sheet: Sheet, point: TrendPoint, x: float, y: float, shape: str) -> Point:
    fields = {
        "number": point.number,
        "at": point.row.at_utc[:10],
        "value": _length(sheet, point.row.value_nm, sign=True),
        "unit": sheet.display.unit.value,
    }
    code = "chart.point_left_out" if shape == "left_out" else "chart.point"
    return Point(
        x, y, shape, sheet.say(code, fields), sheet.href(point.row.setup_id) if point.row.has_page else None
    )
