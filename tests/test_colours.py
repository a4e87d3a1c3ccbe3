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
