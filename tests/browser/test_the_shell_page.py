"""The shell page names every file that the tablet needs, so that one wave of requests brings it up."""

from __future__ import annotations

import os.path
import re
from pathlib import Path

from tests.kit.modules import ROOT, tablet_page

MODULES = ROOT / "static" / "js"
IMPORTED = re.compile(r"from '(\.[^']+)'")
PRELOADED = re.compile(r'rel="modulepreload" href="/assets/trial/js/([^"]+)"')
SHEETS = re.compile(r'rel="stylesheet" href="/assets/trial/css/([^"]+)"')


def reached(module: Path, found: set[str]) -> set[str]:
    """Every module that this one imports, and they in turn."""
    for address in IMPORTED.findall(module.read_text(encoding="utf-8")):
        other = Path(os.path.normpath(module.parent / address))
        name = other.relative_to(MODULES).as_posix()
        if name not in found:
            found.add(name)
            reached(other, found)
    return found


def test_every_module_that_the_tablet_comes_to_is_fetched_at_once() -> None:
    assert sorted(PRELOADED.findall(tablet_page())) == sorted(reached(MODULES / "main.js", set()))


def test_every_style_sheet_that_is_named_is_there() -> None:
    made_by_the_server = {"fonts.css"}
    named = set(SHEETS.findall(tablet_page())) - made_by_the_server
    assert {name for name in named if not (ROOT / "static" / "css" / name).is_file()} == set()


def test_no_script_of_the_tablet_needs_a_gesture_or_writes_markup() -> None:
    """WCAG 2.2, 2.5.1 and 2.5.7: single taps do everything. Text reaches the page as text only."""
    forbidden = re.compile(
        r"touchmove|touchstart|dragstart|innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\("
    )
    found = {
        path.name for path in MODULES.rglob("*.js") if forbidden.search(path.read_text(encoding="utf-8"))
    }
    assert found == set()


def test_nothing_on_the_tablet_is_named_like_a_machine_control_or_calls_anything_safe() -> None:
    words = (ROOT / "static" / "words" / "en" / "tablet.json").read_text(encoding="utf-8")
    assert (
        re.findall(r"\b(safe|safely|OK|okay|start the machine|e-?stop|cycle start)\b", words, re.IGNORECASE)
        == []
    )
