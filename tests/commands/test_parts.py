"""`zerokeep parts`: every pinned library with what is installed, as a list and as a bill of materials."""

import json
from importlib.metadata import version
from pathlib import Path

import pytest

from webapp.cli import main
from webapp.commands.parts import PINS, parts


def pinned() -> set[str]:
    lines = PINS.read_text(encoding="utf-8").splitlines()
    return {line.partition("==")[0] for line in lines if "==" in line and not line.startswith((" ", "#"))}


def test_every_pinned_library_is_in_the_bill_of_materials_with_its_installed_version(
    capsys: pytest.CaptureFixture[str],
) -> None:
    main(["parts", "--json"])
    bill = json.loads(capsys.readouterr().out)
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    libraries = {one["name"]: one for one in bill["components"] if one["type"] == "library"}
    assert libraries.keys() == pinned()
    assert libraries["weasyprint"]["version"] == version("weasyprint")
    assert libraries["flask"]["purl"] == f"pkg:pypi/flask@{version('flask')}"
    assert {one["name"] for one in bill["components"] if one["type"] == "platform"} == {
        "Python", "SQLite", "OpenSSL",
    }  # fmt: skip


def test_the_list_names_version_and_licence(capsys: pytest.CaptureFixture[str]) -> None:
    main(["parts"])
    rows = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()}
    assert rows.keys() >= pinned()
    assert version("flask") in rows["flask"]
    assert "BSD" in rows["flask"]


def test_another_version_than_pinned_and_a_missing_library_are_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "requirements.txt"
    file.write_text(
        "flask==0.1\n    # via x\nno-such-library==1.0 \\\n    --hash=sha256:00\n", encoding="utf-8"
    )
    assert parts(as_json=False, pins=file) == 1
    said = capsys.readouterr()
    assert "Not as pinned: flask, no-such-library." in said.err
    assert "pinned: 0.1" in said.out
    assert "missing" in said.out
    file.write_text(f"flask=={version('flask')}\n", encoding="utf-8")
    assert parts(as_json=False, pins=file) == 0
