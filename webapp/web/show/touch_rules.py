"""Touches on small rules, ready for a page: the drawing, and beside it the words that say the same."""

from __future__ import annotations

from typing import TypedDict

from markupsafe import Markup

from webapp.charts.touch_rule import draw_touch_rule
from webapp.domain.plain.lengths import Display, Unit
from webapp.services.setups.at_a_glance import AxisGlance, Glance
from webapp.web.show.shown_values import Lengths


class AxisMark(TypedDict):
    """One axis as a list shows it: the rule, the verdict, and the difference (or the first value) with its
    unit; `lines` says the ask and the stop line in words.
    """

    axis: str
    rule: Markup
    verdict: str | None
    shown: str
    unit: str
    lines: str
    is_first: bool


def touch_rule(difference_nm: int | None, ask_nm: int | None, stop_nm: int | None, verdict: str) -> Markup:
    """The rule of one touch as a picture for a page."""
    # Built and escaped by an XML library.
    return Markup(draw_touch_rule(difference_nm, ask_nm, stop_nm, verdict))  # noqa: S704


def axis_marks(glance: Glance) -> list[AxisMark]:
    """The axes of a setup in the order of touching."""
    lengths = Lengths(Display(Unit(glance["unit"]), glance["decimals"]))
    return [_mark(axis, lengths) for axis in glance["axes"]]


def _mark(axis: AxisGlance, lengths: Lengths) -> AxisMark:
    touch, ask_nm, stop_nm = axis["touch"], axis["ask_nm"], axis["stop_nm"]
    difference_nm = touch["difference_nm"] if touch else None
    is_first = touch is not None and difference_nm is None
    shown = "" if touch is None else lengths.signed(touch["value_nm"] if is_first else difference_nm)
    return {
        "axis": axis["axis"],
        "rule": touch_rule(difference_nm, ask_nm, stop_nm, touch["verdict"] if touch else ""),
        "verdict": touch["verdict"] if touch else None,
        "shown": shown,
        "unit": lengths.unit,
        "lines": f"ask line {lengths.line(ask_nm)}, stop line {lengths.line(stop_nm)}" if stop_nm else "",
        "is_first": is_first,
    }
