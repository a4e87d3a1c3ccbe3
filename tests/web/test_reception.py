"""Slow, silent and half-sent clients take no thread;
what is late, too large or too much is answered in words.
"""

from __future__ import annotations

import asyncio
import json
import threading
import tracemalloc
from collections.abc import Callable, Coroutine, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from flask import Flask, request

from webapp.server.reception import Limits, Reception

Answer = tuple[int, dict[str, str], bytes]


def application() -> Flask:
    """Says what it was asked."""
    app = Flask(__name__)
    app.config["MAX_CONTENT_LENGTH"] = 1000

    @app.route("/<path:path>", methods=["GET", "POST"])
    def tell(path: str) -> dict[str, Any]:
        return {"path": path, "body": request.get_data(as_text=True), "query": request.args.to_dict(),
                "cookies": request.cookies.to_dict(), "scheme": request.scheme, "from": request.remote_addr,
                "held": request.headers.get("X-Held"), "thread": threading.current_thread().name}  # fmt: skip

    return app


def scope(
    path: str = "/api/events", method: str = "POST", headers: Iterable[tuple[bytes, bytes]] = ()
) -> Any:
    return {
        "type": "http", "method": method, "path": path, "query_string": b"a=1&b=%C3%A4",
        "http_version": "1.1", "scheme": "https", "headers": [(b"host", b"localhost"), *headers],
        "client": ("10.0.0.7", 4711), "server": ("127.0.0.1", 8420),
    }  # fmt: skip


class Client:
    """One client of an ASGI application: what it sends, in parts, and what it got."""

    def __init__(self, *parts: bytes, ends: bool = True, gone: bool = False) -> None:
        self.parts, self.ends, self.gone = list(parts), ends, gone
        self.got: list[Any] = []

    async def receive(self) -> Any:
        if self.parts:
            part = self.parts.pop(0)
            return {"type": "http.request", "body": part, "more_body": bool(self.parts) or not self.ends}
        if self.gone:
            return {"type": "http.disconnect"}
        if self.ends:
            return {"type": "http.request", "body": b"", "more_body": False}
        await asyncio.Event().wait()  # says nothing more, and does not hang up
        raise AssertionError

    async def send(self, message: Any) -> None:
        self.got.append(message)

    @property
    def answer(self) -> Answer:
        start, body = self.got
        headers = {name.decode(): value.decode() for name, value in start["headers"]}
        return start["status"], headers, body["body"]


def in_a_loop(asked: Coroutine[Any, Any, Any]) -> Any:
    """What is awaited in a loop of its own, in a thread of its own:
    this one may hold that of a driven browser.
    """
    with ThreadPoolExecutor(1) as room:
        return room.submit(asyncio.run, asked).result()


def ask(reception: Reception, client: Client, **more: Any) -> Client:
    in_a_loop(reception(scope(**more), client.receive, client.send))
    return client


def test_a_long_answer_goes_out_in_pieces_and_is_never_in_memory_as_a_whole() -> None:
    """Forty megabytes, of which a client takes one piece after the other."""
    app = Flask(__name__)
    app.add_url_rule("/table", view_func=lambda: (bytes(1_000_000) for _ in range(40)), endpoint="table")
    sizes: list[int] = []

    async def send(message: Any) -> None:
        sizes.append(len(message.get("body", b"")))

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    reception = Reception(app, 2)
    tracemalloc.start()
    in_a_loop(reception(scope("/table", "GET"), receive, send))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sum(sizes) == 40_000_000
    assert max(sizes) < 1_000_000
    assert peak < 10_000_000


@pytest.fixture
def reception() -> Reception:
    return Reception(application(), 2, Limits(body_s=0.2, largest_body=2000, most_waiting=4))


def test_a_request_reaches_the_application_whole(reception: Reception) -> None:
    headers = [(b"cookie", b"a=1"), (b"cookie", b"b=2"), (b"x-held", b"yes"), (b"x_held", b"no")]
    status, got, body = ask(reception, Client(b"one ", b"two"), headers=headers).answer
    said = json.loads(body)
    assert (status, got["content-type"]) == (200, "application/json")
    assert said["body"] == "one two"
    assert said["query"] == {"a": "1", "b": "ä"}
    assert said["cookies"] == {"a": "1", "b": "2"}
    assert (said["scheme"], said["from"], said["held"]) == ("https", "10.0.0.7", "yes")
    assert said["thread"].startswith("request")


