"""`zerokeep renew-seal`: another key from then on,
the former certificate still trusted, both on the ledger.
"""

import json
from pathlib import Path

import pytest
from cryptography import x509

from webapp.cli import main
from webapp.commands.opening import opened
from webapp.data_folder import CERTIFICATES_FILE
from webapp.settings import Settings

PASSPHRASE = "only for this test, long enough"


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", PASSPHRASE)
    settings = Settings(data_folder=tmp_path / "data", key_passphrase=PASSPHRASE)
    with opened(settings):
        pass
    return settings


def certificates(settings: Settings) -> list[x509.Certificate]:
    return x509.load_pem_x509_certificates((settings.data_folder / CERTIFICATES_FILE).read_bytes())


def test_the_seal_gets_another_key_and_the_former_certificate_stays_trusted(
    settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    (before,) = certificates(settings)
    assert main(["renew-seal", "--data-folder", str(settings.data_folder)]) == 0
    said = capsys.readouterr().out
    with opened(settings) as (store, keyring):
        now, former = keyring.trusted_certificates
        assert former == before
        assert keyring.seal_key.public_key() == now.public_key() != before.public_key()
        with store.reading():
            (row,) = store.ledger.changes(kind="seal.renewed")
    assert certificates(settings) == [now, before]
    assert json.loads(row["text"])["data"]["sha256"] in said
    assert "Start the server again" in said


def test_what_was_renewed_can_be_had_as_json(settings: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["renew-seal", "--json", "--data-folder", str(settings.data_folder)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said.keys() == {"sha256", "until_utc", "before"}


def test_nothing_is_renewed_without_the_passphrase_of_the_keys(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = certificates(settings)
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "another passphrase, as long")
    assert main(["renew-seal", "--data-folder", str(settings.data_folder)]) == 1
    assert "passphrase does not open the keys" in capsys.readouterr().err
    assert certificates(settings) == before


def test_a_folder_without_a_shop_stays_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    elsewhere = tmp_path / "mistyped"
    assert main(["renew-seal", "--data-folder", str(elsewhere)]) == 2
    assert "There is no shop in" in capsys.readouterr().err
    assert not elsewhere.exists()
