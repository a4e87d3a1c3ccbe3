"""What can fail at a start fails before anything listens, and says what to do."""

import socket
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256

from webapp.data_folder import CERTIFICATES_FILE, HEAD_KEYS_FILE, CannotStart
from webapp.proof.keys.key_ring import SEAL_CERTIFICATE_DAYS, KeyRing
from webapp.server.serving import check_port, prepare
from webapp.settings import BadSetting, Settings, read_settings

LONG_ENOUGH = "only for this test, long enough"


def settings(folder: Path, **more: object) -> Settings:
    return Settings(data_folder=folder, key_passphrase=LONG_ENOUGH, **more)  # type: ignore[arg-type]


def test_a_port_in_use_is_named_with_what_to_do(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CannotStart) as refused:
            check_port(settings(tmp_path, port=port))
    assert str(port) in str(refused.value)
    assert "--port" in str(refused.value)


def test_an_empty_folder_says_how_to_load_a_shop(tmp_path: Path) -> None:
    lines = "\n".join(prepare(settings(tmp_path / "data", port=_free_port())))
    assert "zerokeep load SHOP.toml" in lines


def test_a_data_folder_that_cannot_be_written_is_named(open_path: Path) -> None:
    """As an ordinary user: root may write everywhere, so root becomes nobody first."""
    folder = open_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    script = """
import os, sys
from pathlib import Path
from webapp.data_folder import make_data_folder
from webapp.settings import Settings
if os.geteuid() == 0:
    os.setuid(65534)
make_data_folder(Settings(data_folder=Path(sys.argv[1])))
"""
    command = [sys.executable, "-c", script, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "cannot be written" in done.stderr


def test_a_wrong_key_passphrase_stops_the_start(tmp_path: Path) -> None:
    prepare(settings(tmp_path / "data", port=_free_port()))
    with pytest.raises(CannotStart, match="passphrase"):
        prepare(
            Settings(
                data_folder=tmp_path / "data",
                port=_free_port(),
                key_passphrase="another one, also long enough",
            )
        )


@pytest.mark.parametrize(
    ("name", "value"),
    [("port", "http"), ("port", "0"), ("host", "no host!"), ("host", "0.0.0.0"), ("demo", "maybe")],  # noqa: S104
)
def test_a_bad_setting_says_what_was_given(name: str, value: str) -> None:
    with pytest.raises(BadSetting) as refused:
        read_settings({}, {name: value})
    assert value in str(refused.value)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_a_seal_that_ends_soon_is_said_at_the_start(tmp_path: Path) -> None:
    long_ago = datetime.now(UTC) - timedelta(days=SEAL_CERTIFICATE_DAYS - 30)
    KeyRing.create(tmp_path / "data" / "keys", LONG_ENOUGH, common_name="Zerokeep", now=long_ago)
    lines = "\n".join(prepare(settings(tmp_path / "data", port=_free_port())))
    assert "in 29 days" in lines
    assert "zerokeep renew-seal" in lines


def test_what_somebody_put_beside_the_keys_for_those_who_verify_is_said_at_the_start(tmp_path: Path) -> None:
    data = tmp_path / "data"
    prepare(settings(data, port=_free_port()))
    prepare(settings(tmp_path / "others", port=_free_port()))
    assert "none of this server's keys" not in "\n".join(prepare(settings(data, port=_free_port())))
    for name in (CERTIFICATES_FILE, HEAD_KEYS_FILE):
        with (data / name).open("ab") as file:
            file.write((tmp_path / "others" / name).read_bytes())
    said = [
        line for line in prepare(settings(data, port=_free_port())) if "none of this server's keys" in line
    ]
    (certificate,) = x509.load_pem_x509_certificates((tmp_path / "others" / CERTIFICATES_FILE).read_bytes())
    assert len(said) == 2
    assert certificate.fingerprint(SHA256()).hex() in said[0]
    assert (tmp_path / "others" / HEAD_KEYS_FILE).read_text().strip() in said[1]


def test_a_certificate_that_nobody_would_take_ends_the_start_before_anything_answers(tmp_path: Path) -> None:
    for name in ("server.pem", "server.key"):
        (tmp_path / name).write_text("nonsense", encoding="ascii")
    given = {"tls_certificate": tmp_path / "server.pem", "tls_key": tmp_path / "server.key"}
    with pytest.raises(CannotStart, match="is no certificate in PEM"):
        prepare(settings(tmp_path / "data", port=_free_port(), **given))
    assert not (tmp_path / "data" / "zerokeep.db").exists()