def test_a_body_that_does_not_end_is_answered_in_time_and_takes_no_thread(reception: Reception) -> None:
    async def run() -> tuple[list[Client], Client]:
        slow = [Client(b"half of it", ends=False) for _ in range(3)]
        waiting = [asyncio.create_task(reception(scope(), one.receive, one.send)) for one in slow]
        await asyncio.sleep(0)
        quick = Client(b"all")
        await reception(scope(), quick.receive, quick.send)
        assert not any(one.got for one in slow)
        await asyncio.gather(*waiting)
        return slow, quick

    slow, quick = in_a_loop(run())
    assert quick.answer[0] == 200
    for one in slow:
        status, headers, body = one.answer
        assert (status, json.loads(body)) == (408, {"code": "web.late", "fields": {}})
        assert headers["connection"] == "close"
    assert not reception._reading


def test_a_client_that_hangs_up_is_not_answered(reception: Reception) -> None:
    assert ask(reception, Client(b"half", ends=False, gone=True)).got == []


@pytest.mark.parametrize("parts", [(b"x" * 1500,), (b"x" * 1500,) * 4])
def test_what_is_too_large_is_refused_by_the_application_in_its_own_words(
    reception: Reception, parts: tuple[bytes, ...]
) -> None:
    assert ask(reception, Client(*parts)).answer[0] == 413


@pytest.mark.parametrize(
    "limits", [Limits(most_waiting=0), Limits(reading_of_one_address=0)], ids=["everybody", "one address"]
)
def test_where_there_is_no_room_it_is_said_when_to_come_again(limits: Limits) -> None:
    full = Reception(application(), 1, limits)
    status, headers, body = ask(full, Client(b"x")).answer
    assert (status, headers["retry-after"], json.loads(body)["code"]) == (503, "5", "web.busy")
    status, headers, body = ask(full, Client(b""), path="/desk", method="GET").answer
    assert (status, headers["content-type"]) == (503, "text/plain; charset=utf-8")
    assert b"Try again" in body


def test_what_the_application_opened_is_closed_and_its_fault_is_a_fault() -> None:
    closed: list[bool] = []

    class Lines(list[bytes]):
        def close(self) -> None:
            closed.append(True)

    def app(_: Any, start: Callable[..., Any]) -> Lines:
        start("200 OK", [("X-Kind", "lines")])
        return Lines([b"a", b"b"])

    assert ask(Reception(app, 1), Client(b"")).answer == (200, {"x-kind": "lines"}, b"ab")
    assert closed == [True]

    def broken(_: Any, __: Any) -> Lines:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        ask(Reception(broken, 1), Client(b""))


FORWARDED = [
    (b"x-forwarded-for", b"203.0.113.9, 10.0.0.44"),
    (b"x-forwarded-proto", b"http"),
    (b"x-forwarded-host", b"elsewhere.example"),
]


def test_only_a_trusted_proxy_is_believed_who_sent_a_request_and_how() -> None:
    """The last entry alone is the proxy's own; what stands before it the sender may have made up."""
    by_proxy = Reception(application(), 2, trusted_proxies=("10.0.0.7",))
    said = json.loads(ask(by_proxy, Client(b""), headers=FORWARDED).answer[2])
    assert (said["from"], said["scheme"]) == ("10.0.0.44", "http")
    by_anybody = Reception(application(), 2, trusted_proxies=("10.0.0.8",))
    said = json.loads(ask(by_anybody, Client(b""), headers=FORWARDED).answer[2])
    assert (said["from"], said["scheme"]) == ("10.0.0.7", "https")


def test_a_proxy_that_strips_its_headers_or_fills_them_with_nonsense_is_plain_http_from_itself() -> None:
    reception = Reception(application(), 2, trusted_proxies=("10.0.0.7",))
    nonsense = [(b"x-forwarded-for", b"<b>"), (b"x-forwarded-proto", b"gopher")]
    for headers in ([], nonsense):
        said = json.loads(ask(reception, Client(b""), headers=headers).answer[2])
        assert (said["from"], said["scheme"]) == ("10.0.0.7", "http")
