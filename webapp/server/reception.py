"""Where requests arrive: each is read whole before a thread of the application is taken for it.

Rules:
- a thread is taken when the last byte of a request is here, and given back before the first byte of the
  answer leaves: a client that is slow, silent or gone in either direction costs memory and never a thread;
- a body has so many seconds and so many bytes. Late ones are answered 408, too large ones go on to the
  application without their bytes, which refuses them by their announced length in its own words (413);
- who sent a request and whether it came by TLS is what the connection says. Where a trusted proxy calls, it
  is what that proxy says (X-Forwarded-For, its last entry, and X-Forwarded-Proto); the same headers from
  anybody else are dropped before the application sees them (OWASP ASVS 5.0, 4.1.3);
- more requests than can wait are answered 503 with when to come again; of one address no more than so many
  are read at a time, so that one of them cannot fill the room. Every tablet begins again by itself after
  either answer.

Decision: the interface of WSGI hands a thread to a request before its body is read, so eight half-sent
uploads stopped the server for everybody, and adapters from the registry either read in that thread or answer
from it. ASGI gives the bytes as they come; what follows is the small part between the two: it reads, calls,
answers (PEP 3333; the ASGI specification, version 3).
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections import Counter
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import IO, TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from collections.abc import Iterator

    from _typeshed.wsgi import WSGIApplication

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]

IN_MEMORY_BYTES = 256 * 1024
ANSWER_IN_MEMORY_BYTES = 4 * 1024 * 1024  # what is longer, such as a long table, waits on the disk
PIECE_BYTES = 256 * 1024
LATE, BUSY = 408, 503
FORWARDED = frozenset(
    {b"forwarded", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-port", b"x-forwarded-prefix",
     b"x-forwarded-proto", b"x-forwarded-server", b"x-real-ip"}
)  # fmt: skip
PLAIN = (b"content-type", b"text/plain; charset=utf-8")
JSON = (b"content-type", b"application/json; charset=utf-8")
WORDS = {
    LATE: ("web.late", "The request did not arrive in time. Nothing was stored. Try again."),
    BUSY: ("web.busy", "The server has more to do than it can. Nothing was stored. Try again in a moment."),
}


@dataclass(frozen=True)
class Limits:
    """How long, how large and how many. Seconds, bytes, requests."""

    body_s: float = 30.0
    largest_body: int = 17 * 1024 * 1024
    reading_of_one_address: int = 64
    most_waiting: int = 256
    retry_after_s: int = 5


@dataclass
class Reception:
    """An ASGI application in front of a WSGI one, with `threads` of its own for it."""

    app: WSGIApplication
    threads: int
    limits: Limits = field(default_factory=Limits)
    trusted_proxies: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self._pool = ThreadPoolExecutor(self.threads, thread_name_prefix="request")
        self._reading: Counter[str] = Counter()
        self._inside = 0

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer one request; what is no HTTP request is let pass without an answer."""
        if scope["type"] != "http":
            return
        scope = as_sent(scope, self.trusted_proxies)
        address = (scope.get("client") or ("?", 0))[0]
        if self._inside >= self.limits.most_waiting:
            await self._refuse(scope, send, BUSY)
            return
        if self._reading[address] >= self.limits.reading_of_one_address:
            await self._refuse(scope, send, BUSY)
            return
        with self._counted(), tempfile.SpooledTemporaryFile(IN_MEMORY_BYTES) as body:
            try:
                arrived = await self._read(address, receive, body)
            except TimeoutError:
                await self._refuse(scope, send, LATE)
                return
            if arrived is not None:
                await self._answer(environ_of(scope, body, arrived), send)

    @contextmanager
    def _counted(self) -> Iterator[None]:
        self._inside += 1
        try:
            yield
        finally:
            self._inside -= 1

    async def _read(self, address: str, receive: Receive, body: IO[bytes]) -> int | None:
        """Read the body into the file; how many bytes came, None where the client went.
        Raises TimeoutError.
        """
        self._reading[address] += 1
        try:
            async with asyncio.timeout(self.limits.body_s):
                return await self._read_all(receive, body)
        finally:
            self._reading[address] -= 1
            self._reading += Counter()  # an address without a request is forgotten

    async def _read_all(self, receive: Receive, body: IO[bytes]) -> int | None:
        arrived = 0
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                return None
            part = message.get("body", b"")
            arrived += len(part)
            if arrived <= self.limits.largest_body:
                body.write(part)
            if not message.get("more_body", False):
                body.seek(0)
                return arrived

    async def _answer(self, environ: dict[str, Any], send: Send) -> None:
        loop = asyncio.get_running_loop()
        status, headers, content = await loop.run_in_executor(self._pool, call, self.app, environ)
        with content:
            await send({"type": "http.response.start", "status": status, "headers": headers})
            part, more = content.read(PIECE_BYTES), True
            while more:
                following = content.read(PIECE_BYTES)
                more = bool(following)
                await send({"type": "http.response.body", "body": part, "more_body": more})
                part = following

    async def _refuse(self, scope: Message, send: Send, status: int) -> None:
        code, words = WORDS[status]
        to_tablet = scope["path"].startswith("/api/")
        content = f'{{"code": "{code}", "fields": {{}}}}' if to_tablet else words + "\n"
        headers = [JSON if to_tablet else PLAIN, (b"connection", b"close"), (b"cache-control", b"no-store")]
        if status == BUSY:
            headers.append((b"retry-after", str(self.limits.retry_after_s).encode()))
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": content.encode()})


