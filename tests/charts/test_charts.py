"""Charts as SVG: nothing a strict page would refuse,
everything that has to be read, however many values there are.
"""

from __future__ import annotations

import io
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

import pypdf
import pytest
from weasyprint import HTML

from webapp.charts.choice_chart import Curve, choice_charts
from webapp.charts.paper import ROLES
from webapp.charts.scales import length_scale
from webapp.charts.thinning import thinned
from webapp.charts.trend_chart import LAYOUTS, trend_charts
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual import limits
from webapp.domain.usual.trend import SeatingRows, SeatingTrend, TrendRow, seating_trend
from webapp.domain.usual.usual import FloorInputs, LinesChoice
from webapp.services.times import utc_text
from webapp.words import say

MM, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
FLOOR, CHOICE = FloorInputs(1_500, 2_000, 4_000), LinesChoice()
CENTRE_NM = -381_250_000
SVG = "{http://www.w3.org/2000/svg}"


def at(number: int) -> str:
    return utc_text(datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=2 * number))


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - drawn by the program under test


def trend(values_nm: Sequence[int], left_out: Sequence[int] = (), display: Display = MM) -> SeatingTrend:
    rows = tuple(
        TrendRow(f"setup-{n}", at(n), value, "mara", "A chip." if n in left_out else None)
        for n, value in enumerate(values_nm)
    )
    return seating_trend([SeatingRows("one", "2020-01-01", None, "Moved.", rows)], FLOOR, CHOICE, display)


def scattered(count: int) -> list[int]:
    chance = random.Random(5)
    return [CENTRE_NM + round(chance.gauss(0, 6)) * 1000 for _ in range(count)]


def draw(*trends: SeatingTrend, display: Display = MM) -> tuple[str, ...]:
    return trend_charts(trends, "X", "Said in words.", display, say, lambda setup: f"/desk/setups/{setup}")


def draw_choices() -> tuple[str, ...]:
    found = trend(scattered(30)).usual
    curve = limits.curve(found, CHOICE, MM)
    line = limits.line(found, 100, CHOICE, MM)
    drawn = Curve(curve, line, replace(line, one_in=75), found.stop_nm or 0)
    return choice_charts(drawn, "X", "Said in words.", MM, say, lambda one_in: f"?ask={one_in}")


def everything(svg: str) -> Iterator[ET.Element]:
    return parsed(svg).iter()


def points(svg: str, shape: str | None = None) -> list[ET.Element]:
    marks = [one for one in everything(svg) if "point" in one.get("class", "").split()]
    return [one for one in marks if shape is None or shape in one.get("class", "").split()]


ALL = {
    "many": lambda: draw(trend(scattered(40), left_out=[3])),
    "one value": lambda: draw(trend([CENTRE_NM])),
    "equal values": lambda: draw(trend([CENTRE_NM] * 9)),
    "only left out": lambda: draw(trend([CENTRE_NM] * 3, left_out=[0, 1, 2])),
    "two seatings": lambda: draw(trend(scattered(12)), trend([one + 50_000 for one in scattered(6)])),
    "in inches": lambda: draw(trend([254 * (n % 7) * 10 for n in range(20)], display=INCH), display=INCH),
    "choices": draw_choices,
}


@pytest.mark.parametrize("name", ALL)
def test_nothing_in_a_chart_is_refused_by_a_strict_page(name: str) -> None:
    for svg in ALL[name]():
        for element in everything(svg):
            assert element.tag.removeprefix(SVG) in {
                "svg",
                "g",
                "a",
                "path",
                "text",
                "circle",
                "rect",
                "title",
            }
            for attribute, value in element.attrib.items():
                assert attribute not in {"style", "id", "xlink:href"}, (element.tag, attribute)
                assert not attribute.startswith("on")
                assert "url(" not in value
                assert "http" not in value


@pytest.mark.parametrize("name", ALL)
def test_every_colour_of_a_chart_has_its_role_so_that_the_theme_can_take_its_place(name: str) -> None:
    for svg in ALL[name]():
        for element in everything(svg):
            for part in ("fill", "stroke"):
                colour = element.get(part)
                if colour not in {None, "none"}:
                    assert f"{part}-{ROLES[str(colour)]}" in element.get("class", "").split(), colour


