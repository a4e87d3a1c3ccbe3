"""The one page that is served without TLS: how to trust the shop's own authority, on every kind of device.

Rules:
- a device that does not trust the server yet cannot be told over TLS, so this is plain HTTP at a port of
  its own. It holds no secret, takes nothing, and knows five addresses; what it hands out is compared by its
  fingerprint with what the server printed at its start, because anybody in between could have sent another
  page;
- it is made once, at the start; answering takes no thread of the application. A slow or silent client holds
  one of a few connections for ten seconds.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import ip_address
from socket import AF_INET, AF_INET6
from typing import TYPE_CHECKING

from cryptography.hazmat.primitives.serialization import Encoding

from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.local_authority import power_of, said
from webapp.settings import Settings
from webapp.web.show.square_codes import square_code_svg

if TYPE_CHECKING:
    from flask import Flask

PATIENCE_S = 10
MOST_CONNECTIONS = 32
SHEETS = ("css/tokens.css", "css/base.css", "css/trust.css")
POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


@dataclass(frozen=True)
class Answer:
    """One file of the page."""

    body: bytes
    content_type: str
    as_file: str | None = None


def address(settings: Settings) -> str:
    """Where the page is: by address where the certificate names one, because a new device may not know the
    name.
    """
    given = [host.strip("[]") for host in settings.trusted_hosts]
    numbers = [host for host in given if _is_address(host) and not ip_address(host).is_loopback]
    host = numbers[0] if numbers else settings.named_host
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.trust_port}/"


def answers(app: Flask, settings: Settings) -> Mapping[str, Answer]:
    """All that the page consists of, by path. Raises ProofError."""
    own = own_certificate.look(settings.certificate_folder)
    shell = app.extensions["zerokeep"].shell
    page = app.jinja_env.get_template("trust/page.html").render(
        address=settings.address,
        here=address(settings),
        fingerprint=own_certificate.fingerprint(own.authority),
        power=said(power_of(own.authority)),
        name=own_certificate.common_name(own.authority),
        is_named=not _is_address(settings.named_host.strip("[]")),
    )
    sheet = b"\n".join(shell.assets[name].body for name in SHEETS)
    return {
        "/": Answer(page.encode(), "text/html; charset=utf-8"),
        "/page.css": Answer(sheet, "text/css; charset=utf-8"),
        "/qr.svg": Answer(square_code_svg(address(settings)), "image/svg+xml; charset=utf-8"),
        "/authority.crt": Answer(
            own.authority.public_bytes(Encoding.DER), "application/x-x509-ca-cert", "authority.crt"
        ),
        "/authority.pem": Answer(
            own.authority.public_bytes(Encoding.PEM), "application/x-pem-file", "authority.pem"
        ),
    }


class TrustServer(ThreadingHTTPServer):
    """Answers the five addresses, each connection in a thread of its own, so many at a time."""

    daemon_threads = True
    allow_reuse_port = True  # a worker that takes over listens before the former one has gone

    def __init__(self, settings: Settings, known: Mapping[str, Answer]) -> None:
        self.address_family = AF_INET6 if ":" in settings.host else AF_INET
        self.known = known
        self._free = threading.BoundedSemaphore(MOST_CONNECTIONS)
        super().__init__((settings.host, settings.trust_port or 0), _Handler)

    def process_request(self, request: object, client_address: object) -> None:
        """Take the connection, or close it where too many are open."""
        if not self._free.acquire(blocking=False):
            self.shutdown_request(request)  # type: ignore[arg-type]
            return
        super().process_request(request, client_address)  # type: ignore[arg-type]

    def process_request_thread(self, request: object, client_address: object) -> None:
        """Answer, and give the place free."""
        try:
            super().process_request_thread(request, client_address)  # type: ignore[arg-type]
        finally:
            self._free.release()

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that went away is no fault."""


class _Handler(BaseHTTPRequestHandler):
    timeout = PATIENCE_S
    server: TrustServer
    server_version, sys_version = "zerokeep", ""

    def do_GET(self) -> None:
        self._answer(with_body=True)

    def do_HEAD(self) -> None:
        self._answer(with_body=False)

    def _answer(self, *, with_body: bool) -> None:
        found = self.server.known.get(self.path.split("?")[0])
        if found is None:
            self.send_response(303)
            self.send_header("Location", "/")
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        self.send_response(200)
        self.send_header("Content-Type", found.content_type)
        self.send_header("Content-Length", str(len(found.body)))
        if found.as_file:
            self.send_header("Content-Disposition", f'attachment; filename="{found.as_file}"')
        for name, value in (
            ("Content-Security-Policy", POLICY),
            ("X-Content-Type-Options", "nosniff"),
            ("Cache-Control", "no-store"),
        ):
            self.send_header(name, value)
        self.end_headers()
        if with_body:
            self.wfile.write(found.body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name is the library's
        """Nobody reads who looked at this page."""


def start(app: Flask, settings: Settings) -> TrustServer:
    """Serve the page from a thread of its own until the process ends. Raises OSError, ProofError."""
    server = TrustServer(settings, answers(app, settings))
    threading.Thread(target=server.serve_forever, name="trust page", daemon=True).start()
    return server


def _is_address(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True
