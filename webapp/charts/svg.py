"""From Matplotlib's SVG to one that may stand in a page.

Rules of this module:
- No style attribute, no style element, no script, no identifier, nothing that refers to anything outside but
  links to our own pages: what Matplotlib writes as inline style becomes presentation attributes (SVG 2,
  section 6.6).
- Each colour gets a class (`fill-ink`, `stroke-rule`),
  by which a page's sheet puts the theme's colour in its place; the attribute stays for paper.
- Text stays text. Points are added here as circles and diamonds, each inside a link with a title:
  the same place in the picture as Matplotlib's own transformation gives.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from webapp.charts.paper import INK, PAPER, ROLES, SOFT, STOP, Layout

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SVG = "http://www.w3.org/2000/svg"
FONTS = "Zerokeep Sans, DejaVu Sans, sans-serif"
KEPT = ("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin", "opacity",
        "fill-opacity", "stroke-opacity", "font-size", "font-weight", "text-anchor")  # fmt: skip
DROPPED = {f"{{{SVG}}}metadata", f"{{{SVG}}}defs", f"{{{SVG}}}style", f"{{{SVG}}}script"}
BARE = ("d", "x", "y", "x1", "y1", "x2", "y2", "transform")


@dataclass(frozen=True)
class Point:
    """A mark in the picture, in its panel's coordinates:
    a shape, what it says, and where it leads (or nowhere).
    """

    x: float
    y: float
    shape: str
    title: str
    href: str | None


def picture(
    figure: Figure,
    layout: Layout,
    title: str,
    words: str,
    points: Iterable[tuple[Axes, Iterable[Point]]] = (),
    size: float = 3.0,
) -> str:
    """Return the figure as an `svg` element in text: a named picture, its points on top."""
    raw = io.StringIO()
    figure.savefig(raw, format="svg", metadata={"Date": None, "Creator": None})
    root = ET.fromstring(raw.getvalue())  # noqa: S314 - written by our own library a moment ago
    ET.register_namespace("", SVG)
    svg = ET.Element(
        f"{{{SVG}}}svg",
        {
            "class": f"chart {layout.name}",
            "viewBox": f"0 0 {layout.width} {layout.height}",
            "role": "group",
            "aria-label": title,
            "font-family": FONTS,
        },
    )
    # What is inside a picture is not read out one by one; the points are links, so they stand beside it.
    drawn = ET.SubElement(svg, f"{{{SVG}}}g", {"role": "img", "aria-label": f"{title}. {words}".strip()})
    for child in root:
        _copy(child, drawn)
    for axes, marks in points:
        _add_points(svg, axes, marks, layout, size)
    return ET.tostring(svg, encoding="unicode")


def _copy(source: ET.Element, into: ET.Element) -> None:
    if source.tag in DROPPED or source.tag == f"{{{SVG}}}use":
        return
    attributes = {name: _short(name, source.get(name, "")) for name in BARE if source.get(name)}
    if attributes.get("transform", "").startswith("rotate(-0 "):
        del attributes["transform"]
    attributes |= _painted(source.get("style", ""))
    copied = ET.SubElement(into, source.tag, attributes)
    copied.text = source.text.strip() if source.text and source.tag.endswith("text") else None
    for child in source:
        _copy(child, copied)
    if copied.tag.endswith("}g") and not len(copied):
        into.remove(copied)


def _short(name: str, value: str) -> str:
    return " ".join(value.split()) if name == "d" else value


def _painted(style: str) -> dict[str, str]:
    """Return an inline style as presentation attributes, with a class for each colour that has a role."""
    found: dict[str, str] = {}
    for part in style.split(";"):
        name, _, value = part.partition(":")
        if name.strip() in KEPT:
            found[name.strip()] = value.strip().removesuffix("px")
    classes = [f"{name}-{ROLES[found[name]]}" for name in ("fill", "stroke") if found.get(name) in ROLES]
    return found | ({"class": " ".join(classes)} if classes else {})


SHAPES = {
    "value": (INK, None),
    "signal": (STOP, PAPER),
    "suspect": (PAPER, STOP),
    "left_out": (None, SOFT),
    "choice": (INK, None),
    "chosen": (PAPER, INK),
}


def _add_points(svg: ET.Element, axes: Axes, marks: Iterable[Point], layout: Layout, size: float) -> None:
    group = ET.SubElement(svg, f"{{{SVG}}}g", {"class": "points"})
    drawn = list(marks)
    places = axes.transData.transform([(mark.x, mark.y) for mark in drawn]) if drawn else ()
    for mark, (x, up) in zip(drawn, places, strict=True):
        holder = group
        if mark.href is not None:
            # The table beneath has the same links:
            # by the keyboard one goes through that, not through each point.
            holder = ET.SubElement(
                group, f"{{{SVG}}}a", {"href": mark.href, "tabindex": "-1", "aria-label": mark.title}
            )
        _add_shape(holder, mark, x, layout.height - up, size)


def _add_shape(holder: ET.Element, mark: Point, x: float, y: float, size: float) -> None:
    fill, stroke = SHAPES[mark.shape]
    paint = {
        "fill": fill or "none",
        "class": f"point {mark.shape}" + (f" fill-{ROLES[fill]}" if fill else ""),
    }
    if stroke:
        paint |= {
            "stroke": stroke,
            "stroke-width": "1.8",
            "class": f"{paint['class']} stroke-{ROLES[stroke]}",
        }
    wide = size * 1.7
    if mark.shape in {"signal", "chosen"}:
        outline = (
            f"M{x:.1f} {y - wide:.1f}L{x + wide:.1f} {y:.1f}L{x:.1f} {y + wide:.1f}L{x - wide:.1f} {y:.1f}Z"
        )
        shape = ET.SubElement(holder, f"{{{SVG}}}path", {"d": outline, **paint})
    elif mark.shape == "left_out":
        cross = f"M{x - size:.1f} {y - size:.1f}L{x + size:.1f} {y + size:.1f}"
        cross += f"M{x - size:.1f} {y + size:.1f}L{x + size:.1f} {y - size:.1f}"
        shape = ET.SubElement(holder, f"{{{SVG}}}path", {"d": cross, **paint})
    elif mark.shape == "suspect":
        corner = {
            "x": f"{x - wide:.1f}",
            "y": f"{y - wide:.1f}",
            "width": f"{2 * wide:.1f}",
            "height": f"{2 * wide:.1f}",
        }
        shape = ET.SubElement(holder, f"{{{SVG}}}rect", {**corner, **paint})
    else:
        shape = ET.SubElement(
            holder, f"{{{SVG}}}circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{size:.1f}", **paint}
        )
    ET.SubElement(shape, f"{{{SVG}}}title").text = mark.title
