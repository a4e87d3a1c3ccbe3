"""The table of what is required names tests and scenarios that there are, line by line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.test_faults_table import NAMED, missing

TESTS = Path(__file__).parent
SCENARIO = re.compile(r"`vectors/setups\.json::([^`]+)`")
ROWS = [
    [cell.strip() for cell in line.strip().strip("|").split(" | ")]
    for line in (TESTS / "required.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("| ") and not line.startswith(("| required", "| typed", "| ---"))
]
# Criteria of WCAG 2.2 and clauses of ASVS 5.0 that bear on a tablet beside a machine; and words of the lines
# that come from practice.
HAS_TO_NAME = (
    "1.4.1", "1.4.4", "1.4.6", "1.4.10", "1.4.11", "1.4.12", "2.1.1", "2.2.1", "2.3.3", "2.4.3", "2.5.1",
    "2.5.2", "2.5.5", "2.5.7", "2.5.8", "3.3.1", "3.3.3", "3.3.4", "3.3.8", "4.1.3", "7.4.4", "14.3.1",
    "coolant", "safe", "lockout", "signal words", "filled in from before", "comma", "interruption",
    "skipped", "securely", "certificate", "strict", "receipt", "version", "keeps nothing", "room",
    "clock", "killed", "lost key", "waits", "script", "twice", "five faults", "10,000", "wrong way round",
    "stylus", "60 megapixels", "500", "two tabs", "last lead", "two leads",
    # Trails of evidence and signed documents.
    "named by the hash", "bytes stay", "a name twice", "behind a gap", "one number", "another form",
    "RFC 6962", "checkpoint", "did not grow", "raises an alarm", "restore is", "leave the building",
    "refuses to change", "old, new", "order of steps", "their own", "sealed PIN opens", "sealed PIN is gone",
    "guesses that were sealed", "not verified is never", "wrong PIN", "pins the server's keys", "journal",
    "every setting", "before a fork", "after the commit", "full disk", "a backup is", "named by their hash",
    "flipped byte", "server's clock", "one button", "sealed once", "no field for", "PAdES", "the system's",
    "neither advanced nor qualified", "key of its own", "signature of a person", "as printed", "attached",
    "fetches nothing", "entire file", "published attacks", "other verifiers", "hash is on the ledger",
    "acts, links", "read strictly", "tagged", "every font", "groups of four", "same bytes", "sealing fails",
    "sixty days", "copied seal key", "says so in the text",
)  # fmt: skip


def scenarios() -> set[str]:
    found = json.loads((TESTS / "vectors" / "setups.json").read_text(encoding="utf-8"))
    return {one["name"] for one in found["scenarios"]}


@pytest.mark.parametrize("row", ROWS, ids=[row[0][:40] for row in ROWS])
def test_what_is_required_names_what_holds_it(row: list[str]) -> None:
    what, held = row
    named, _, otherwise = held.partition("Otherwise:")
    assert NAMED.findall(named) or SCENARIO.findall(named), f"nothing holds: {what}"
    assert SCENARIO.sub("", NAMED.sub("", named)).strip(" .") == "", f"not a test: {named}"
    assert missing(held) == []
    assert set(SCENARIO.findall(held)) <= scenarios()
    assert not otherwise or len(otherwise.split()) > 10, "an argument says why"


def test_no_line_that_has_to_be_there_is_left_out() -> None:
    every = " ".join(row[0] for row in ROWS)
    assert [one for one in HAS_TO_NAME if one not in every] == []
    assert len({row[0] for row in ROWS}) == len(ROWS)
