"""A drawing as SVG: the same elements from Python and from the browser,
painted by role, nothing from outside.
"""

import functools
import http.server
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from playwright.sync_api import Page

from webapp.domain.drawing.drawing import Drawing, Vise, draw_touch
from webapp.domain.plain.lengths import Display, Unit
from webapp.record.svg import LOOKS, SVG, draw_svg
from webapp.words import catalogue, say

MM = 1_000_000
ROOT = Path(__file__).resolve().parents[2]
VISE = Vise(150 * MM, 20 * MM, 40 * MM, 60 * MM, "Y", -1)
APPROACH = {"gap_low_nm": MM, "gap_high_nm": 5_350_000, "range_nm": 6_350_000}
IN_MM = Display(Unit.MM, 3)


def drawings() -> list[Drawing]:
    touches = [("X", "left_end", -1), ("Y", "front", -1), ("Z", "top", 1)]
    planned: list[Any] = [APPROACH, None]
    return [draw_touch(VISE, 6 * MM, plan, *touch, IN_MM) for touch in touches for plan in planned]


def elements(text: str) -> list[list[Any]]:
    """Every element as name, attributes without paint, own text; in order."""
    kept = {"class", "viewBox", "role", "x", "y", "width", "height", "cx", "cy", "r", "x1", "y1", "x2", "y2",
            "d", "text-anchor", "font-size"}  # fmt: skip
    return [
        [
            element.tag.removeprefix(f"{{{SVG}}}"),
            {k: v for k, v in element.attrib.items() if k in kept},
            element.text,
        ]
        for element in ET.fromstring(text).iter()  # noqa: S314 - our own text
    ]


@pytest.fixture
def address() -> Iterator[str]:
    """The static folder served as it is, so that the browser loads the real module."""

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: Any) -> None:
            """Keep the test's output clean."""

    handler = functools.partial(Quiet, directory=str(ROOT / "static"))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()
        thread.join()


@pytest.mark.browser
def test_python_and_browser_make_the_same_elements(page: Page, address: str) -> None:
    page.goto(f"{address}/css/drawing.css")
    script = """async ([drawings, catalogue]) => {
        const {drawingSvg} = await import('/js/ui/drawing.js');
        const say = (code, fields) => catalogue[code].replace(
            /\\{(\\w+)\\}/g, (_, name) => name.endsWith('_code') ? catalogue[fields[name]] : fields[name]);
        const write = element => new XMLSerializer().serializeToString(element);
        const sizes = ['', 'compact', 'small'];
        return drawings.map(drawing => sizes.map(size => write(drawingSvg(drawing, say, size))));
    }"""
    made = page.evaluate(script, [json.loads(json.dumps(drawings())), dict(catalogue())])
    for drawing, sizes in zip(drawings(), made, strict=True):
        for size, text in zip(("", "compact", "small"), sizes, strict=True):
            assert elements(text) == elements(draw_svg(drawing, say, size))


@pytest.mark.browser
def test_the_figure_shows_the_one_drawing_whose_words_can_be_read(page: Page, address: str) -> None:
    page.goto(f"{address}/css/drawing.css")
    page.set_content(f'<link rel="stylesheet" href="{address}/css/drawing.css"><div id="place"></div>')
    script = """async ([drawing, width, height]) => {
        const {drawingFigure} = await import('/js/ui/drawing.js');
        const place = document.getElementById('place');
        Object.assign(place.style, {display: 'flex', width: width + 'px', height: height + 'px'});
        place.replaceChildren(drawingFigure(drawing, code => code));
        place.firstChild.style.flex = '1';
        return [...place.querySelectorAll('svg')].map(svg => getComputedStyle(svg).display !== 'none');
    }"""
    drawing = drawings()[0]
    assert page.evaluate(script, [drawing, 720, 300]) == [True, False, False]
    assert page.evaluate(script, [drawing, 720, 200]) == [False, True, False]
    assert page.evaluate(script, [drawing, 360, 300]) == [False, True, False]
    assert page.evaluate(script, [drawing, 720, 120]) == [False, False, True]
    assert page.evaluate(script, [drawing, 240, 300]) == [False, False, True]
    from_before = {name: part for name, part in drawing.items() if name != "small"}
    assert page.evaluate(script, [from_before, 240, 300]) == [False, True]


