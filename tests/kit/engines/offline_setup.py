"""One whole setup with the network gone, in whatever browser: the same hand, the same questions.

Enrolled by the server's name over TLS; the server stopped; a reload in its middle; the browser killed in the
middle of a number; started again, signed; the server started, and every event there once.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Protocol

from tests.kit.demo import Demo
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet, TabletPage, operator
from webapp.proof.keys.jws import DeviceKey
from webapp.services.audit.auditing import audit

MACHINE, OPERATOR, HALF_TYPED = "plover", "odile", "-41"
LINES = """() => Object.fromEntries([...document.querySelectorAll('[data-test]')]
  .map(({dataset}) => [dataset.test, dataset.state]))"""


class Browser(Protocol):
    """A browser whose profile outlives its process."""

    def open_page(self) -> TabletPage:
        """Start it on what it kept; the page that it shows."""

    def kill(self) -> None:
        """SIGKILL to all its processes."""

    def pids(self) -> list[int]:
        """Its processes that run."""


def self_test(page: TabletPage, address: str) -> dict[str, str]:
    """What the test of a device says: its lines, each "passes" or "fails"."""
    page.goto(f"{address}/self-test")
    page.locator('[data-action="test"]:enabled').click()
    page.wait_for_selector("body[data-tested]", timeout=60_000)
    return dict(page.evaluate(LINES))


def walk_a_setup_without_the_server(
    browser: Browser, tablet: Tablet, server: Server, demo: Demo, say: Callable[[str], object]
) -> list[str]:
    """Walk it on an enrolled tablet, and let it send what it made; the steps in the order walked."""
    server.kill()
    assert not server.answers()
    tablet.begin(MACHINE, OPERATOR)
    hand = operator(tablet, demo, MACHINE, OPERATOR)
    walked = [step for step, _ in hand.steps(until="vise.wipe")]
    say("the server is stopped; the page is loaded again")
    tablet.reload()
    assert tablet.step == "vise.wipe"
    tablet.all_wait()
    walked += [step for step, _ in hand.steps(until="x.touch")]
    say("the browser is killed in the middle of a number")
    hand.tablet = kill_in_the_middle_of_a_number(browser, tablet, hand)
    walked += ["x.touch", *(step for step, _ in hand.steps())]
    say("signed; the server is started")
    all_arrives(hand.tablet, server, demo)
    return walked


def kill_in_the_middle_of_a_number(browser: Browser, tablet: Tablet, hand: Operator) -> Tablet:
    """Type half of the value, kill the browser, start it again, and go on typing; the page that came back."""
    shown = hand.mill.touch("X")
    assert shown.startswith(HALF_TYPED)
    tablet.type(HALF_TYPED)
    tablet.keeps_typed("X", HALF_TYPED)
    before = tablet.events()
    browser.kill()
    assert not browser.pids()

    back = Tablet(browser.open_page(), tablet.address, by_keypad=tablet.by_keypad)
    back.open()
    assert (back.screen, back.step) == ("step", "x.touch")
    assert back.page.locator('[data-entry="X"]').input_value().replace("−", "-") == HALF_TYPED
    after = back.events()
    assert [row["id"] for row in after[: len(before)]] == [row["id"] for row in before]
    assert [row["payload"]["type"] for row in after[len(before) :]] == ["setup.resumed"]
    back.enter(shown.removeprefix(HALF_TYPED))
    entered = back.events_of("touch.entered")[-1]["data"]
    assert (entered["axis"], entered["typed"].replace("−", "-")) == ("X", shown)
    return back


def all_arrives(tablet: Tablet, server: Server, demo: Demo) -> list[dict[str, Any]]:
    """Start the server; all that the tablet made is sent and its signature checked. The events."""
    assert "not yet verified" in tablet.text()
    tablet.all_wait()
    made = tablet.events()
    server.start()
    tablet.page.wait_for_selector('[data-network="sent"]', timeout=60_000)
    tablet.page.wait_for_selector('[data-signature="verified"]', timeout=60_000)
    every_event_arrived_once(demo, made)
    return made


def every_event_arrived_once(demo: Demo, made: list[dict[str, Any]]) -> None:
    """What the server has of this tablet is what the tablet made:
    each once, in one chain, verified, on the ledger.
    """
    with demo.opened() as (store, _):
        with store.reading():
            rows = [
                row for row in store.events.events_between(0, 2**62) if row["device"] == made[0]["device"]
            ]
            device = store.devices.device(made[0]["device"])
            setup = store.setups.setup(made[0]["setup"])
        faults = audit(store)
    assert [row["id"] for row in rows] == [row["id"] for row in made]
    assert [row["jws"] for row in rows] == [row["jws"] for row in made]
    assert device is not None
    assert setup is not None
    key = DeviceKey.from_jwk(device["jwk"])
    previous = None
    for sequence, row in enumerate(rows, start=1):
        payload = json.loads(key.verify(row["jws"]).payload_bytes)
        assert (payload["sequence"], payload["previous"]) == (sequence, previous)
        assert json.loads(row["problems"] or "[]") == []
        previous = row["id"]
    assert (setup["status"], setup["signature"]) == ("signed", "verified")
    assert faults == []
