"""`zerokeep audit`: nothing found in a whole shop, every finding by its record, and an exit status that says which."""

import json
import sqlite3
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.cli import main


@pytest.fixture
def house(tmp_path: Path) -> House:
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    house.sheet()
    house.store.close()
    return house


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()


def alter(house: House) -> None:
    """Somebody with the file and a tool."""
    connection = sqlite3.connect(house.folder / "zerokeep.db")
    connection.execute("DROP TRIGGER sheet_no_update")
    connection.execute("UPDATE sheet SET text = text || ' '")
    connection.commit()
    connection.close()


def audit(house: House, *more: str) -> int:
    return main(["audit", "--data-folder", str(house.folder), *more])


def test_a_whole_shop_has_no_findings(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    assert audit(house) == 0
    assert "Everything is as it was written." in capsys.readouterr().out
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="audit.ran")) == 1


def test_what_does_not_fit_is_said_by_record_with_a_status_of_its_own(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    alter(house)
    assert audit(house) == 1
    said = capsys.readouterr().out
    assert "A setup sheet was changed: sheet " in said
    assert "bring back a backup" in said


def test_the_outcome_can_be_had_as_json(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    alter(house)
    assert audit(house, "--json") == 1
    said = json.loads(capsys.readouterr().out)
    assert (said["faults"], said["found"][0]["code"]) == (1, "audit.sheet")


def test_a_folder_without_a_shop_is_refused_and_nothing_is_made_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["audit", "--data-folder", str(tmp_path / "nowhere")]) == 2
    assert "no shop in" in capsys.readouterr().err
    assert not (tmp_path / "nowhere").exists()
