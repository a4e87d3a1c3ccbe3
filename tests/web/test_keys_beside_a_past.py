"""A folder whose keys are gone is not given new ones; its files are for the server's own account."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography import x509

from tests.kit.clock import Clock
from tests.kit.house import House
from webapp.data_folder import CERTIFICATES_FILE, make_data_folder
from webapp.proof.errors import KeyFolderError
from webapp.settings import BadSetting, Settings
from webapp.shop_folder import open_keyring

WORDS = "four plain words here"


def settings(folder: Path, **more: object) -> Settings:
    return Settings(data_folder=folder, **more)


def opened(folder: Path, **more: object) -> object:
    return open_keyring(settings(folder, **more), Clock(), lambda: "a made up passphrase of 24 signs")


def test_keys_that_are_gone_beside_a_past_are_not_made_anew(tmp_path: Path) -> None:
    House(tmp_path).store.close()
    (tmp_path / "keys" / "keys.json").unlink()
    with pytest.raises(KeyFolderError, match=r"Put .*keys\.json back from a backup"):
        opened(tmp_path, key_passphrase=WORDS)
    assert list((tmp_path / "keys").iterdir()) == []
    with pytest.raises(KeyFolderError):
        opened(tmp_path)
    assert not (tmp_path / "unlock").exists()


def test_an_unlock_file_that_is_gone_beside_the_keys_is_not_made_anew(tmp_path: Path) -> None:
    opened(tmp_path)
    (tmp_path / "unlock").unlink()
    with pytest.raises(BadSetting, match="nothing else opens them"):
        opened(tmp_path)
    assert not (tmp_path / "unlock").exists()


def test_a_certificate_whose_key_is_gone_stays_among_the_certificates(tmp_path: Path) -> None:
    opened(tmp_path)
    file = tmp_path / CERTIFICATES_FILE
    first = x509.load_pem_x509_certificates(file.read_bytes())
    (tmp_path / "keys" / "keys.json").unlink()
    opened(tmp_path)
    both = x509.load_pem_x509_certificates(file.read_bytes())
    assert (len(both), both[1:]) == (2, first)
    opened(tmp_path)
    assert x509.load_pem_x509_certificates(file.read_bytes()) == both


def test_a_damaged_certificate_takes_no_other_one_with_it_and_the_file_is_kept(tmp_path: Path) -> None:
    opened(tmp_path)
    file = tmp_path / CERTIFICATES_FILE
    lost_key = file.read_bytes()
    (tmp_path / "keys" / "keys.json").unlink()
    opened(tmp_path)
    own = file.read_bytes().removesuffix(lost_key)
    damaged = own.replace(b"MII", b"!II", 1) + lost_key
    file.write_bytes(damaged)
    opened(tmp_path)
    assert file.read_bytes() == own + lost_key
    (aside,) = tmp_path.glob(f"{CERTIFICATES_FILE}.damaged-*")
    assert aside.read_bytes() == damaged
    opened(tmp_path)
    assert len(list(tmp_path.glob(f"{CERTIFICATES_FILE}*"))) == 2


def test_database_and_data_folder_are_for_the_server_s_own_account(tmp_path: Path) -> None:
    house = House(tmp_path / "shop")
    database = tmp_path / "shop" / "zerokeep.db"
    assert database.stat().st_mode & 0o777 == 0o600
    house.store.close()
    database.chmod(0o644)
    House(tmp_path / "shop", house.keyring, loaded=True).store.close()
    assert database.stat().st_mode & 0o777 == 0o600
    (tmp_path / "shop").chmod(0o755)
    make_data_folder(settings(tmp_path / "shop"))
    assert (tmp_path / "shop").stat().st_mode & 0o777 == 0o700
