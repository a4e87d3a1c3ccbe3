"""A server that runs for months: its certificate renews itself day by day, and new connections are shown the
new one without a start; where the authority's key was taken off, the end that comes is told every day.
"""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509

from tests.kit.server import free_port
from webapp.cli import main
from webapp.clocks import utc_now
from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE

NAME, PASSPHRASE = "setup.shop.lan", "four plain words here"
PATIENCE_S = 300
# The server itself; its clock is as many days ahead as a file says, and its day is short.
PROGRAM = """
import os
from datetime import timedelta
from pathlib import Path
from webapp.server import serving, watching
from webapp.settings import read_settings
now = serving.utc_now
serving.utc_now = lambda: now() + timedelta(days=int(Path(os.environ["AHEAD"]).read_text()))
watching.DAY_S = watching.AGAIN_S = watching.FIRST_PAUSE_S = serving.ASK_AGAIN_S = 0.5
serving.serve(read_settings(os.environ))
"""


class Served:
    """`zerokeep serve` with a certificate of the shop's own authority, and its clock in the test's hand."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port, self.log = folder, free_port(), folder / "log"
        self.certificates = folder / "shop" / "certificate"
        self.move_to(days=0)
        environment = {
            **os.environ,
            "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
            "AHEAD": str(folder / "ahead"),
            "ZEROKEEP_DATA_FOLDER": str(folder / "shop"),
            "ZEROKEEP_PORT": str(self.port),
            "ZEROKEEP_TRUST_PORT": str(free_port()),
            "ZEROKEEP_KEY_PASSPHRASE": PASSPHRASE,
        }
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-c", PROGRAM],
                env=environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def move_to(self, *, days: int) -> None:
        """Put the server's clock so many days ahead of this computer's."""
        (self.folder / "ahead.new").write_text(str(days))
        (self.folder / "ahead.new").replace(self.folder / "ahead")

    def workers(self) -> set[int]:
        """The processes that answer. When one takes over from another both do, for some seconds."""
        own = self.process.pid
        return set(map(int, Path(f"/proc/{own}/task/{own}/children").read_text().split()))

    def shown(self) -> x509.Certificate | None:
        """The certificate that a new connection is shown, or None where nobody answers."""
        looking = ssl.create_default_context()
        looking.check_hostname, looking.verify_mode = False, ssl.CERT_NONE
        try:
            plain = socket.create_connection(("127.0.0.1", self.port), timeout=20)
            with plain, looking.wrap_socket(plain, server_hostname=NAME) as connection:
                return x509.load_der_x509_certificate(connection.getpeercert(binary_form=True) or b"")
        except OSError:
            return None

    def until(self, is_so: Callable[[], bool]) -> None:
        """Wait until it is so, as long as the server runs."""
        last = time.monotonic() + PATIENCE_S
        while not is_so():
            said = self.log.read_text()
            assert self.process.poll() is None, said
            assert time.monotonic() < last, said
            time.sleep(0.2)


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", PASSPHRASE)
    made = ["certificate", "make", NAME, "127.0.0.1", "--data-folder", str(tmp_path / "shop")]
    assert main(made) == 0
    one = Served(tmp_path)
    yield one
    if one.process.poll() is None:
        os.killpg(one.process.pid, signal.SIGKILL)
    one.process.wait()


def test_new_connections_get_the_renewed_certificate_without_a_start_and_its_end_is_told_without_the_key(
    served: Served,
) -> None:
    served.until(lambda: served.shown() is not None)
    first, before = served.shown(), served.workers()
    assert first == own_certificate.look(served.certificates).server

    served.move_to(days=250)  # 57 before its end
    served.until(lambda: served.shown() == own_certificate.look(served.certificates).server != first)
    served.until(lambda: served.workers().isdisjoint(before))
    own = own_certificate.look(served.certificates)
    second = served.shown()
    assert [served.shown() for _ in range(8)] == [second] * 8 == [own.server] * 8
    second.verify_directly_issued_by(own.authority)
    assert second.public_key() != first.public_key()
    assert timedelta(days=300) < second.not_valid_after_utc - (utc_now() + timedelta(days=250))
    assert served.process.poll() is None, "the process that was started is the one that runs"
    assert "The server's certificate" not in served.log.read_text()

    (served.certificates / AUTHORITY_KEY_FILE).rename(served.folder / "on a stick")
    served.move_to(days=250 + 280)
    day = f"{second.not_valid_after_utc:%Y-%m-%d}"
    served.until(lambda: served.log.read_text().count(f"ends on {day}") > 1)
    assert served.shown() == second, "nothing renews it without the key"
