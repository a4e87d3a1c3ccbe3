"""`zerokeep verify`: pages printed again or left out as was asked, and nothing loaded without need."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from webapp.cli import main
from webapp.data_folder import CERTIFICATES_FILE
from webapp.domain.record.edition import PAGES_EDITION

ROOT = Path(__file__).resolve().parents[2]
EVIDENCE = ROOT / "tests" / "evidence" / f"edition-{PAGES_EDITION}"
RECORD = min(EVIDENCE.glob("record-*.pdf"))
ASKED = ("verify", str(RECORD), "--certificate", str(EVIDENCE / CERTIFICATES_FILE), "--json")
# What a server and a printer need: together several times as long to load as a record takes to be judged.
HEAVY = (
    "flask", "granian", "matplotlib", "numpy", "peewee", "psycopg", "scipy", "weasyprint", "webapp.store",
)  # fmt: skip
LOADED = """
import sys
from webapp.cli import main
try:
    status = main(sys.argv[2:])
except SystemExit as ended:
    status = ended.code
print(status, *(name for name in sys.argv[1].split() if name in sys.modules))
"""


def test_pages_are_printed_again_unless_they_are_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    for more, state in (((), "holds"), (("--without-pages",), "not_looked_at")):
        assert main([*ASKED, *more]) == 0
        lines = {line["code"]: line for line in json.loads(capsys.readouterr().out)["lines"]}
        assert lines["record.page"]["state"] == state
        assert lines["record.events"]["state"] == "holds"


@pytest.mark.parametrize("asked", [(*ASKED, "--without-pages"), ("--help",)], ids=["verify", "help"])
def test_who_verifies_or_asks_for_help_loads_no_server_and_no_printer(asked: tuple[str, ...]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADED, " ".join(HEAVY), *asked],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.splitlines()[-1].split() == ["0"]
