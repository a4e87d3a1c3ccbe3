"""Charts inside a page: drawn once for the same content, in both layouts;
the style sheet shows the one that fits.

Rules: a chart is text that our own code wrote with an XML library, every word in it escaped there;
what is kept is found by the hash of all that goes into it, so nothing stale is ever shown.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256
from threading import Lock

from markupsafe import Markup

from webapp.charts.choice_chart import Curve, choice_charts
from webapp.charts.trend_chart import WIDE, trend_charts
from webapp.domain.plain.lengths import Display
from webapp.domain.usual.trend import SeatingTrend
from webapp.web.show.shown_values import plain

MOST_KEPT = 32
Svgs = tuple[Markup, ...]

_kept: OrderedDict[str, Svgs] = OrderedDict()
_lock = Lock()


def trend(
    trends: Sequence[SeatingTrend], axis: str, words: str, display: Display, href: Callable[[str], str]
) -> Svgs:
    """The chart of these seatings' trends; nothing where they have no value."""
    if not any(one.points for one in trends):
        return ()
    return _once(
        _content(axis, words, display, *map(_seating, trends)),
        lambda: trend_charts(trends, axis, words, display, plain, href),
    )


def on_paper(trends: Sequence[SeatingTrend], axis: str, words: str, display: Display) -> str | None:
    """The wide chart of these seatings without links, for a printed page; None where they have no value."""
    if not any(one.points for one in trends):
        return None
    return trend_charts(trends, axis, words, display, plain, lambda _: None, (WIDE,))[0]


def choice(curve: Curve, axis: str, words: str, display: Display, href: Callable[[int], str | None]) -> Svgs:
    """The curve of choices."""
    links = [href(line.one_in) or "" for line in curve.lines]
    return _once(
        _content(axis, words, display, curve, links),
        lambda: choice_charts(curve, axis, words, display, plain, href),
    )


def _seating(one: SeatingTrend) -> str:
    found = one.chart
    limits = (found.centre_nm, found.sigma_nm, found.baseline) if found else None
    points = [
        (p.row.setup_id, p.row.at_utc, p.row.value_nm, p.row.left_out_reason is None) for p in one.points
    ]
    return f"{one.seating_id} {one.first_number} {one.usual} {limits} {points}"


def _content(*parts: object) -> str:
    return sha256("\n".join(map(str, parts)).encode()).hexdigest()


def _once(content: str, draw: Callable[[], Iterable[str]]) -> Svgs:
    with _lock:
        if content in _kept:
            _kept.move_to_end(content)
            return _kept[content]
    drawn = tuple(Markup(svg) for svg in draw())  # noqa: S704 - built and escaped by an XML library
    with _lock:
        _kept[content] = drawn
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return drawn
