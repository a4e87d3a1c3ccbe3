"""A touch as a mark on a small graduated rule, with its ask band and its stop lines: everywhere the same.

Rules of this module:
- The usual stands in the middle. Ten graduations reach from it to the stop line, whatever that is worth,
  so that every rule reads alike; a touch beyond the end of the rule stands at its end.
- The place of the mark carries the meaning; its colour repeats the verdict. Numbers and words stand beside
  the rule in the page, so the picture itself is hidden from a screen reader.
- Without a usual there is nothing to measure from: the rule is bare.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

SVG = "http://www.w3.org/2000/svg"
WIDTH, HEIGHT = 176, 30
MIDDLE, EDGE = WIDTH / 2, 26.0
TO_STOP = 66.0
FARTHEST = WIDTH / 2 - 6
GRADUATIONS = 10
VERDICTS = ("agrees", "ask", "stop")


def draw_touch_rule(difference_nm: int | None, ask_nm: int | None, stop_nm: int | None, verdict: str) -> str:
    """Return the rule as an `svg` element in text. `difference_nm` is from the usual, `ask_nm` and `stop_nm`
    half-widths; None where there is no usual, or no touch.
    """
    ET.register_namespace("", SVG)
    svg = ET.Element(
        f"{{{SVG}}}svg",
        {"class": "touch-rule", "viewBox": f"0 0 {WIDTH} {HEIGHT}", "aria-hidden": "true"},
    )
    if stop_nm:
        _draw_lines(svg, ask_nm, stop_nm)
    else:
        _line(svg, "base", 0, WIDTH, EDGE, EDGE)
    if difference_nm is not None and stop_nm:
        _draw_mark(svg, place_of(difference_nm, stop_nm), verdict)
    return ET.tostring(svg, encoding="unicode")


def place_of(difference_nm: int, stop_nm: int) -> float:
    """Return where a difference stands along the rule, in its units from the left; never off its end."""
    return MIDDLE + max(-FARTHEST, min(FARTHEST, difference_nm * TO_STOP / stop_nm))


def _draw_lines(svg: ET.Element, ask_nm: int | None, stop_nm: int) -> None:
    if ask_nm:
        left, right = place_of(-ask_nm, stop_nm), place_of(ask_nm, stop_nm)
        corner = {"x": f"{left:.1f}", "y": "12", "width": f"{right - left:.1f}", "height": f"{EDGE - 12:.1f}"}
        ET.SubElement(svg, f"{{{SVG}}}rect", {"class": "ask-band", **corner})
    _line(svg, "base", 0, WIDTH, EDGE, EDGE)
    for number in range(-GRADUATIONS, GRADUATIONS + 1):
        x = MIDDLE + number * TO_STOP / GRADUATIONS
        if number in {-GRADUATIONS, GRADUATIONS}:
            _line(svg, "stop-line", x, x, 4, EDGE)
        elif number == 0:
            _line(svg, "usual", x, x, 8, EDGE)
        else:
            _line(svg, "graduation", x, x, EDGE - (9 if number % 5 == 0 else 5), EDGE)


def _draw_mark(svg: ET.Element, x: float, verdict: str) -> None:
    outline = f"M{x - 6:.1f} {EDGE - 12:.1f}L{x + 6:.1f} {EDGE - 12:.1f}L{x:.1f} {EDGE - 1:.1f}Z"
    kind = verdict if verdict in VERDICTS else "other"
    ET.SubElement(svg, f"{{{SVG}}}path", {"class": f"mark {kind}", "d": outline})


def _line(svg: ET.Element, name: str, x1: float, x2: float, y1: float, y2: float) -> None:
    places = {"x1": f"{x1:.1f}", "x2": f"{x2:.1f}", "y1": f"{y1:.1f}", "y2": f"{y2:.1f}"}
    ET.SubElement(svg, f"{{{SVG}}}line", {"class": name, **places})
