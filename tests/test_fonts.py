"""The typeface that is cut at the first start: complete, small, the same each time, and unmistakable."""

import base64
import io
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from fontTools.ttLib import TTFont
from playwright.sync_api import Page
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration

from webapp.composition import font_css
from webapp.fonts import COVERAGE, FAMILY, NAME_FONTS, NAME_RANGE, WEB_FONTS, WEIGHTS, font_files, web_font


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fonts")


def opened(data: bytes) -> Any:
    return TTFont(io.BytesIO(data))


def all_fonts(folder: Path) -> list[Any]:
    return [opened(web_font(name, folder)) for name in WEB_FONTS] + [
        TTFont(p) for p in font_files(folder).values()
    ]


def test_every_letter_and_sign_that_a_page_may_use_is_in_every_font(folder: Path) -> None:
    for font in all_fonts(folder):
        assert COVERAGE - set(font.getBestCmap()) == set()


def test_the_record_can_print_greek_and_cyrillic_names(folder: Path) -> None:
    for path in font_files(folder).values():
        assert set(map(ord, "Ελένη Παπαδοπούλου Наталія Ґалаґан")) <= set(TTFont(path).getBestCmap())


@pytest.mark.parametrize("name", NAME_FONTS)
def test_the_screens_have_such_names_in_both_weights_and_nothing_twice(name: str, folder: Path) -> None:
    data = web_font(name, folder)
    font = opened(data)
    letters = set(font.getBestCmap())
    assert set(map(ord, "ΕλένηΠαπαδοπούλουНаталіяҐалаґан")) <= letters
    assert COVERAGE & letters == set()
    assert font["OS/2"].usWeightClass == WEIGHTS[name.removesuffix("-names")]
    assert len(data) < 30_000
    rules = font_css({one: one for one in (*WEB_FONTS, *NAME_FONTS)}).splitlines()
    assert [f"unicode-range: {NAME_RANGE};" in rule for rule in rules] == [False, False, True, True]
    assert ["font-weight: 600 900;" in rule for rule in rules] == [False, True, False, True]


def test_all_figures_and_the_signs_between_them_have_one_width(folder: Path) -> None:
    for font in all_fonts(folder):
        letters = font.getBestCmap()
        assert len({font["hmtx"][letters[ord(letter)]][0] for letter in "0123456789+−=×±"}) == 1


def test_a_zero_has_a_dot_and_so_one_outline_more_than_a_letter_o(folder: Path) -> None:
    for font in all_fonts(folder):
        letters, outlines = font.getBestCmap(), font["glyf"]
        assert outlines[letters[ord("O")]].numberOfContours == 2
        assert outlines[letters[ord("0")]].numberOfContours == 3


@pytest.mark.parametrize("name", WEB_FONTS)
def test_a_web_font_points_at_no_name_that_it_does_not_carry(name: str, folder: Path) -> None:
    """Browsers check it (the OpenType sanitiser) and report a table of style attributes without its names."""
    font = opened(web_font(name, folder))
    assert "STAT" in TTFont(font_files(folder)[name]), "the record's font is as it was"
    assert "STAT" not in font
    assert "fvar" not in font


@pytest.mark.parametrize("name", WEB_FONTS)
def test_a_web_font_is_small_enough_for_the_first_visit_over_a_weak_network(name: str, folder: Path) -> None:
    data = web_font(name, folder)
    assert data[:4] == b"wOF2"
    assert len(data) < 22_000


def test_the_same_input_gives_the_same_bytes(tmp_path: Path, folder: Path) -> None:
    for place in (tmp_path, folder):
        font_files(place)
        web_font("regular", place)
    made = {path.name: path for path in tmp_path.iterdir()}
    assert {path.suffix for path in made.values()} == {".ttf", ".woff2"}
    for name, path in made.items():
        assert path.read_bytes() == (folder / name).read_bytes()


def test_a_second_call_reads_what_the_first_one_wrote(folder: Path) -> None:
    first = font_files(folder)
    times = {name: path.stat().st_mtime_ns for name, path in first.items()}
    again = font_files(folder)
    assert again == first
    assert {name: path.stat().st_mtime_ns for name, path in again.items()} == times
    assert not list(folder.glob("*.part"))


def test_a_changed_copy_has_its_own_name_and_keeps_the_licence(folder: Path) -> None:
    for font in all_fonts(folder):
        names = font["name"]
        assert names.getDebugName(16) == FAMILY
        assert not any("Plex" in names.getDebugName(number) for number in (1, 3, 4, 6, 16))
        assert "SIL Open Font License" in names.getDebugName(13)
        assert "Copyright" in names.getDebugName(0)
        assert font["OS/2"].fsType == 0, "embedding is not restricted"


def test_each_weight_says_its_weight(folder: Path) -> None:
    weights = {name: TTFont(path)["OS/2"].usWeightClass for name, path in font_files(folder).items()}
    assert weights == WEIGHTS


def test_there_is_no_web_font_of_another_name(folder: Path) -> None:
    with pytest.raises(KeyError, match="italic"):
        web_font("italic", folder)


def test_the_pdf_maker_embeds_the_font_under_its_own_name(folder: Path, tmp_path: Path) -> None:
    configuration = FontConfiguration()
    faces = "".join(
        f"@font-face {{ font-family: '{FAMILY}'; font-weight: {WEIGHTS[name]}; src: url('{path.as_uri()}') }}"
        for name, path in font_files(folder).items()
    )
    style = CSS(
        string=f"{faces} body {{ font-family: '{FAMILY}' }} b {{ font-weight: 600 }}",
        font_config=configuration,
    )
    target = tmp_path / "sample.pdf"
    html = "<html lang=en><title>figures</title><body>−381.207 ≠ Ø 12 × 0.5 <b>6.0 Łęna Ελένη Наталія</b>"
    HTML(string=html).write_pdf(target, stylesheets=[style], font_config=configuration)

    listed = subprocess.run(["pdffonts", target], capture_output=True, text=True, check=True).stdout
    fonts = [line for line in listed.splitlines()[2:] if line.strip()]
    assert len(fonts) == 2
    for line in fonts:
        assert re.search(r"Zerokeep-?Sans", line)
        assert re.search(r"\byes +yes +yes\b", line), "embedded, a subset, readable as text"
    text = subprocess.run(["pdftotext", target, "-"], capture_output=True, text=True, check=True).stdout
    assert "−381.207 ≠ Ø 12 × 0.5 6.0 Łęna Ελένη Наталія" in " ".join(text.split())


@pytest.mark.browser
def test_a_browser_takes_both_web_fonts(page: Page, folder: Path) -> None:
    faces = "".join(
        f"@font-face {{ font-family: own; font-weight: {WEIGHTS[name]};"
        f" src: url(data:font/woff2;base64,{base64.b64encode(web_font(name, folder)).decode()}) }}"
        for name in WEB_FONTS
    )
    page.set_content(
        f"<style>{faces} body {{ font: 100px own }} b {{ font-weight: 600 }}</style><i>1</i><b>0</b>"
    )
    states = page.evaluate(
        "async () => { await document.fonts.ready; return [...document.fonts].map(f => f.status) }"
    )
    assert states == ["loaded", "loaded"]
