"""A newer version of the tablet's page:
offered between setups alone, and taken only when somebody asks for it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Playwright

from tests.kit.chromium import PORTRAIT, Profile
from tests.kit.demo import Demo
from tests.kit.server import ROOT, Server
from tests.kit.tablet import Operator, Tablet

VERSION = "() => document.querySelector('meta[name=\"zerokeep-version\"]').content"
INSTALL = """async () => {
  const registration = await navigator.serviceWorker.getRegistration();
  await registration.update();
  const fresh = registration.installing ?? registration.waiting;
  const changed = () => new Promise(resolve => fresh.addEventListener('statechange', resolve, {once: true}));
  while (fresh.state === 'installing') await changed();
  return fresh.state;
}"""
KEPT_ANSWERS = "async () => (await navigator.serviceWorker.getRegistration()).updateViaCache"
TAKE_OVER = """async () => {
  const {waiting} = await navigator.serviceWorker.getRegistration();
  const {serviceWorker} = navigator;
  const changed = new Promise(
    resolve => serviceWorker.addEventListener('controllerchange', resolve, {once: true}));
  waiting.postMessage({do: 'take over'});
  await changed;
}"""


@pytest.fixture
def later(demo: Demo, server: Server, tmp_path: Path) -> Iterator[Server]:
    """A later version of the program for the same shop, to be started in the place of the first."""
    folder = tmp_path / "later"
    for name in ("webapp", "static", "templates"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    main = folder / "static" / "js" / "main.js"
    main.write_text(main.read_text(encoding="utf-8") + "\n/* a later version */\n", encoding="utf-8")
    later = Server(demo.folder, server.port, root=folder)
    yield later
    later.kill()


def install_later(page: Page, server: Server, later: Server) -> None:
    """Have the later version waiting behind the one that the page runs on."""
    server.kill()
    later.start()
    assert page.evaluate(INSTALL) == "installed"


def take_offer(tablet: Tablet) -> None:
    """One tap on the offer; the page that comes is another version."""
    old = tablet.page.evaluate(VERSION)
    tablet.find("take-update").wait_for()
    tablet.settled()
    tablet.find("take-update").click()
    tablet.page.wait_for_function(f"old => ({VERSION})() !== old", arg=old)


def test_a_new_version_is_offered_only_between_setups_and_taken_only_when_asked(
    odile: Operator, server: Server, later: Server
) -> None:
    tablet = odile.tablet
    old = tablet.page.evaluate(VERSION)
    odile.walk(until="ready.probe")
    install_later(tablet.page, server, later)
    tablet.reload()
    assert tablet.step == "ready.probe"
    assert tablet.page.evaluate(VERSION) == old
    assert not tablet.offers("take-update")
    odile.walk(until="ready.board")
    assert {row["payload"]["app"] for row in tablet.events()} == {old}
    odile.end_for_practice()
    assert tablet.page.evaluate(VERSION) == old
    tablet.tap("another")
    take_offer(tablet)
    tablet.all_sent()


def test_a_page_whose_worker_another_tab_replaced_is_offered_the_new_version(
    tablet: Tablet, server: Server, later: Server
) -> None:
    other = tablet.page.context.new_page()
    other.goto(f"{tablet.address}/tablet")
    other.wait_for_selector('#app[data-screen="elsewhere"]')
    assert other.evaluate(KEPT_ANSWERS) == "none", "a worker is never taken from the browser's cache"
    install_later(other, server, later)
    other.evaluate(TAKE_OVER)
    take_offer(tablet)
    tablet.page.wait_for_selector('#app[data-screen="machines"]')


def test_the_worker_may_change_beneath_a_running_setup_and_the_offer_comes_when_it_is_over(
    tablet: Tablet, demo: Demo, server: Server, later: Server
) -> None:
    tablet.begin("plover", "odile")
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), demo.people["odile"].pin)
    other = tablet.page.context.new_page()
    other.goto(f"{tablet.address}/tablet")
    install_later(other, server, later)
    other.evaluate(TAKE_OVER)
    old = tablet.page.evaluate(VERSION)
    hand.walk(until="ready.board")
    assert not tablet.offers("take-update")
    hand.end_for_practice()
    tablet.tap("another")
    assert tablet.page.evaluate(VERSION) == old
    take_offer(tablet)


def test_a_browser_closed_while_a_version_waits_comes_back_in_the_setups_own_and_offers_the_new_one_behind_it(
    playwright: Playwright, demo: Demo, server: Server, later: Server, tmp_path: Path
) -> None:
    profile = Profile(playwright, tmp_path / "profile", PORTRAIT)
    tablet = Tablet(profile.open().new_page(), server.address)
    tablet.enrol(demo.code())
    tablet.begin("plover", "odile")
    old = tablet.page.evaluate(VERSION)
    install_later(tablet.page, server, later)
    profile.close()
    tablet.page = profile.open().new_page()
    tablet.open()
    assert (tablet.screen, tablet.page.evaluate(VERSION)) == ("step", old)
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), demo.people["odile"].pin)
    hand.walk(until="ready.board")
    hand.end_for_practice()
    tablet.tap("another")
    take_offer(tablet)
    profile.close()


def test_a_setup_that_waits_for_its_person_holds_its_version(
    server: Server, later: Server, demo: Demo, new_context: Callable[..., BrowserContext]
) -> None:
    page = new_context().new_page()
    page.clock.install()
    tablet = Tablet(page, server.address)
    tablet.enrol(demo.code())
    tablet.begin("plover", "odile")
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), demo.people["odile"].pin)
    hand.walk(until="ready.board")
    old = page.evaluate(VERSION)
    page.clock.fast_forward(616_000)
    page.wait_for_selector('#app[data-screen="away"]')
    tablet.tap("somebody-else")
    install_later(page, server, later)
    tablet.reload()
    assert (tablet.screen, page.evaluate(VERSION)) == ("machines", old)
    assert not tablet.offers("take-update")
    tablet.tap("go-on-waiting")
    tablet.tap("as-left")
    hand.end_for_practice()
    tablet.tap("another")
    take_offer(tablet)
