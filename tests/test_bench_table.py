"""The table of measured figures names what prints each, and one command runs all of that."""

from __future__ import annotations

import re
from pathlib import Path

from tests.bench.__main__ import BENCHES

HERE = Path(__file__).parent / "bench"
TEXT = (HERE / "FIGURES.md").read_text(encoding="utf-8")
# Measured by the commands that everybody runs, and by the command that compares two commits.
OTHERS = {"beside"}


def printed_by() -> list[str]:
    """The last column of the first table."""
    rows = TEXT.split("| printed by |\n")[1].split("\n\n")[0].splitlines()[1:]
    return [row.rstrip(" |").rpartition("| ")[2] for row in rows]


def test_every_figure_names_a_bench_that_the_one_command_runs_or_a_command_of_the_readme() -> None:
    run = {name for name, _ in BENCHES}
    named = [re.fullmatch(r"`(bench_\w+)`", cell) for cell in printed_by()]
    others = {cell for cell, found in zip(printed_by(), named, strict=True) if found is None}
    assert {found[1] for found in named if found} <= run
    assert others == {"the README's commands", "`python3 tests`"}


def test_the_one_command_runs_every_bench_there_is_and_each_stands_in_the_table() -> None:
    there = {path.stem for path in HERE.glob("*.py")} - {"__main__", "__init__"} - OTHERS
    assert there == {name for name, _ in BENCHES}
    assert all(f"`{name}`" in TEXT for name in there)
