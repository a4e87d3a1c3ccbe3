"""Connections that ask nothing are closed, and one address does not hold them all."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from webapp.server.connections import Bounds, Seen, tend_once, to_close

BOUNDS = Bounds(silent_s=10, idle_s=300, of_one_address=3)


def seen(
    address: str = "10.0.0.1", *, asked: bool = True, quiet_s: float = 0, idle_s: float | None = None
) -> Seen:
    return Seen(address, asked, quiet_s, quiet_s if idle_s is None else idle_s)


@pytest.mark.parametrize(
    ("one", "closed"),
    [
        (seen(asked=False, quiet_s=9.9), False),
        (seen(asked=False, quiet_s=10), True),
        (seen(quiet_s=299), False),
        (seen(quiet_s=300), True),
        (seen(quiet_s=900, idle_s=20), False),  # a long answer is on its way out
    ],
)
def test_what_asks_nothing_or_lies_idle_is_closed(one: Seen, closed: bool) -> None:
    assert to_close([one], BOUNDS) == [0] * closed


def test_of_one_address_those_that_asked_nothing_go_first_and_then_the_quietest() -> None:
    held = [
        seen(quiet_s=5),
        seen(asked=False, quiet_s=1),
        seen(quiet_s=50),
        seen(quiet_s=0),
        seen("10.0.0.2"),
        seen(quiet_s=2),
    ]
    assert to_close(held, BOUNDS) == [1, 2]


def test_a_trusted_proxy_keeps_its_own() -> None:
    held = [seen("10.0.0.9", asked=False, quiet_s=900) for _ in range(9)]
    assert to_close(held, BOUNDS, {"10.0.0.9"}) == []
    assert len(to_close(held, BOUNDS)) == len(held)


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        yield listening


def test_the_kernel_tells_who_asked_and_the_other_side_is_told_of_the_end(listener: socket.socket) -> None:
    port = listener.getsockname()[1]
    with ExitStack() as stack:
        clients = [
            stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=10)) for _ in range(3)
        ]
        accepted = [stack.enter_context(listener.accept()[0]) for _ in clients]
        clients[1].sendall(b"GET")
        assert accepted[1].recv(3) == b"GET"
        tend_once(port, {"127.0.0.1"}, Bounds(silent_s=0))
        tend_once(port + 1, (), Bounds(silent_s=0))
        clients[0].sendall(b"x")
        assert accepted[0].recv(1) == b"x", "neither a proxy's nor another port's is touched"
        tend_once(port, (), Bounds(silent_s=0))
        assert clients[2].recv(1) == b"", "the one that asked nothing"
        time.sleep(0.1)  # the kernel counts in steps of some milliseconds
        clients[1].sendall(b"/")
        assert accepted[1].recv(1) == b"/"
        tend_once(port, (), Bounds(of_one_address=1))
        assert clients[0].recv(1) == b"", "of two that asked the one that was quiet for longer"
        clients[1].sendall(b"/")
        assert accepted[1].recv(1) == b"/"