@pytest.mark.parametrize("name", ALL)
def test_a_chart_is_a_named_picture_with_text_as_text_and_inside_its_frame(name: str) -> None:
    for layout, svg in zip(LAYOUTS, ALL[name](), strict=True):
        root = parsed(svg)
        pictures = [one for one in root.iter() if one.get("role") == "img"]
        assert [one.get("aria-label", "").endswith("Said in words.") for one in pictures] == [True]
        texts = [one for one in root.iter(f"{SVG}text") if one.text]
        assert any("mm" in str(one.text) or "in" in str(one.text) for one in texts)
        width, height = (float(part) for part in root.get("viewBox", "").split()[2:])
        assert width == layout.width
        for mark in points(svg):
            if mark.tag == f"{SVG}circle":
                assert 0 <= float(mark.get("cx", "-1")) <= width
                assert 0 <= float(mark.get("cy", "-1")) <= height


def test_each_point_leads_to_its_setup_and_says_which_it_is() -> None:
    found = trend(scattered(20))
    svg = draw(found)[0]
    links = [one for one in everything(svg) if one.tag == f"{SVG}a"]
    hrefs = {one.get("href") for one in links}
    assert hrefs == {f"/desk/setups/setup-{n}" for n in range(20)}
    assert all(
        one.get("tabindex") == "-1" and one.get("aria-label", "").startswith("Setup ") for one in links
    )
    assert len(links) == 20 + 20 + 19  # the first value has no step from the one before


def test_a_value_without_a_page_of_its_own_is_drawn_without_a_link() -> None:
    found = trend(scattered(6))
    bare = replace(
        found, points=tuple(replace(one, row=replace(one.row, has_page=False)) for one in found.points)
    )
    svg = draw(bare)[0]
    assert [one for one in everything(svg) if one.tag == f"{SVG}a"] == []
    assert points(svg)


def test_shapes_tell_signals_suspects_and_what_was_left_out_apart() -> None:
    values = scattered(40)
    values[12] = CENTRE_NM + 90_000
    values[20] = CENTRE_NM - 80_000
    svg = draw(trend(values, left_out=[20]))[0]
    assert len(points(svg, "left_out")) == 1
    assert len(points(svg, "suspect")) == 1
    assert points(svg, "signal")


def test_a_left_out_value_far_away_stands_at_the_edge_and_squeezes_nothing() -> None:
    values = scattered(20)
    near = draw(trend(values))[0]
    values[4] = CENTRE_NM + 3_000_000
    far = draw(trend(values, left_out=[4]))[0]
    ticks = [[one.text for one in parsed(svg).iter(f"{SVG}text")][:5] for svg in (near, far)]
    assert ticks[0] == ticks[1]


def test_the_same_values_give_the_same_bytes() -> None:
    assert draw(trend(scattered(25))) == draw(trend(scattered(25)))


def test_of_ten_thousand_values_the_outline_and_the_signals_stay() -> None:
    values = scattered(10_000)
    values[4_321] = CENTRE_NM + 70_000
    found = trend(values)
    assert found.chart is not None
    for layout, svg in zip(LAYOUTS, draw(found), strict=True):
        first_panel = [one for one in points(svg) if one.get("class")]
        assert len(first_panel) < 3 * (layout.most_points + 90)
        titles = [one.text for one in everything(svg) if one.tag == f"{SVG}title"]
        assert any(str(one).startswith("Setup 4322,") for one in titles)
        assert len(svg) < 700_000


def test_thinning_keeps_ends_lowest_highest_and_what_must_be_seen() -> None:
    values = [float((n * 7919) % 1009) for n in range(5_000)]
    kept = thinned(values, 100, always=[2_500])
    assert len(kept) <= 103
    assert {0, 2_500, 4_999, values.index(max(values)), values.index(min(values))} <= set(kept)
    assert kept == sorted(set(kept))
    assert thinned(values[:80], 100) == list(range(80))


@pytest.mark.parametrize("display", [MM, INCH])
@pytest.mark.parametrize(
    ("low", "high"), [(0, 0), (-381_250_000, -381_249_000), (-9e8, 9e8), (5.5, 1234567.8)]
)
def test_ticks_stand_on_what_the_display_can_show_inside_the_panel(
    display: Display, low: float, high: float
) -> None:
    scale = length_scale(low, high, display)
    assert 2 <= len(scale.ticks_nm) <= 12
    assert all(tick % display.resolution_nm == 0 for tick in scale.ticks_nm)
    assert all(scale.low_nm <= tick <= scale.high_nm for tick in scale.ticks_nm)
    assert len(set(scale.labels)) == len(scale.labels)


@pytest.mark.parametrize("name", ["many", "choices"])
def test_a_chart_prints_in_a_pdf_with_its_words_as_words(name: str) -> None:
    wide = ALL[name]()[0]
    pdf = HTML(string=f"<!doctype html><title>Chart</title><body>{wide}</body>").write_pdf()
    assert pdf is not None
    text = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert ("value, mm" if name == "many" else "distance from the usual, mm") in text