def as_sent(scope: Message, trusted_proxies: tuple[str, ...]) -> Message:
    """The request as its first sender made it where a trusted proxy hands it on, else without what such a
    proxy says.

    An entry that is no address leaves the proxy's own.
    """
    address, port = scope.get("client") or ("?", 0)
    kept = [(name, value) for name, value in scope["headers"] if name.lower() not in FORWARDED]
    if _plain(address) not in trusted_proxies:
        return {**scope, "headers": kept}
    said = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
    first = _plain(said.get(b"x-forwarded-for", "").rpartition(",")[2].strip()) or address
    scheme = said.get(b"x-forwarded-proto", "").rpartition(",")[2].strip().lower()
    is_known = scheme in {"http", "https"}
    return {**scope, "headers": kept, "client": (first, port), "scheme": scheme if is_known else "http"}


def _plain(address: str) -> str:
    """An address as settings write it; empty for what is none."""
    try:
        found = ip_address(address)
    except ValueError:
        return ""
    return str(getattr(found, "ipv4_mapped", None) or found)


def call(app: WSGIApplication, environ: dict[str, Any]) -> tuple[int, Headers, IO[bytes]]:
    """What a WSGI application answers:
    status, headers and the whole body as a file, to be closed by the caller.

    In the thread that the caller is in, which is free again before the first byte goes out:
    a slow reader holds none.
    """
    started: list[tuple[int, Headers]] = []

    def start_response(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
        del exc_info  # nothing was sent yet: a later call takes the place of an earlier one
        started[:] = [(int(status[:3]), [(name.lower().encode("latin-1"), value.encode("latin-1"))
                                         for name, value in headers])]  # fmt: skip
        return written.write

    written = tempfile.SpooledTemporaryFile(ANSWER_IN_MEMORY_BYTES)  # noqa: SIM115 - closed by the caller
    try:
        answer: Iterable[bytes] = app(environ, start_response)
        try:
            for part in answer:
                written.write(part)
        finally:
            getattr(answer, "close", _nothing)()
        status, headers = started[0]
    except BaseException:
        written.close()
        raise
    written.seek(0)
    return status, headers, cast("IO[bytes]", written)


def _nothing() -> None:
    """What closing comes to for an answer that needs none."""


def environ_of(scope: Message, body: IO[bytes], arrived: int) -> dict[str, Any]:
    """The environment of PEP 3333 for an ASGI request whose body of so many bytes was read.

    The length is the one that was counted, so that a body that was too large to keep is refused for it.
    """
    host, port = scope.get("server") or ("localhost", 80)
    environ: dict[str, Any] = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": scope["path"].encode("utf-8").decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "SERVER_NAME": str(host),
        "SERVER_PORT": str(port or 80),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.get("scheme", "http"),
        "wsgi.input": body,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
        "wsgi.input_terminated": True,
    }
    if scope.get("client"):
        environ["REMOTE_ADDR"] = scope["client"][0]
    for name, value in scope["headers"]:
        if b"_" not in name:  # it would pass for the same name with a hyphen
            _put_header(environ, name.decode("latin-1"), value.decode("latin-1"))
    if arrived or "CONTENT_LENGTH" in environ:
        environ["CONTENT_LENGTH"] = str(arrived)
    return environ


def _put_header(environ: dict[str, Any], name: str, value: str) -> None:
    """A header that comes twice is one with a comma between (RFC 9110 section 5.2),
    cookies with a semicolon.
    """
    key = name.upper().replace("-", "_")
    key = key if key in {"CONTENT_TYPE", "CONTENT_LENGTH"} else f"HTTP_{key}"
    between = "; " if key == "HTTP_COOKIE" else ","
    environ[key] = f"{environ[key]}{between}{value}" if key in environ else value
