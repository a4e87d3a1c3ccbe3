"""A drawing as SVG text, for the printed record and the desk's pages.

Rules of this module:
- The elements are those that `static/js/ui/drawing.js` makes: same order, same attributes. This module adds
  how each role is painted, as presentation attributes; a page's style sheet overrides them by class, since
  presentation attributes yield to every rule of a sheet (SVG 2, section 6.6).
- No inline style, no identifiers, nothing that refers to anything outside.
- Looks: ink on paper; what is dashed or hatched stays so in a greyscale print.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from xml.etree import ElementTree as ET

from webapp.colours import LIGHT, PRINTED_HAIR

Say = Callable[[str, Mapping[str, Any]], str]

SVG = "http://www.w3.org/2000/svg"
INK, SOFT, RULE, PAPER, TINT = (LIGHT[name] for name in ("ink", "soft", "rule", "plate", "tint"))
FONTS = "Zerokeep Sans, DejaVu Sans, Droid Sans Fallback, sans-serif"
NUMBERS = {
    "rect": ("x", "y", "width", "height"),
    "circle": ("cx", "cy", "r"),
    "line": ("x1", "y1", "x2", "y2"),
    "path": ("d",),
    "text": ("x", "y"),
}
LOOKS: dict[str, dict[str, str]] = {
    "panel": {"fill": "none", "stroke": PRINTED_HAIR, "stroke-width": "1"},
    "hatch": {"fill": "none", "stroke": RULE, "stroke-width": "1"},
    "cut": {"fill": "none", "stroke": RULE, "stroke-width": "1.2"},
    "fixed_jaw": {"fill": "none", "stroke": INK, "stroke-width": "2.6", "stroke-linecap": "round"},
    "moving_jaw": {"fill": "none", "stroke": RULE, "stroke-width": "1.6", "stroke-dasharray": "7 5"},
    "start_window": {"fill": TINT, "stroke": RULE, "stroke-width": "1.4", "stroke-dasharray": "5 4"},
    "ball": {"fill": PAPER, "stroke": INK, "stroke-width": "2.2"},
    "ball_centre": {"fill": INK},
    "spindle_line": {"stroke": SOFT, "stroke-width": "1.2", "stroke-dasharray": "14 4 3 4"},
    "search": {"fill": INK, "stroke": INK, "stroke-width": "2.6", "stroke-linejoin": "round"},
    "extension": {"stroke": RULE, "stroke-width": "0.9"},
    "dimension": {"fill": SOFT, "stroke": SOFT, "stroke-width": "1.4"},
    "dimension_end": {"fill": SOFT},
    "axis": {"fill": SOFT, "stroke": SOFT, "stroke-width": "1.6", "stroke-linejoin": "round"},
    "search_label": {"fill": INK, "font-weight": "700"},
    "fixed_jaw_label": {"fill": INK, "font-weight": "600"},
    "moving_jaw_label": {"fill": SOFT},
    "dimension_label": {"fill": INK},
    "axis_label": {"fill": SOFT},
    "operator": {"fill": SOFT},
    "label": {"fill": INK},
}


def draw_svg(drawing: Mapping[str, Any], say: Say, size: str = "") -> str:
    """Return the drawing as an `svg` element in text, its title the words for a screen reader.

    `say` turns a code and its fields into a sentence.
    `size`: the wide drawing (""), the "compact" or the "small" one.
    """
    view = drawing[size] if size else drawing
    ET.register_namespace("", SVG)
    svg = ET.Element(
        f"{{{SVG}}}svg",
        {
            "class": f"drawing {size}".strip(),
            "viewBox": f"0 0 {view['width']} {view['height']}",
            "role": "img",
            "font-family": FONTS,
        },
    )
    words = drawing["words"]
    ET.SubElement(svg, f"{{{SVG}}}title").text = say(words["code"], words["fields"])
    for shape in view["shapes"]:
        _add(svg, shape, say)
    return ET.tostring(svg, encoding="unicode")


def _add(svg: ET.Element, shape: Mapping[str, Any], say: Say) -> None:
    attributes = {"class": shape["role"]}
    attributes |= {name: str(shape[name]) for name in NUMBERS[shape["kind"]]}
    if shape["kind"] == "text":
        attributes |= {"text-anchor": shape["anchor"], "font-size": str(shape["size"])}
    element = ET.SubElement(svg, f"{{{SVG}}}{shape['kind']}", attributes | LOOKS[shape["role"]])
    if shape["kind"] == "text":
        element.text = say(shape["code"], shape["fields"]) if "code" in shape else shape["text"]
