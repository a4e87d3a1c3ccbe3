"""A network that lets things through one way, a server that hangs, a database that cannot be written:
the person at the mill goes on, and what was done is at the server once.
"""

from __future__ import annotations

import os
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from playwright.sync_api import Route

from tests.kit.demo import Demo
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet
from webapp.services.audit.auditing import audit


def nothing_comes_back(route: Route) -> None:
    """The call reaches the server, which does what it is asked; its answer is lost on the way."""
    try:
        route.fetch()
    finally:
        route.abort("connectionreset")


def nothing_goes_out(route: Route) -> None:
    route.abort("addressunreachable")


def stored_of(demo: Demo, tablet: Tablet) -> list[str]:
    """Ids that the server has of the tablet's setup, in its order."""
    with demo.opened() as (store, _), store.reading():
        return [row["id"] for row in store.events.events_of(tablet.events()[0]["payload"]["setup"])]


def everything_is_there_once(demo: Demo, tablet: Tablet) -> None:
    made = [row["id"] for row in tablet.events()]
    assert stored_of(demo, tablet) == made
    with demo.opened() as (store, _):
        assert audit(store) == []


@pytest.mark.parametrize("way", [nothing_comes_back, nothing_goes_out], ids=lambda way: way.__name__)
def test_on_a_network_that_lets_through_one_way_nothing_is_taken_for_sent_and_nothing_is_there_twice(
    odile: Operator, demo: Demo, way: Any
) -> None:
    tablet = odile.tablet
    tablet.all_sent()
    tablet.page.route("**/api/events", way)
    before = len(stored_of(demo, tablet))
    with tablet.page.expect_event("requestfailed", lambda request: "/api/events" in request.url):
        odile.walk(until="ready.probe")
    tablet.reload()
    assert tablet.step == "ready.probe"
    odile.walk(until="ready.board")
    made = len(tablet.events())
    assert tablet.waiting == made - before, "no answer, so everything since still waits"
    if way is nothing_comes_back:
        assert len(stored_of(demo, tablet)) > before, "it did arrive"
    tablet.page.unroute("**/api/events")
    tablet.all_sent()
    everything_is_there_once(demo, tablet)


@contextmanager
def hanging(server: Server) -> Iterator[None]:
    """Every process of the server stands still: its port takes connections and nobody answers."""
    assert server._process is not None
    group = os.getpgid(server._process.pid)
    os.killpg(group, signal.SIGSTOP)
    try:
        yield
    finally:
        os.killpg(group, signal.SIGCONT)


def test_a_server_that_takes_calls_and_answers_none_keeps_nobody_from_going_on(
    odile: Operator, demo: Demo, server: Server
) -> None:
    tablet = odile.tablet
    tablet.all_sent()
    with hanging(server):
        odile.walk(until="vise.wipe")
        assert tablet.waiting > 0
        tablet.reload()
        assert tablet.step == "vise.wipe", "the page comes from the tablet itself"
        tablet.page.wait_for_selector('[data-network="waiting"]', timeout=60_000)
    tablet.all_sent()
    everything_is_there_once(demo, tablet)


def test_a_database_that_cannot_be_written_for_a_while_keeps_nobody_and_then_has_it_all(
    odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    tablet.all_sent()
    other = sqlite3.connect(demo.folder / "zerokeep.db", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with tablet.page.expect_response(lambda answer: answer.status == 503, timeout=60_000) as refused:
        odile.walk(until="ready.probe")
    assert refused.value.headers["retry-after"] == "10"
    odile.walk(until="ready.board")
    assert tablet.waiting > 0
    other.execute("ROLLBACK")
    other.close()
    tablet.all_sent()
    everything_is_there_once(demo, tablet)


def test_a_tablet_asks_its_own_server_and_nobody_else(odile: Operator) -> None:
    tablet = odile.tablet
    asked: list[str] = []
    tablet.page.context.on("request", lambda request: asked.append(request.url))
    tablet.reload()
    odile.walk(until="ready.board")
    tablet.all_sent()
    assert asked
    assert [url for url in asked if not url.startswith(f"{tablet.address}/")] == []


def test_what_the_browser_says_of_the_network_is_not_relied_on(tablet: Tablet, server: Server) -> None:
    tablet.page.wait_for_selector('[data-network="sent"]')
    server.kill()
    assert tablet.page.evaluate("() => navigator.onLine")
    tablet.page.evaluate("() => dispatchEvent(new Event('online'))")
    tablet.page.wait_for_selector("text=The server was last reached")
    server.start()
    tablet.page.add_init_script("Object.defineProperty(Navigator.prototype, 'onLine', {get: () => false});")
    tablet.reload()
    assert not tablet.page.evaluate("() => navigator.onLine")
    tablet.begin("plover", "odile")
    tablet.all_sent()
