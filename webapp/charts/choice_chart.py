"""The curve of possible choices:
how far out the ask line lies and which shift it catches, and what it asks by chance.

Rules of this module:
- Along: one false ask in so many setups, each choice as far from the next as it is many times rarer
  (logarithmic).
- The first panel shows two distances from the usual, the ask line and the shift that is caught nine times in
  ten; the second the false asks in 100 setups, floor and ceiling included, on a logarithmic scale.
- Each dot leads to the page that looks at that choice;
  a diamond marks the choice that the page is about, a dashed line the one that holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from webapp.charts.paper import INK, RULE, SOFT, TINT, Layout, blank, drawing, settings, text_width
from webapp.charts.scales import LengthScale, length_scale
from webapp.charts.svg import Point, picture
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.limits import Line

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDE = Layout("wide", 860, 14.5, (250, 130), 46, 30, 46, 138, 0)
NARROW = Layout("narrow", 360, 13.5, (240, 130), 46, 46, 44, 12, 0)
LAYOUTS = (WIDE, NARROW)
LEAST_RATE = 1e-4
Say = Callable[[str, Mapping[str, Any]], str]


@dataclass(frozen=True)
class Curve:
    """What is drawn: the choices, rarest last, the line that holds and the one that the page is about."""

    lines: tuple[Line, ...]
    now: Line
    shown: Line
    stop_nm: int


def choice_charts(
    curve: Curve, axis: str, words: str, display: Display, say: Say, href: Callable[[int], str | None]
) -> tuple[str, ...]:
    """Return the curve as SVG, for wide places and for narrow ones.
    `href` gives the address that looks at a choice.
    """
    with drawing:
        return tuple(_draw(layout, curve, axis, words, display, say, href) for layout in LAYOUTS)


def _draw(
    layout: Layout, curve: Curve, axis: str, words: str, display: Display, say: Say,
    href: Callable[[int], str | None],
) -> str:  # fmt: skip
    from matplotlib import rc_context  # noqa: PLC0415 - loaded with the first chart

    lines = sorted({*curve.lines, curve.now, curve.shown}, key=lambda line: line.one_in)
    longest = max(max(line.caught_nm, line.ask_nm) for line in lines)
    scale = length_scale(0, max(longest, curve.stop_nm), display, 5, sign=False, from_zero=True)
    left = max(text_width(label, layout.text) for label in [*scale.labels, "0.001"]) + 12
    with rc_context(settings(layout)):
        figure, (lengths, rates) = blank(layout, left)
        _frame(lengths, lines, say("chart.lengths", {"unit": display.unit.value}))
        _frame(rates, lines, say("chart.false_asks", {}))
        _lengths(lengths, layout, scale, lines, say)
        _rates(rates, lines)
        _choices(rates, layout, lines, say)
        for axes in (lengths, rates):
            axes.axvline(
                math.log10(curve.now.one_in), color=SOFT, linewidth=1.1, linestyle=(0, (6, 4)), zorder=1.5
            )
        _name(lengths, layout, curve, say)
        points = list(_points(curve, lines, scale, display, say, href))
        marks = [(lengths, [point for point, _ in points]), (rates, [rate for _, rate in points])]
        return picture(figure, layout, say("chart.choice_title", {"axis": axis}), words, marks, 3.4)


def _frame(axes: Axes, lines: Sequence[Line], words: str) -> None:
    low, high = math.log10(lines[0].one_in), math.log10(lines[-1].one_in)
    room = 0.03 * (high - low) or 0.1
    axes.set_xlim(low - room, high + room)
    axes.set_xticks([])
    axes.text(0, 1.04, words, transform=axes.transAxes, color=INK, ha="left", va="bottom")


def _lengths(axes: Axes, layout: Layout, scale: LengthScale, lines: Sequence[Line], say: Say) -> None:
    axes.set_ylim(scale.at(scale.low_nm), scale.at(scale.high_nm))
    axes.set_yticks([scale.at(tick) for tick in scale.ticks_nm], scale.labels)
    at = [math.log10(line.one_in) for line in lines]
    asks = [scale.at(line.ask_nm) for line in lines]
    caught = [scale.at(line.caught_nm) for line in lines]
    axes.fill([at[0], *at, at[-1]], [0, *asks, 0], color=TINT, linewidth=0, zorder=1.0)
    axes.plot(at, asks, color=INK, linewidth=1.6, zorder=2.5)
    axes.plot(at, caught, color=RULE, linewidth=1.6, linestyle=(0, (7, 3)), zorder=2.5)
    if layout.right < 100:
        for height, code in ((asks[-1], "chart.ask_line"), (caught[-1], "chart.caught_line")):
            axes.annotate(say(code, {}), (at[-1], height), (0, 5), textcoords="offset points", color=INK,
                          ha="right", va="bottom", annotation_clip=False)  # fmt: skip
        return
    for height, code in ((asks[-1], "chart.ask_line"), (caught[-1], "chart.caught_line")):
        axes.annotate(say(code, {}), (1, height), (8, 0), xycoords=("axes fraction", "data"),
                      textcoords="offset points", color=INK, va="center", annotation_clip=False)  # fmt: skip


def _rates(axes: Axes, lines: Sequence[Line]) -> None:
    rates = [max(line.false_asks_per_100, LEAST_RATE) for line in lines]
    axes.set_yscale("log")
    low, high = math.floor(math.log10(min(rates))), math.ceil(math.log10(max(rates)))
    high = max(high, low + 1)  # where the floor rules, every choice may ask as rarely
    axes.set_ylim(10.0**low, 10.0**high)
    powers = range(low, high + 1)
    ticks = [10.0**power for power in powers]
    axes.set_yticks(ticks, [f"{tick:g}" if tick >= 0.001 else "0.0001" for tick in ticks])
    axes.minorticks_off()
    axes.plot([math.log10(line.one_in) for line in lines], rates, color=INK, linewidth=1.6, zorder=2.5)


def _choices(axes: Axes, layout: Layout, lines: Sequence[Line], say: Say) -> None:
    """Write the round choices along the foot:
    1, 2 and 5 times a power of ten, on a narrow sheet the powers.
    """
    first_digits = "1" if layout.right < 100 else "125"
    for line in lines:
        if str(line.one_in)[0] in first_digits and not str(line.one_in)[1:].strip("0"):
            axes.annotate(str(line.one_in), (math.log10(line.one_in), 0), (0, -6), textcoords="offset points",
                          xycoords=("data", "axes fraction"), color=SOFT, ha="center", va="top",
                          annotation_clip=False)  # fmt: skip
    axes.annotate(say("chart.one_in", {}), (0, 0), (0, -6 - 1.35 * layout.text), xycoords="axes fraction",
                  textcoords="offset points", color=INK, ha="left", va="top",
                  annotation_clip=False)  # fmt: skip


def _name(axes: Axes, layout: Layout, curve: Curve, say: Say) -> None:
    """Say at the foot of the dashed line that it is the choice that holds."""
    place = math.log10(curve.now.one_in)
    low, high = axes.get_xlim()
    side = "left" if (place - low) / (high - low) < 0.5 else "right"
    axes.annotate(say("chart.now", {"one_in": curve.now.one_in}), (place, 0),
                  (5 if side == "left" else -5, 6), xycoords=("data", "axes fraction"),
                  textcoords="offset points", color=INK, ha=side, va="bottom",
                  fontsize=layout.text)  # fmt: skip


def _points(
    curve: Curve, lines: Sequence[Line], scale: LengthScale, display: Display, say: Say,
    href: Callable[[int], str | None],
) -> Iterable[tuple[Point, Point]]:  # fmt: skip
    for line in lines:
        fields = {
            "one_in": line.one_in,
            "ask": format_length(line.ask_nm, display, sign=False),
            "caught": format_length(math.ceil(line.caught_nm), display, sign=False),
            "unit": display.unit.value,
        }
        title, shape = say("chart.choice_point", fields), "chosen" if line == curve.shown else "choice"
        at, rate = math.log10(line.one_in), max(line.false_asks_per_100, LEAST_RATE)
        yield (
            Point(at, scale.at(line.ask_nm), shape, title, href(line.one_in)),
            Point(at, rate, shape, title, href(line.one_in)),
        )
