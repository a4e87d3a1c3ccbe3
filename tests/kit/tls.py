"""TLS for real: a demo shop with an authority of its own, browsers that trust it and nothing else, and
small servers that show whatever certificate a test wants.

A browser's trust lies in the NSS database of its own home (certutil, Debian's libnss3-tools); names are
mapped to this computer inside the browser, so that the system stays as it is.
"""

from __future__ import annotations

import os
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509 import Certificate
from playwright.sync_api import BrowserContext, Playwright

from tests.kit.chromium import CHROMIUM_FLAGS, HEADLESS, HINTING, PORTRAIT, viewport
from tests.kit.server import Server, free_port
from webapp.cli import main
from webapp.proof.certificates.own_certificate import AUTHORITY_FILE

NAME, ADDRESS = "setup.shop.lan", "127.0.0.2"
PATIENCE_S = 10
PAGE = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 5\r\nConnection: close\r\n\r\nhere\n"


class TlsServer(Server):
    """The demo served with a certificate of the shop's own authority, made by the program's own command."""

    def __init__(self, folder: Path, *hosts: str) -> None:
        super().__init__(folder)
        self.trust_port = free_port()
        self.address = f"https://{NAME}:{self.port}"
        self.by_address = f"https://{ADDRESS}:{self.port}"
        self.authority = folder / "certificate" / AUTHORITY_FILE
        if not self.authority.exists():
            assert (
                main(["certificate", "make", *(hosts or (NAME, ADDRESS)), "--data-folder", str(folder)]) == 0
            )

    def arguments(self) -> list[str]:
        return [*super().arguments(), "--trust-port", str(self.trust_port)]

    def answers(self) -> bool:
        """Whether it completes a handshake that its own authority vouches for."""
        trusting = ssl.create_default_context(cafile=self.authority)
        try:
            plain = socket.create_connection(("127.0.0.1", self.port), timeout=5)
            with plain, trusting.wrap_socket(plain, server_hostname=NAME):
                return True
        except OSError:
            return False


def trust(home: Path, authority: Path) -> None:
    """Make a home for a browser that trusts this authority."""
    database = home / ".pki" / "nssdb"
    database.mkdir(parents=True)
    for arguments in (("-N", "--empty-password"), ("-A", "-n", "shop", "-t", "C,,", "-i", str(authority))):
        subprocess.run(["certutil", "-d", f"sql:{database}", *arguments], check=True, capture_output=True)


def browser_at(playwright: Playwright, home: Path, *, blind: bool = False) -> BrowserContext:
    """A browser with this home. `blind`: somebody clicked its warnings away."""
    return playwright.chromium.launch_persistent_context(
        home / "profile",
        executable_path=HEADLESS,
        args=[*CHROMIUM_FLAGS, HINTING, "--host-resolver-rules=MAP *.lan 127.0.0.1"],
        env={**os.environ, "HOME": str(home)},
        headless=True,
        ignore_https_errors=blind,
        reduced_motion="reduce",
        viewport=viewport(PORTRAIT),
    )


@contextmanager
def shown(folder: Path, key: ec.EllipticCurvePrivateKey, chain: list[Certificate]) -> Iterator[int]:
    """A server that shows this certificate and says "here"; its port."""
    file = folder / f"{chain[0].serial_number}.pem"
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    file.write_bytes(b"".join([private, *(one.public_bytes(Encoding.PEM) for one in chain)]))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=_answer_all, args=(listener, context), daemon=True)
        thread.start()
        yield listener.getsockname()[1]
        listener.shutdown(socket.SHUT_RDWR)
        thread.join(PATIENCE_S)


def _answer_all(listener: socket.socket, context: ssl.SSLContext) -> None:
    while True:
        try:
            plain, _ = listener.accept()
        except OSError:
            return
        try:
            plain.settimeout(PATIENCE_S)
            with context.wrap_socket(plain, server_side=True) as connection:
                connection.recv(65536)
                connection.sendall(PAGE)
        except OSError:
            plain.close()
