"""`zerokeep verify`: pages printed again or left out as was asked, and nothing loaded without need."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from webapp.cli import main
from webapp.data_folder import CERTIFICATES_FILE
from webapp.domain.record.edition import PAGES_EDITION
from webapp.proof.pdf.pdf_verify import verify_seal
from webapp.proof.sealed_record import record_verify

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


def test_what_holds_without_the_pages_is_told_before_they_are_printed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    plain = [word for word in ASKED if word != "--json"]
    assert main(plain) == 0
    assert capsys.readouterr().err == "Seal, events and ledger hold. Printing the pages again …\n"
    others = str(ROOT / "tests" / "evidence" / "edition-1" / CERTIFICATES_FILE)
    assert main([others if word.endswith(CERTIFICATES_FILE) else word for word in plain]) == 1
    assert capsys.readouterr().err.startswith("Seal, events and ledger do NOT hold.")


def test_of_a_file_that_cannot_be_read_no_page_is_printed_and_the_report_comes_at_once(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    plain = [word for word in ASKED if word != "--json"]
    changed = tmp_path / "changed.pdf"
    data = RECORD.read_bytes()
    changed.write_bytes(data[:2000] + bytes([data[2000] ^ 1]) + data[2001:])
    assert main([str(changed) if word == str(RECORD) else word for word in plain]) == 1
    said = capsys.readouterr()
    assert "Something does not hold." in said.out
    assert said.err == ""


def test_a_record_is_judged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    judged = []

    def counted(*asked: Any) -> Any:
        judged.append(asked)
        return verify_seal(*asked)

    monkeypatch.setattr(record_verify, "verify_seal", counted)
    assert main([word for word in ASKED if word != "--json"]) == 0
    assert len(judged) == 1


@pytest.mark.parametrize("asked", [(*ASKED, "--without-pages"), ("--help",)], ids=["verify", "help"])
def test_who_verifies_or_asks_for_help_loads_no_server_and_no_printer(asked: tuple[str, ...]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADED, " ".join(HEAVY), *asked],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.splitlines()[-1].split() == ["0"]
