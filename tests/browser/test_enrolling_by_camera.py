"""The one-time code read by the tablet's camera: what it sees is taken or refused in words,
and the camera is off as soon as something was read.

The detector of square codes is a stand-in (no Chromium of Debian has one); the camera is Chromium's own
made-up one, with the browser's own way of asking for it and letting go of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright

from tests.kit.chromium import CHROMIUM_FLAGS, HEADLESS, PORTRAIT, viewport, wait_until
from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Tablet
from webapp.web.show.square_codes import enrolment_text

FAKE_CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
# Sees `self.shown` once it is there; every track that was ever opened is remembered.
DETECTOR = """
  self.tracks = [];
  self.shown = null;
  self.BarcodeDetector = class {
    static async getSupportedFormats() { return ['qr_code']; }
    async detect(video) {
      if (!(video instanceof HTMLVideoElement) || video.readyState < 2) return [];
      return self.shown === null ? [] : [{rawValue: self.shown, format: 'qr_code'}];
    }
  };
  const open = MediaDevices.prototype.getUserMedia;
  MediaDevices.prototype.getUserMedia = async function (asked) {
    const stream = await open.call(this, asked);
    self.tracks.push(...stream.getTracks());
    return stream;
  };"""
STATES = "() => tracks.map(track => track.readyState)"
NO_DETECTOR = "delete globalThis.BarcodeDetector;"
NO_CAMERA = DETECTOR + "MediaDevices.prototype.enumerateDevices = async () => [];"


@pytest.fixture(scope="module")
def with_camera(playwright: Playwright) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path=HEADLESS, args=[*CHROMIUM_FLAGS, *FAKE_CAMERA])
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def demo(demo_shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """One shop for all of them: each has a code of its own, and none minds what the others did."""
    return Demo.copy(demo_shop, tmp_path_factory.mktemp("camera") / "shop")


@pytest.fixture(scope="module")
def server(demo: Demo) -> Iterator[Server]:
    server = Server(demo.folder)
    server.start()
    yield server
    server.kill()


def opened(browser: Browser, server: Server, script: str) -> Page:
    page = browser.new_context(viewport=viewport(PORTRAIT)).new_page()
    page.add_init_script(script)
    Tablet(page, server.address).open()
    return page


def scanning(page: Page) -> None:
    """The camera is on, and its picture stands on the page."""
    page.locator('[data-action="scan"]').click()
    page.wait_for_function("() => document.querySelector('video')?.readyState >= 2")
    assert page.evaluate(STATES) == ["live"]


def test_a_code_on_the_leads_screen_takes_the_tablet_into_use(
    with_camera: Browser, server: Server, demo: Demo
) -> None:
    desk = Desk(with_camera.new_context().new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    code = desk.make_code()
    assert desk.page.get_by_role("img", name="The same code, for the tablet’s camera").is_visible()
    page = opened(with_camera, server, DETECTOR)
    scanning(page)
    page.evaluate("text => { shown = text; }", enrolment_text(server.address, code))
    page.wait_for_selector("text=The code was read, and the camera is off.")
    assert page.evaluate(STATES) == ["ended"]
    assert page.input_value("#code") == code
    assert page.evaluate("() => document.activeElement.id") == "label"
    page.fill("#label", "By camera")
    page.locator('[data-action="stays"]').check()
    page.wait_for_timeout(400)
    page.locator('[data-action="enrol"]').click()
    page.wait_for_selector('[data-action="machine"]')


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("https://weather.example/today", "This code says “https://weather.example/today”. Expected was"),
        ("zerokeep/enrol/1 https://other.example K7MQ2R4XTV", "is of the server at https://other.example"),
        ("zerokeep/enrol/2 {here} K7MQ2R4XTV", "This code says “zerokeep/enrol/2"),
        ("zerokeep/enrol/1 {here} K7MQ2R4XTV and more", "This code says “zerokeep/enrol/1"),
        ("x" * 2000, "This code says “" + "x" * 60 + "…”"),
    ],
    ids=["a link", "another server", "another edition", "more than a code", "very much"],
)
def test_a_code_of_something_else_is_refused_with_what_it_says_and_what_was_expected(
    with_camera: Browser, server: Server, shown: str, said: str
) -> None:
    page = opened(with_camera, server, DETECTOR)
    page.fill("#label", "Typed before")
    scanning(page)
    page.evaluate("text => { shown = text; }", shown.replace("{here}", server.address))
    page.wait_for_selector(f"text={said}")
    assert page.evaluate(STATES) == ["ended"]
    assert (page.input_value("#code"), page.input_value("#label")) == ("", "Typed before")
    assert page.locator('[data-action="scan"]').is_visible(), "it can be tried again"
    assert page.locator("video").count() == 0


def test_a_camera_that_is_stopped_or_not_allowed_is_let_go(with_camera: Browser, server: Server) -> None:
    page = opened(with_camera, server, DETECTOR)
    scanning(page)
    page.wait_for_timeout(400)
    page.locator('[data-action="scan-stop"]').click()
    wait_until(page, "() => tracks.every(track => track.readyState === 'ended')")
    page.evaluate("""() => { MediaDevices.prototype.getUserMedia = async () => {
      throw new DOMException('no', 'NotAllowedError');
    }; }""")
    page.wait_for_timeout(400)
    page.locator('[data-action="scan"]').click()
    page.wait_for_selector("text=did not allow this page to use the camera")


@pytest.mark.parametrize(
    ("script", "said"),
    [(NO_DETECTOR, "This browser cannot scan a code: type it."), (NO_CAMERA, "No camera was found")],
    ids=["no detector", "no camera"],
)
def test_where_nothing_can_be_scanned_it_says_to_type(
    with_camera: Browser, server: Server, script: str, said: str
) -> None:
    page = opened(with_camera, server, script)
    page.wait_for_selector(f"text={said}")
    assert page.locator('[data-action="scan"]').count() == 0
    assert page.locator("#code").is_visible()


def test_in_a_tab_of_a_browser_nothing_is_enrolled_without_the_promise(
    with_camera: Browser, server: Server, demo: Demo
) -> None:
    page = opened(with_camera, server, NO_DETECTOR)
    page.fill("#code", demo.code())
    page.fill("#label", "Without a promise")
    page.wait_for_timeout(400)
    page.locator('[data-action="enrol"]').click()
    page.wait_for_selector("text=Confirm that this browser stays on this tablet")
    with demo.opened() as (store, _), store.reading():
        assert [row["name"] for row in store.devices.everything() if row["name"] == "Without a promise"] == []
