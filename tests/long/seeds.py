"""The tests that draw their cases, with other draws each time: the test command draws the same twice.

`python -m tests.long seeds 3` runs them three times, with the profile "random seeds" of `tests/conftest.py`;
what it finds is printed with the line that draws it again. `tests/long/seeds.md` keeps the last figures.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
DRAWS = "from hypothesis import"


def drawing_tests() -> list[str]:
    """Return the test files that draw, but for those that need a browser."""
    found = sorted((ROOT / "tests").glob("*/test_*.py"))
    texts = {path: path.read_text(encoding="utf-8") for path in found}
    return [
        str(path.relative_to(ROOT))
        for path, text in texts.items()
        if DRAWS in text and "pytest.mark.browser" not in text and path.parent.name != "long"
    ]


def run(most: int | None) -> int:
    """Run them once, or as often as that; 1 where a draw fails."""
    plainly = ("-q", "-n", "0", "-p", "no:cacheprovider", "-m", "hypothesis")
    command = (sys.executable, "-m", "pytest", *plainly, *drawing_tests())
    asked = {**os.environ, "ZEROKEEP_EXAMPLES": "random seeds"}
    ended = [subprocess.run(command, cwd=ROOT, env=asked, check=False) for _ in range(most or 1)]
    return 1 if any(one.returncode for one in ended) else 0
