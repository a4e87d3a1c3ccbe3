"""`zerokeep certificate`: made, shown, taken apart and renewed from the command line; `serve` finds it by
itself.
"""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from webapp.cli import main
from webapp.clocks import utc_now
from webapp.proof.certificates import own_certificate
from webapp.server import certificates
from webapp.server.serving import prepare
from webapp.settings import read_settings

HOSTS = ("setup.shop.lan", "192.168.40.7")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    given = ["--subnet", "192.168.40.0/24", "--data-folder", str(tmp_path / "shop")]
    assert main(["certificate", "make", *HOSTS, *given]) == 0
    return tmp_path / "shop"


def call(folder: Path, *arguments: str) -> int:
    return main(["certificate", *arguments, "--data-folder", str(folder)])


def test_serve_finds_the_certificate_and_answers_by_the_first_name(folder: Path) -> None:
    settings = read_settings({}, {"data_folder": folder, "port": 8777})
    assert settings.address == "https://setup.shop.lan:8777"
    assert settings.host == "0.0.0.0"  # noqa: S104 - what is read, not bound
    assert settings.trusted_hosts[-2:] == HOSTS
    assert (settings.by_tls, settings.by_own_authority, settings.trust_port) == (True, True, 8778)
    said = "\n".join(prepare(read_settings({}, {"data_folder": folder, "host": "127.0.0.1", "port": 8777})))
    assert "opens http://192.168.40.7:8778/ first" in said
    assert own_certificate.fingerprint(own_certificate.look(folder / "certificate").authority) in said


def test_a_certificate_of_the_shops_own_goes_before_it(folder: Path) -> None:
    file = folder / "certificate/server.pem"
    other = folder / "other.pem"
    other.write_bytes(file.read_bytes())
    settings = read_settings(
        {},
        {
            "data_folder": folder,
            "tls_certificate": other,
            "tls_key": other,
            "trusted_hosts": "setup.shop.lan",
        },
    )
    assert (settings.by_tls, settings.by_own_authority, settings.trust_port) == (True, False, None)


def test_it_renews_itself_while_the_key_is_there_and_not_after(folder: Path) -> None:
    settings = read_settings({}, {"data_folder": folder})
    before = own_certificate.look(folder / "certificate").server
    later = utc_now() + timedelta(days=250)
    assert certificates.renew_if_due(settings, utc_now()) is False
    assert certificates.renew_if_due(settings, later) is True
    renewed = own_certificate.look(folder / "certificate").server
    assert renewed.not_valid_after_utc > before.not_valid_after_utc + timedelta(days=249)
    assert call(folder, "take-off", str(folder / "stick.json")) == 0
    assert certificates.renew_if_due(settings, later + timedelta(days=300)) is False


def test_the_key_is_taken_off_with_a_passphrase_shown_once_and_renews_by_it(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert call(folder, "take-off", str(folder / "stick.json")) == 0
    shown = re.search(r"[0-9a-f]{4}(-[0-9a-f]{4}){3}", capsys.readouterr().out)
    assert shown
    assert call(folder, "renew") == 1
    assert "taken off" in capsys.readouterr().err
    monkeypatch.setenv("ZEROKEEP_AUTHORITY_PASSPHRASE", shown[0])
    assert call(folder, "renew", "setup.shop.lan", "--authority-key", str(folder / "stick.json")) == 0
    assert own_certificate.look(folder / "certificate").hosts == ("setup.shop.lan",)
    assert call(folder, "show") == 0
    assert "was taken off" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("make", "setup"), "with a dot"),
        (("make", "setup.shop.lan", "--subnet", "0.0.0.0/0"), "wider"),
        (("renew", "bank.example"), "may not vouch for bank.example"),
        (("take-off", "/proc/nowhere/key.json"), "could not be written"),
    ],
)
def test_what_cannot_be_is_said_and_changes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], says: str
) -> None:
    before = {path.name: path.read_bytes() for path in (folder / "certificate").iterdir()}
    assert call(folder, *arguments) == 1
    assert says in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (folder / "certificate").iterdir()} == before


def test_a_short_passphrase_of_ones_own_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ZEROKEEP_AUTHORITY_PASSPHRASE", "short")
    assert call(folder, "take-off", str(folder / "stick.json")) == 1
    assert "15 or more" in capsys.readouterr().err
    assert own_certificate.look(folder / "certificate").key_is_here
