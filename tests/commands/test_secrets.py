"""`zerokeep secrets PERSON`: a person begins anew, on the server's own machine, and the ledger says so."""

import json
from pathlib import Path

import pytest

from tests.kit.house import House
from webapp.cli import main
from webapp.commands.secrets import secrets
from webapp.services.people import accounts
from webapp.services.people.access import check_secret
from webapp.settings import Settings

WORDS = "four plain words here"


def test_a_lead_who_is_locked_out_signs_in_with_what_the_command_shows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house = House(tmp_path)
    with house.store.writing():
        for _ in range(500):
            house.store.access.fail("passphrase:ines:anywhere", house.clock.text)
    house.store.close()
    assert secrets(Settings(data_folder=tmp_path, key_passphrase=WORDS), "ines", as_json=True) == 0
    given = json.loads(capsys.readouterr().out)
    person = check_secret(house.store, "ines", given["passphrase"], house.clock(), "10.0.0.7")
    assert person is not None
    assert person["must_change"]
    with house.store.reading():
        newest = house.store.ledger.changes(kind="secret.changed", newest=1)[0]
    assert (newest["by"], newest["subject"]) == ("server", "ines")
    assert given["passphrase"] not in newest["text"]
    erases_a_name(house, tmp_path, capsys)


def erases_a_name(house: House, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In the same shop, because making one is slow: `zerokeep erase-name PERSON`."""
    call = ["erase-name", "ivo", "--data-folder", str(folder)]
    (folder / "unlock").write_text(WORDS)
    (folder / "unlock").chmod(0o600)
    assert main(call) == 1
    assert "in use" in capsys.readouterr().err
    accounts.disable_person(house.store, "ivo", "Left.", "ines", house.clock())
    assert main(call) == 0
    assert "What stays" in capsys.readouterr().out
    with house.store.reading():
        assert (house.store.people.person("ivo") or {})["name"] == "ivo"
        assert house.store.ledger.changes(newest=1)[0]["by"] == "server"


def test_nobody_and_nowhere_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = Settings(data_folder=tmp_path / "none", key_passphrase=WORDS)
    assert secrets(settings, "ines", as_json=False) == 2
    House(tmp_path / "shop").store.close()
    settings = Settings(data_folder=tmp_path / "shop", key_passphrase=WORDS)
    assert secrets(settings, "nobody", as_json=False) == 1
    said = capsys.readouterr().err
    assert "Nobody is “nobody”" in said
    assert "ines" in said
