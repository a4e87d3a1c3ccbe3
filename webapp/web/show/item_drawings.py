"""What a form about the shop describes, drawn to scale as far as it is typed: vise, stylus, travel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree as ET

from webapp.colours import DARK, LIGHT, PRINTED_HAIR
from webapp.domain.drawing.drawing import Vise, draw_vise
from webapp.domain.drawing.stylus import draw_stylus
from webapp.domain.drawing.travel import VisePlace, draw_travel
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.shop.asked import AXES, Kind
from webapp.domain.shop.shop import Fixture, Probe
from webapp.domain.shop.typed_item import Item, plain_length, read_typed, typed_ends
from webapp.record.svg import SVG, draw_svg
from webapp.web.show.shown_values import plain

NOT_TYPED = "?"
# The inputs of a machine's form that its drawing needs: of the rest there are too many for an address.
OF_TRAVEL = ("travel_nm.", "unit")


def drawn_from(kind: Kind, typed: Mapping[str, str]) -> dict[str, str]:
    """What of a form's answers its drawing needs."""
    return {name: text for name, text in typed.items() if kind != "machine" or name.startswith(OF_TRAVEL)}


def drawing_svg(kind: Kind, typed: Mapping[str, str], unit: str, *, dark: bool) -> str:
    """A vise or a probe as far as it is typed, as an SVG file; a sentence while too little is."""
    answered = {name: text for name, text in typed.items() if text}
    item = read_typed(kind, "drawn", {"name": "drawn", **answered}, unit).item
    try:
        text = _drawn(item, unit) if item is not None else _only_words("look.not_drawn_yet")
    except DomainError:
        text = _only_words("look.not_drawn_yet")
    return _in_theme(text, dark=dark)


def travel_svg(typed: Mapping[str, str], unit: str, vises: Sequence[VisePlace], *, dark: bool) -> str:
    """A machine's travel as far as it is typed, and where its vises usually stand."""
    ends = typed_ends(typed, unit)
    texts = {axis: (_end(ends[axis][0], unit), _end(ends[axis][1], unit)) for axis in AXES}
    found = draw_travel(ends, texts, vises)
    return _in_theme(draw_svg(found, plain) if found else _only_words("look.no_travel_yet"), dark=dark)


def _end(value_nm: int | None, unit: str) -> str:
    return NOT_TYPED if value_nm is None else plain_length(value_nm, unit).replace("-", "\u2212")


def _in_theme(text: str, *, dark: bool) -> str:
    colours = [*((LIGHT[name], DARK[name]) for name in DARK), (PRINTED_HAIR, DARK["hair"])]
    for light, other in colours if dark else ():
        text = text.replace(light, other)
    return text


def _drawn(item: Item, unit: str) -> str:
    display = Display(Unit(unit), 3 if unit == "mm" else 4)
    if isinstance(item, Probe):
        return draw_svg(draw_stylus(item, display), plain)
    if not isinstance(item, Fixture):
        return _only_words("look.not_drawn_yet")
    vise = Vise(
        item.jaw_length_nm,
        item.jaw_thickness_nm,
        item.jaw_height_nm,
        item.opening_nm,
        item.clamping_axis,
        item.clamping_direction,
    )
    return draw_svg(draw_vise(vise, item.faces, display), plain)


def _only_words(code: str) -> str:
    ET.register_namespace("", SVG)
    svg = ET.Element(f"{{{SVG}}}svg", {"viewBox": "0 0 720 300", "role": "img"})
    ET.SubElement(svg, f"{{{SVG}}}title").text = plain(code, {})
    place = {"x": "360", "y": "150", "text-anchor": "middle", "font-size": "18", "font-family": "sans-serif"}
    words = ET.SubElement(svg, f"{{{SVG}}}text", {**place, "fill": LIGHT["soft"]})
    words.text = plain(code, {})
    return ET.tostring(svg, encoding="unicode")
