"""The browser's scripts are read by a linter, a type check and a formatter; each says no when it should."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from webapp.checking import ROOT, SCRIPT_FORMAT, SCRIPT_LINT, SCRIPT_TYPES, Step, run_step

SETUP = "import {Setup} from '../setup.js';\n"
CLOCK = "import {Clock} from '../clock.js';\n"
FOLD = "import {foldd} from '../rules/setup/fold.js';\n"
LENGTHS = "import {formatLength} from '../rules/plain/lengths.js';\n"
FAULTS = {
    "a field that a setup does not have": (
        SCRIPT_TYPES,
        f"{SETUP}export const hash = (/** @type {{Setup}} */ setup) => setup.sheetHush;\n",
        "sheetHush",
    ),
    "what may be nothing, taken for something": (
        SCRIPT_TYPES,
        f"{CLOCK}export const twice = (/** @type {{Clock}} */ clock) => 2 * clock.skewMs;\n",
        "skewMs",
    ),
    "a name that a module does not give": (SCRIPT_TYPES, f"{FOLD}export const all = foldd;\n", "foldd"),
    "a length handed on as text": (
        SCRIPT_TYPES,
        f"{LENGTHS}export const shown = formatLength('12', {{unit: 'mm', decimals: 3}});\n",
        "not assignable",
    ),
    "a name that nothing uses": (
        SCRIPT_LINT,
        "const unused = 1;\nexport const used = 2;\n",
        "no-unused-vars",
    ),
    "two sides compared loosely": (SCRIPT_LINT, "export const same = one => one == 1;\n", "eqeqeq"),
    "code laid out otherwise": (SCRIPT_FORMAT, "export const one =   1\n", "planted.js"),
}


@pytest.mark.linters
@pytest.mark.parametrize(("step", "text", "told"), FAULTS.values(), ids=FAULTS.keys())
def test_a_planted_fault_is_found(step: Step, text: str, told: str, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "static", tmp_path / "static", ignore=shutil.ignore_patterns("words"))
    shutil.copytree(ROOT / "tests" / "javascript", tmp_path / "tests" / "javascript")
    (tmp_path / "static" / "js" / "ui" / "planted.js").write_text(text, encoding="utf-8")
    outcome = run_step(step, tmp_path)
    assert not outcome.passed
    assert "planted.js" in outcome.output
    assert told in outcome.output
