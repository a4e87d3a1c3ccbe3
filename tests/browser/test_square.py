"""The look for square on a real tablet:
asked for by the fixture, done before the touch that stands, told, recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo, now, settings_of
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet
from webapp.commands.opening import opened
from webapp.domain.plain.lengths import Display, Unit, format_length, parse_length
from webapp.services.evidence.ledger import SERVER, change

MM = Display(Unit.MM, 3)
FIXTURE = "plover-vise"


@pytest.fixture
def demo(demo_shop: Path, tmp_path: Path) -> Demo:
    """A copy of the demo shop whose lead wants every setup at Plover to look for square."""
    demo = Demo.copy(demo_shop, tmp_path / "shop")
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        value = store.shop.item("fixture", FIXTURE) or {}
        store.shop.put("fixture", FIXTURE, {**value, "square_apart_nm": 100_000_000})
        change(store, "fixture.changed", SERVER, FIXTURE, None, {"square_apart_nm": 100_000_000}, now())
    return demo


@pytest.fixture
def bram(tablet: Tablet, demo: Demo) -> Operator:
    tablet.begin("plover", "odile")
    return Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), demo.people["odile"].pin)


def further(text: str, by_nm: int) -> str:
    value = parse_length(text.replace("−", "-"), MM, -(10**9), 10**9) + by_nm
    return format_length(value, MM).replace("−", "-")


def look(hand: Operator, by_nm: int) -> None:
    """Set both searches, then type two values of which the second lies further."""
    tablet = hand.tablet
    tablet.tap("go")
    first = hand.mill.touch("Y")
    tablet.enter(first)
    assert tablet.page.locator("[data-entry]").count() == 0, "raised, over and down again before the second"
    tablet.tap("go")
    tablet.enter(further(first, by_nm))


def test_an_askew_jaw_is_told_on_the_tablet_at_the_desk_and_stops_nobody(
    bram: Operator, server: Server, demo: Demo, new_context: Callable[..., BrowserContext]
) -> None:
    tablet = bram.tablet
    bram.walk(until="y.square")
    assert "100.000" in tablet.text()
    look(bram, 30_000)
    assert tablet.step == "y.over"
    assert "askew" in tablet.page.locator(".strip.angle").inner_text()
    (event,) = tablet.events_of("square.entered")
    plan = tablet.sheet("plover")["square"]
    assert event["data"]["told"]
    assert event["data"]["error_nm"] == round(plan["jaw_length_nm"] * 30_000 / plan["apart_nm"])
    bram.walk()
    tablet.all_sent()
    desk = Desk(new_context((1280, 800)).new_page(), server.address)
    desk.sign_in("henk", demo.people["henk"])
    page = desk.open(f"/desk/setups/{event['setup']}")
    assert "an angle is told" in page
    assert "jaw askew" in desk.open("/desk")


def test_a_slip_between_both_values_is_asked_about_once_and_a_reload_keeps_what_was_typed(
    bram: Operator,
) -> None:
    tablet = bram.tablet
    bram.walk(until="y.square")
    look(bram, 50_000_000)
    assert tablet.step == "y.square"
    assert "Read both again" in tablet.page.locator(".notice.ask").inner_text()
    assert tablet.events_of("square.entered") == []
    typed = [field.input_value() for field in tablet.page.locator("[data-entry]").all()]
    tablet.reload()
    assert [field.input_value() for field in tablet.page.locator("[data-entry]").all()] == typed
    tablet.tap("go")
    assert tablet.step == "y.over"
