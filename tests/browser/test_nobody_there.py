"""A tablet that nobody touches for ten minutes hides what was measured and asks who is there;
the step and what was typed stay, and while the probe is moved it hides nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet, operator

TEN_MINUTES_MS, LOOKED_MS = 600_000, 16_000


@pytest.fixture
def tablet(server: Server, demo: Demo, new_context: Callable[..., BrowserContext]) -> Tablet:
    """A tablet whose clocks can be put on."""
    page = new_context().new_page()
    page.clock.install()
    tablet = Tablet(page, server.address)
    tablet.enrol(demo.code())
    return tablet


@pytest.fixture
def odile(tablet: Tablet, demo: Demo) -> Operator:
    """Odile, without the server from her first step on."""
    tablet.begin("plover", "odile")
    tablet.page.context.set_offline(True)
    return operator(tablet, demo)


def nobody_presses(tablet: Tablet, milliseconds: int = TEN_MINUTES_MS + LOOKED_MS) -> None:
    tablet.page.clock.fast_forward(milliseconds)


def asked_who(tablet: Tablet) -> None:
    tablet.page.wait_for_selector('#app[data-screen="away"]')
    tablet.settled()


def test_values_are_hidden_and_the_step_comes_back_with_all_that_was_typed(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="copy.values")
    shown = odile.mill.shown()
    tablet.enter(shown["X"])
    tablet.type(shown["Y"][:4])
    nobody_presses(tablet, TEN_MINUTES_MS - LOOKED_MS)
    assert tablet.screen == "step"
    nobody_presses(tablet, 3 * LOOKED_MS)
    asked_who(tablet)
    assert tablet.step == "copy.values"
    said = tablet.text()
    assert shown["X"].lstrip("-") not in said
    assert "This setup is Odile Farrow's" in said
    assert "only the server can check a PIN" in said
    assert not tablet.page.locator(".scale").count(), "what was done is read behind the question"
    tablet.tap("as-left")
    assert (tablet.screen, tablet.step) == ("step", "copy.values")
    fields = {one: tablet.page.locator(f'[data-entry="{one}"]').input_value() for one in ("X", "Y")}
    assert {axis: text.replace("−", "-") for axis, text in fields.items()} == {
        "X": shown["X"],
        "Y": shown["Y"][:4],
    }
    resumed = tablet.events_of("setup.resumed")[-1]
    assert resumed["data"]["away_ms"] > TEN_MINUTES_MS
    assert resumed["person"] == "odile"


def test_while_the_probe_is_moved_nothing_is_hidden_and_what_is_pressed_in_trouble_counts(
    odile: Operator,
) -> None:
    tablet = odile.tablet
    for step in ("probe.load", "z.over", "z.search", "z.touch"):
        odile.walk(until=step)
        if step == "z.touch":
            tablet.type("-1")
        nobody_presses(tablet)
        nobody_presses(tablet, LOOKED_MS)
        assert (tablet.screen, tablet.step) == ("step", step)
        tablet.tap("hold")
        assert tablet.screen == "trouble"
        nobody_presses(tablet)
        assert tablet.screen == "trouble", "what to do now stays"
        tablet.page.locator("h1").click()
        asked_who(tablet)
        tablet.tap("as-left")
        assert tablet.screen == "trouble"
        tablet.tap("back")
        assert tablet.step == step
    assert tablet.page.locator('[data-entry="Z"]').input_value().replace("−", "-") == "-1"
    assert len(tablet.events_of("hold.pressed")) == 4


def test_a_pin_that_stood_there_is_gone_and_every_way_back_leads_to_the_question(odile: Operator) -> None:
    tablet = odile.tablet
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk(until="sign.name")
    tablet.page.fill("#pin", "9357")
    nobody_presses(tablet)
    asked_who(tablet)
    tablet.tap("off")
    tablet.tap("back")
    assert tablet.screen == "away"
    tablet.tap("as-left")
    assert tablet.step == "sign.name"
    assert tablet.page.input_value("#pin") == ""


def test_somebody_else_gets_the_machines_and_the_setup_waits_for_its_person(
    odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    odile.walk(until="slot.own")
    tablet.type(odile.slot[:2])
    made = len(tablet.events())
    nobody_presses(tablet)
    asked_who(tablet)
    tablet.tap("somebody-else")
    assert (tablet.screen, len(tablet.events())) == ("machines", made), "nothing is said in Odile's name"
    tablet.begin("plover", "tariq", begin=False)
    assert "Odile Farrow's setup at this machine was begun on this tablet and is not over" in tablet.text()
    assert not tablet.offers("begin")
    tablet.reload()
    assert tablet.screen == "machines"
    tablet.begin("dunlin", "ilse")
    assert tablet.step == "ready.machine"
    tablet.tap("leave")
    tablet.tap("go-on-waiting")
    assert (tablet.screen, tablet.step) == ("away", "slot.own")
    tablet.tap("as-left")
    assert tablet.page.locator("[data-entry]").input_value() == odile.slot[:2]
    assert {row["payload"]["person"] for row in tablet.events()[made + 2 :]} == {"odile"}
    tablet.page.context.set_offline(False)
    tablet.enter(odile.slot[2:])
    odile.walk(until="copy.values")
    tablet.all_sent()
    with demo.opened() as (store, _), store.reading():
        stored = store.events.events_of(tablet.events()[0]["payload"]["setup"])
    problems = {one["code"] for row in stored for one in json.loads(row["problems"] or "[]")}
    assert problems <= {"clock.skew"}, "the test itself put the clock on"
