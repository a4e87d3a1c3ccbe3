"""`zerokeep load`: faults all at once, changes only where the file differs, and a dry run that leaves nothing."""

import json
from datetime import date
from pathlib import Path

import pytest

from webapp.cli import main
from webapp.demo.demo_shop import demo_shop_text
from webapp.store import Store

DEMO = demo_shop_text(date(2026, 11, 25))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "only for this test, long enough")
    return tmp_path / "data"


def shop_file(tmp_path: Path, text: str = DEMO) -> str:
    path = tmp_path / "SHOP.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def load(folder: Path, file: str, *more: str) -> int:
    return main(["load", file, "--data-folder", str(folder), *more])


def ledger_size(folder: Path) -> int:
    store = Store.open(folder / "zerokeep.db")
    try:
        with store.reading():
            return store.ledger.size()
    finally:
        store.close()


def test_every_fault_is_said_at_once_and_nothing_is_changed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = DEMO.replace('unit = "in"', 'unit = "inch"').replace('owner = "ilse"', 'owner = "ilsa"')
    assert load(folder, shop_file(tmp_path, broken)) == 1
    said = capsys.readouterr().err
    assert "machine “dunlin”, unit: Expected: mm or in." in said
    assert "slot dunlin W4: There is no person “ilsa” in this file." in said
    assert not folder.exists()


def test_faults_as_json_carry_code_and_place(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path, "[shop]\nname = 3\n"), "--json") == 1
    faults = json.loads(capsys.readouterr().out)["faults"]
    assert {"shop_file.field_missing", "shop_file.field_wrong"} <= {fault["code"] for fault in faults}


def test_a_dry_run_says_the_changes_and_leaves_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--dry-run", "--json") == 0
    changes = json.loads(capsys.readouterr().out)["changes"]
    assert sum(change["type"] == "person.added" for change in changes) == 12
    assert not any("secrets" in change for change in changes)
    assert ledger_size(folder) == 0


def test_loading_again_changes_only_what_differs(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--json") == 0
    first = json.loads(capsys.readouterr().out)["changes"]
    assert sum("secrets" in change for change in first) == 12
    size = ledger_size(folder)

    assert load(folder, shop_file(tmp_path), "--json") == 0
    assert json.loads(capsys.readouterr().out)["changes"] == []
    assert ledger_size(folder) == size

    slower = DEMO.replace("first_feed_mm_per_min = 900", "first_feed_mm_per_min = 600")
    assert load(folder, shop_file(tmp_path, slower), "--json") == 0
    changed = json.loads(capsys.readouterr().out)["changes"]
    assert [(change["type"], change["subject"]) for change in changed] == [("machine.changed", "plover")]


def test_a_new_seating_in_the_file_starts_one(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load(folder, shop_file(tmp_path))
    capsys.readouterr()
    moved = DEMO.replace(
        'Moved two slots to the right and trammed" },',
        'Moved two slots to the right and trammed" },\n'
        '  { id = "dunlin-vise-3", since = 2026-11-25T06:00:00Z, reason = "Cleaned and seated again" },',
    )
    assert load(folder, shop_file(tmp_path, moved), "--json") == 0
    changed = json.loads(capsys.readouterr().out)["changes"]
    assert [(change["type"], change["subject"]) for change in changed] == [("seating.started", "dunlin-vise")]


def test_first_secrets_are_shown_once_and_open_nothing_but_the_change(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load(folder, shop_file(tmp_path))
    said = capsys.readouterr().out
    assert "First secrets, shown this once" in said
    load(folder, shop_file(tmp_path))
    assert "First secrets" not in capsys.readouterr().out


def test_a_file_that_is_not_there_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert load(folder, "nowhere.toml") == 2
    assert "nowhere.toml" in capsys.readouterr().err
