"""A first start without demo, walked as somebody new would: empty folder, browser, tablet, first step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.chromium import LANDSCAPE
from tests.kit.first_start import NewUser, Serve, actions_taken
from tests.kit.looking import faults
from tests.kit.tablet import Tablet
from webapp.store import Store

MOST_ACTIONS = 120  # clicks and fields together, the shop's own target


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    server = Serve(tmp_path)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def set_up(kettle_lane: Path, tmp_path: Path) -> Iterator[Serve]:
    """A server on a shop that somebody new set up on an empty folder, all but the tablet."""
    server = Serve.copy(kettle_lane, tmp_path)
    server.start()
    yield server
    server.kill()


def test_a_first_setup_begins_within_120_actions_of_a_start_on_an_empty_folder(
    kettle_lane: Path, set_up: Serve, new_context: Callable[..., BrowserContext]
) -> None:
    serve = set_up
    new = NewUser(new_context(LANDSCAPE).new_page(), serve.address, actions_taken(kettle_lane))
    new.come_back("ines")
    new.follow("The way to a first setup")
    code = new.tablet_code()
    tablet = Tablet(new_context().new_page(), serve.address)
    tablet.enrol(code, "Tablet at the mill")
    tablet.begin("plover", "ines")
    actions = new.actions + 8  # the tablet: its address, code, name, tick, press; machine, person, begin
    assert tablet.step == "ready.machine"
    assert actions <= MOST_ACTIONS, f"{actions} actions"
    store = Store.open(serve.folder / "zerokeep.db")
    with store.reading():
        said = {(row["type"], row["by"]) for row in store.ledger.changes(newest=30)}
    store.close()
    told = {"shop.added", "procedure.published", "person.added", "secret.changed", "probe.added",
            "fixture.added",
            "seating.started", "machine.added", "slot.given", "person.authorised", "code.made"}  # fmt: skip
    assert {(kind, "ines") for kind in told} <= said
    assert not (serve.folder / "set-up-code").exists()


def test_a_set_up_that_was_broken_off_goes_on_where_it_stopped_and_keeps_what_was_typed(
    serve: Serve, new_context: Callable[..., BrowserContext]
) -> None:
    judged = new_context(LANDSCAPE).new_page()
    judged.goto(f"{serve.address}/set-up")
    assert faults(judged, "the set-up") == []
    page = new_context(LANDSCAPE, java_script_enabled=False).new_page()
    new = NewUser(page, serve.address)
    new.begin("0000-1111", shop_time_zone="Europe/Osl")
    assert "Expected: the name of a time zone" in page.inner_text("main")
    new.fill("shop_time_zone", "Europe/Oslo")
    for name in ("new_passphrase", "new_passphrase_again"):
        new.fill(name, "quiet copper lantern harbour")
    for name in ("new_pin", "new_pin_again"):
        new.fill(name, "814572")
    new.press("Make the shop")
    assert "not the code that the server printed" in page.inner_text("main")
    assert page.input_value('[name="shop_name"]') == "Kettle Lane"
    serve.stop()
    serve.start()
    new.begin(serve.code())
    new.follow("Enter it")
    new.fill("ball_diameter_nm", "six")
    new.press("Look what it does")
    assert "“six” is no number" in page.inner_text("main")
    assert page.input_value('[name="ball_diameter_nm"]') == "six"
    page.goto(f"{serve.address}/desk/set-up")
    assert page.locator("li.now h2").inner_text() == "The probe"
    page.goto(f"{serve.address}/set-up")
    assert page.url.endswith("/desk/setups") or "Sign in" in page.inner_text("main")
