"""The table of what goes wrong names tests that there are, for every fault that it has to name."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parent
TABLE = (TESTS / "faults.md").read_text(encoding="utf-8")
NAMED = re.compile(r"`([\w/]+\.py)::(test_\w+)`")
ROWS = [
    [cell.strip() for cell in line.strip().strip("|").split(" | ")]
    for line in TABLE.splitlines()
    if line.startswith("| ") and not line.startswith(("| what goes wrong", "| ---"))
]
# What public literature on offline pages and distributed stores lists (a menu of faults as in Jepsen's
# analyses: lost and repeated messages, partitions of one way too, kills, pauses, clocks, a lost disk), and
# what is a tablet's own. One word of each row.
HAS_TO_NAME = (
    "lost", "cut short", "duplicate", "order", "one way", "slow", "page of the network", "newer version",
    "two tabs", "full", "handle", "key is lost", "year off", "copied", "wiped", "disabled", "PIN", "revised",
    "restored", "gone for a while", "takes over", "killed",
)  # fmt: skip


@cache
def names_in(path: Path) -> frozenset[str]:
    """Names of the tests in a file; none where there is no such file."""
    if not path.exists():
        return frozenset()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def missing(text: str) -> list[str]:
    """What a text names as a test, and is none."""
    return [f"{file}::{name}" for file, name in NAMED.findall(text) if name not in names_in(TESTS / file)]


def test_every_fault_names_tests_that_there_are() -> None:
    assert len(ROWS) == len({row[0] for row in ROWS}) > 50
    for what, holds, shown in ROWS:
        assert holds, what
        assert NAMED.findall(shown), f"no test shows: {what}"
        assert NAMED.sub("", shown).strip() == "", f"not a test: {shown}"
        assert missing(shown) == [], what


def test_no_fault_that_has_to_be_named_is_left_out() -> None:
    named = [row[0] for row in ROWS]
    assert [fault for fault in HAS_TO_NAME if not any(fault in one for one in named)] == []


def test_a_test_that_was_renamed_would_be_noticed() -> None:
    here = "test_faults_table.py"
    assert missing(f"`{here}::test_a_test_that_was_renamed_would_be_noticed`") == []
    assert missing(f"`{here}::test_something_else` `no/such.py::test_it`") == [
        f"{here}::test_something_else",
        "no/such.py::test_it",
    ]
