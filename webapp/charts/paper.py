"""What all charts share: sizes, colours by role, fonts, and a figure laid out in whole units.

Rules of this module:
- A unit of the figure is a unit of the SVG (72 dots an inch). Each chart is laid out twice,
  for wide and for narrow places, so that its text is never smaller than the page's second voice.
- Colours are roles: each has a fallback for paper,
  and a class by which a page's theme takes its place (see `svg`).
- Matplotlib is loaded when the first chart is drawn, not before:
  it takes a second that no other page should wait for.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from webapp import fonts
from webapp.colours import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DRAWN_WITH = ("plate", "tint", "ink", "soft", "rule", "hair", "ask", "stop", "focus")
PAPER, TINT, INK, SOFT, RULE, HAIR, ASK, STOP, FOCUS = (LIGHT[name] for name in DRAWN_WITH)
ROLES = {LIGHT[name]: name for name in DRAWN_WITH}
DOTS_PER_INCH = 72
FIGURE_WIDTH = 0.62  # of the size: all figures of our typeface have one width

# Matplotlib's own state (its settings and its fonts) is shared by the whole process.
drawing = threading.RLock()


@dataclass(frozen=True)
class Layout:
    """One way to lay a chart out, in units: width, text size, heights of the panels, margins."""

    name: str
    width: int
    text: float
    panels: tuple[int, ...]
    gap: int
    top: int
    bottom: int
    right: int
    most_points: int

    @property
    def height(self) -> int:
        """Return the height of the whole."""
        return self.top + sum(self.panels) + self.gap * (len(self.panels) - 1) + self.bottom


def text_width(text: str, size: float) -> float:
    """Return about how wide a number is."""
    return len(text) * size * FIGURE_WIDTH


@lru_cache(maxsize=1)
def _family() -> str:
    from matplotlib import font_manager  # noqa: PLC0415 - see the rules of this module

    path = str(fonts.font_files()["regular"])
    font_manager.fontManager.addfont(path)
    return str(font_manager.FontProperties(fname=path).get_name())


def warm_up() -> None:
    """Load what the first chart needs, so that nobody waits for it:
    a server does this beside its first requests.
    """
    from matplotlib.backends import backend_svg  # noqa: F401, PLC0415 - see the rules of this module
    from matplotlib.figure import Figure  # noqa: F401, PLC0415 - the same

    with drawing:
        _family()


def settings(layout: Layout) -> Any:
    """Return Matplotlib's settings for one drawing:
    text stays text, nothing depends on chance or on the time.
    """
    return {
        "font.family": _family(),
        "font.size": layout.text,
        "svg.fonttype": "none",
        "svg.hashsalt": "zerokeep",
        "text.color": INK,
        "axes.edgecolor": RULE,
        "axes.facecolor": PAPER,
        "axes.linewidth": 1.0,
        "axes.unicode_minus": True,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "path.simplify": False,
    }


def blank(layout: Layout, left: float) -> tuple[Figure, list[Axes]]:
    """Return an empty figure with its panels from top to bottom, inside `settings(layout)`."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - see the rules of this module

    width, height = layout.width, layout.height
    figure = Figure(figsize=(width / DOTS_PER_INCH, height / DOTS_PER_INCH), dpi=DOTS_PER_INCH)
    figure.patch.set_visible(False)
    axes, top = [], height - layout.top
    for panel in layout.panels:
        box = (left / width, (top - panel) / height, (width - left - layout.right) / width, panel / height)
        axes.append(_panel(figure.add_axes(box)))
        top -= panel + layout.gap
    return figure, axes


def _panel(axes: Axes) -> Axes:
    """Open on the right and at the top; no tick marks, whose shapes would need identifiers."""
    axes.tick_params(length=0, pad=6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.patch.set_visible(False)
    return axes
