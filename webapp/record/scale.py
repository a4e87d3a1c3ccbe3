"""The scale across the record's head: a graduated rule, one long mark a stage, short marks for its steps.

Rules of this module:
- Ink and length carry the meaning, not colour: a step that was done is a full stroke; one that was skipped is
  a short stroke, and the word stands under its stage; the index stands at the last stage that was reached.
- At the width that the page gives it, 910 units to 182 mm, text of 16 units is 9 pt.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from xml.etree import ElementTree as ET

from webapp.domain.record.rows import ScaleStage
from webapp.record.svg import FONTS, INK, RULE, SVG

Say = Callable[[str, Mapping[str, Any]], str]

WIDTH, HEIGHT = 910, 74
EDGE = 52
TEXT = "16"
SPREAD = 0.36
REACHED = ("done", "part")


def draw_scale(stages: Sequence[ScaleStage], say: Say) -> str:
    """Return the scale as an `svg` element in text; its title names the stages done and skipped."""
    ET.register_namespace("", SVG)
    svg = ET.Element(
        f"{{{SVG}}}svg",
        {"class": "scale", "viewBox": f"0 0 {WIDTH} {HEIGHT}", "role": "img", "font-family": FONTS},
    )
    ET.SubElement(svg, f"{{{SVG}}}title").text = say("record.scale", _named(stages))
    _line(svg, 0, WIDTH, EDGE, EDGE, "2.4", INK)
    pitch = WIDTH / len(stages)
    reached = [place for place, stage in enumerate(stages) if stage.state in REACHED]
    for place, stage in enumerate(stages):
        _draw_stage(svg, stage, (place + 0.5) * pitch, pitch, say)
    if reached:
        _draw_index(svg, (reached[-1] + 0.5) * pitch)
    return ET.tostring(svg, encoding="unicode")


def _named(stages: Sequence[ScaleStage]) -> dict[str, str]:
    groups = {"done": [], "part": [], "skipped": [], "open": []}  # type: dict[str, list[str]]
    for stage in stages:
        groups[stage.state].append(stage.short)
    return {state: ", ".join(names) or "–" for state, names in groups.items()}


def _draw_stage(svg: ET.Element, stage: ScaleStage, middle: float, pitch: float, say: Say) -> None:
    is_reached = stage.state in REACHED
    _text(svg, middle, 15, stage.short, INK if is_reached else RULE, "600" if is_reached else "400")
    _line(svg, middle, middle, 22, EDGE, "2.2" if is_reached else "1", INK if is_reached else RULE)
    count = len(stage.steps)
    for place, state in enumerate(stage.steps):
        x = middle + ((place + 0.5) / count - 0.5) * 2 * SPREAD * pitch
        done = state == "done"
        _line(svg, x, x, EDGE - (14 if done else 7), EDGE, "1.8" if done else "1", INK if done else RULE)
    if stage.state in {"skipped", "open"}:
        _text(svg, middle, 70, say(f"record.scale_{stage.state}", {}), RULE, "400")


def _draw_index(svg: ET.Element, x: float) -> None:
    points = f"M{x:.1f} {EDGE + 2}L{x + 7:.1f} {EDGE + 16}L{x - 7:.1f} {EDGE + 16}Z"
    ET.SubElement(svg, f"{{{SVG}}}path", {"d": points, "fill": INK})


def _line(svg: ET.Element, x1: float, x2: float, y1: float, y2: float, width: str, colour: str) -> None:
    places = {"x1": f"{x1:.1f}", "x2": f"{x2:.1f}", "y1": f"{y1:.1f}", "y2": f"{y2:.1f}"}
    ET.SubElement(svg, f"{{{SVG}}}line", {**places, "stroke": colour, "stroke-width": width})


def _text(svg: ET.Element, x: float, y: float, said: str, colour: str, weight: str) -> None:
    looks = {"text-anchor": "middle", "font-size": TEXT, "fill": colour, "font-weight": weight}
    ET.SubElement(svg, f"{{{SVG}}}text", {"x": f"{x:.1f}", "y": f"{y:.1f}", **looks}).text = said
