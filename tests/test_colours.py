"""Every colour stands in one table: what browsers and the record's pages are told says the same,
and nothing else has a colour of its own.
"""

import re
from pathlib import Path

from webapp.colours import DARK, LIGHT, PRINTED_HAIR

ROOT = Path(__file__).parents[1]
COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
NAMED = re.compile(r"--([a-z-]+): *(#[0-9a-fA-F]{6});")
# Where colours may stand as text: the table itself, and what browsers and the press read without Python.
TOLD = {"webapp/colours.py", "static/css/tokens.css", "templates/record/record.css"}


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def test_the_tokens_of_the_screens_are_the_table_in_light_and_in_dark() -> None:
    light, _, dark = text("static/css/tokens.css").partition("prefers-color-scheme: dark")
    assert dict(NAMED.findall(light)) == LIGHT
    assert dict(NAMED.findall(dark)) == DARK


def test_the_dark_theme_changes_colours_and_nothing_else() -> None:
    """What is as large as in the other theme lies where it lies there: sizes are looked at in one of them."""
    tokens = text("static/css/tokens.css")
    block = re.search(r"@media \(prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}\s*\}", tokens, re.DOTALL)
    assert block
    assert NAMED.sub("", block[1]).strip() == ""
    asked = re.compile(r"prefers-color-scheme|light-dark\(")
    found = (path for room in ("static", "templates") for path in (ROOT / room).rglob("*.*"))
    files = (path for path in found if path.suffix in {".css", ".js", ".html", ".svg"})
    asking = {str(path.relative_to(ROOT)) for path in files if asked.search(path.read_text(encoding="utf-8"))}
    # The others: the colour of the browser's own bar, and a drawing of one size in either theme.
    assert asking == {"static/css/tokens.css", "templates/tablet/shell.html", "templates/desk/item.html"}


def test_the_records_pages_print_with_the_table_alone() -> None:
    found = set(COLOUR.findall(text("templates/record/record.css")))
    assert found
    assert found <= {*LIGHT.values(), PRINTED_HAIR}


def test_no_other_file_has_a_colour_of_its_own() -> None:
    kinds = {".py", ".css", ".js", ".html", ".toml", ".json"}
    found = (path for room in ("webapp", "static", "templates") for path in (ROOT / room).rglob("*.*"))
    files = {str(path.relative_to(ROOT)) for path in found if path.suffix in kinds} - TOLD
    assert len(files) > 400
    assert {name: colours for name in files if (colours := COLOUR.findall(text(name)))} == {}


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb, 0 to 1 (WCAG 2.2, "relative luminance")."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """1 to 21 (WCAG 2.2, "contrast ratio")."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_21_to_1_as_the_standard_says() -> None:
    assert round(contrast("#000000", "#ffffff"), 3) == 21
    assert round(contrast("#767676", "#ffffff"), 2) == 4.54  # the grey that is told to be the last for 4.5


def test_text_is_seven_to_one_and_a_mark_four_and_a_half_to_one_in_both_themes() -> None:
    """WCAG 2.2, 1.4.6 asks 7:1 of text; of marks 1.4.11 asks 3:1, and glare at a machine for more."""
    grounds = ("paper", "plate", "tint")
    for theme in (LIGHT, {**LIGHT, **DARK}):
        for ground in grounds:
            for text in ("ink", "soft", "agrees", "ask", "stop"):
                assert contrast(theme[text], theme[ground]) >= 7, (text, ground)
            for mark in ("focus", "rule"):
                least = 3 if ground == "tint" else 4.5
                assert contrast(theme[mark], theme[ground]) >= least, (mark, ground)
        for word in ("danger", "warning", "caution", "notice"):
            assert contrast(theme[f"on-{word}"], theme[word]) >= 7, word


def test_safety_colours_stand_in_cautions_alone() -> None:
    """ISO 3864 and ANSI Z535 (from memory): a safety colour that says anything else says nothing any more."""
    used = re.compile(r"var\(--(?:on-)?(?:danger|warning|caution|notice)\)")
    blocks = re.compile(r"([^{}]+)\{([^{}]*)\}")
    found = set()
    for path in sorted((ROOT / "static/css").glob("*.css")):
        for selector, block in blocks.findall(path.read_text(encoding="utf-8")):
            if used.search(block):
                found.add(selector.strip().split()[-1])
    assert found == {".signal", ".word"}


def test_whoever_asks_for_less_motion_gets_none() -> None:
    """WCAG 2.2, 2.3.3: one rule for every element, and nothing that moves by a script."""
    rule = re.search(
        r"prefers-reduced-motion: reduce\) \{(.*?\})\s*\}", text("static/css/base.css"), re.DOTALL
    )
    assert rule
    for part in ("*, *::before, *::after", "transition: none !important", "animation: none !important"):
        assert part in rule[1]
    scripts = (path.read_text(encoding="utf-8") for path in (ROOT / "static/js").rglob("*.js"))
    assert not any(re.search(r"\.animate\(|behavior: *['\"]smooth", script) for script in scripts)
