"""`zerokeep import`: what becomes of each line, before anything is changed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.kit.house import House
from tests.kit.kept import kept_values
from webapp.cli import main

HEADER = "at_utc,machine,fixture,seating,x_mm\n"
LINES = "".join(f"2026-11-{10 + n},mill-1,vise-a,vise-a-1,-381.21{n}\n" for n in range(5))
FAR = "2026-11-20,mill-1,vise-a,vise-a-1,-371.214\n"
INCHES = "2026-11-21,mill-1,vise-a,vise-a-1,-15.009\n"
END = "9999-12-31T23:59:59-12:00,mill-1,vise-a,vise-a-1,-381.214\n"


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "four plain words here")
    (tmp_path / "shop").mkdir()
    return House(tmp_path / "shop")


def imported(house: House, tmp_path: Path, *more: str) -> int:
    table = tmp_path / "past.csv"
    table.write_text(HEADER + LINES + FAR + INCHES + END, encoding="utf-8")
    return main(["import", str(table), "--data-folder", str(house.folder), *more])


def test_the_dry_run_names_every_line_that_is_refused_or_asked_about(
    house: House, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert imported(house, tmp_path, "--dry-run") == 0
    said = capsys.readouterr()
    assert "line 7: asked about, not taken. X −371.214 mm lies 9.997 mm away" in said.err
    assert "line 8: refused. X −15.009 mm looks like a number of the other unit" in said.err
    assert "line 9: refused. “9999-12-31T23:59:59-12:00” is no time" in said.err
    assert "Would take in: 5 setups, 5 values. Refused lines: 2." in said.out
    assert "Lines asked about: 1, of these taken: 0." in said.out
    with house.store.reading():
        assert kept_values(house.store, "vise-a") == []


def test_a_line_is_taken_all_the_same_where_it_is_named(
    house: House, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert imported(house, tmp_path, "--json", "--all-the-same", "7") == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["setups"], said["taken_all_the_same"]) == (6, 1)
    assert [one["line"] for one in said["refused"]] == [8, 9]
    assert [(one["line"], one["code"]) for one in said["asked"]] == [(7, "history.far_table")]
    with house.store.reading():
        assert len(kept_values(house.store, "vise-a")) == 6


def test_every_asked_line_can_be_taken_at_once(house: House, tmp_path: Path) -> None:
    assert imported(house, tmp_path, "--all-the-same", "every") == 0
    with house.store.reading():
        assert len(kept_values(house.store, "vise-a")) == 6