@pytest.mark.browser
def test_the_figure_draws_only_what_it_shows_another_size_when_it_is_shown_and_all_for_paper(
    page: Page, address: str
) -> None:
    page.goto(f"{address}/css/drawing.css")
    page.set_content(f'<link rel="stylesheet" href="{address}/css/drawing.css"><div id="place"></div>')
    begin = """async drawing => {
        const {drawingFigure} = await import('/js/ui/drawing.js');
        const place = document.getElementById('place');
        place.style.display = 'flex';
        place.replaceChildren(drawingFigure(drawing, code => code));
        place.firstChild.style.flex = '1';
    }"""
    sized = """([width, height]) => new Promise(painted => {
        const place = document.getElementById('place');
        Object.assign(place.style, {width: width + 'px', height: height + 'px'});
        requestAnimationFrame(() => setTimeout(() => painted(
            [...place.querySelectorAll('svg')].map(svg => svg.childElementCount))));
    })"""
    drawing = drawings()[0]
    wide, compact, small = (1 + len(one["shapes"]) for one in (drawing, drawing["compact"], drawing["small"]))
    page.evaluate(begin, drawing)
    assert page.evaluate(sized, [0, 0]) == [1, 1, 1], "a title each, and no shape where there is no room"
    assert page.evaluate(sized, [720, 300]) == [wide, 1, 1]
    assert page.evaluate(sized, [720, 310]) == [wide, 1, 1]
    assert page.evaluate(sized, [720, 200]) == [wide, compact, 1]
    page.evaluate(sized, [240, 300])
    page.evaluate(begin, drawing)
    assert page.evaluate(sized, [240, 300]) == [1, 1, small]
    page.pdf()
    assert page.evaluate(sized, [240, 300]) == [wide, compact, small]
    page.evaluate(begin, {name: part for name, part in drawing.items() if name != "small"})
    assert page.evaluate(sized, [240, 300]) == [1, compact]


def test_every_role_has_its_looks_here_and_in_the_style_sheet() -> None:
    roles = {
        shape["role"]
        for one in drawings()
        for shape in [*one["shapes"], *one["compact"]["shapes"], *one["small"]["shapes"]]
    }
    sheet = (ROOT / "static/css/drawing.css").read_text()
    assert roles <= LOOKS.keys()
    assert [role for role in sorted(roles) if f".{role}" not in sheet] == ["dimension_label", "label"]


def test_one_style_sheet_paints_the_drawings() -> None:
    painting = [path.name for path in (ROOT / "static/css").glob("*.css") if ".fixed_jaw" in path.read_text()]
    assert painting == ["drawing.css"]


def test_what_tells_the_jaws_apart_is_not_colour() -> None:
    assert "stroke-dasharray" in LOOKS["moving_jaw"]
    assert "stroke-dasharray" in LOOKS["start_window"]
    assert "stroke-dasharray" not in LOOKS["fixed_jaw"]


def test_the_text_holds_no_style_no_identifier_and_no_address() -> None:
    for drawing in drawings():
        text = draw_svg(drawing, say)
        assert "style" not in text
        assert " id=" not in text
        assert "href" not in text
        assert text.count("http") == text.count(f'xmlns="{SVG}"') == 1


def test_a_name_in_a_drawing_cannot_become_markup() -> None:
    drawing = drawings()[0]
    drawing["shapes"].append(
        {"kind": "text", "role": "label", "x": 1, "y": 2, "size": 16, "anchor": "start", "text": "<script>&"}
    )
    assert "&lt;script&gt;&amp;" in draw_svg(drawing, say)
