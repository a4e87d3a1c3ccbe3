"""Every screen of a tablet that is no step: taking it into use, choosing, without the server, in a second
tab, with its key lost, in a browser that cannot do the work. Seen and judged as the steps are.

Sources: WCAG 2.2 by axe-core, 1.4.4 and 1.4.10; the sizes of look and feel are the project's own.
"""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

from tests.browser.test_what_a_tablet_loses import CLEAR_KEYS
from tests.kit.chromium import PORTRAIT, SIZES, viewport
from tests.kit.demo import Demo
from tests.kit.looking import faults, look, look_twice
from tests.kit.server import Server
from tests.kit.tablet import REPEAT_MS, Tablet

OF_STEPS = ("scrolls by", "the quiet line moves the step")
NO_KEYS = "indexedDB.open = () => { throw new DOMException('no', 'SecurityError'); };"


class Eyes:
    """Looks at screens and notes what is wrong with them. Only a step has to stand without scrolling, and
    still under a hand while the quiet line grows.
    """

    def __init__(self) -> None:
        self.seen: list[str] = []
        self.wrong: list[str] = []

    def see(self, page: Page, name: str) -> None:
        found = [*look(page, name, SIZES), *look_twice(page, name, SIZES), *faults(page, name)]
        is_step = page.locator('#app[data-screen="step"]').count() == 1
        self.wrong += [one for one in found if is_step or not any(part in one for part in OF_STEPS)]
        self.seen.append(page.locator("#app").get_attribute("data-screen") or "")
        page.set_viewport_size(viewport(PORTRAIT))


def test_every_screen_that_is_no_step_fits_and_can_be_read(
    server: Server, demo: Demo, new_context: Callable[..., BrowserContext]
) -> None:
    eyes, tablet = Eyes(), Tablet(new_context().new_page(), server.address)
    page = tablet.page
    tablet.open()
    eyes.see(page, "taking into use")
    page.fill("#code", "NOTACODE22")
    page.fill("#label", "Tablet under test")
    page.locator('[data-action="stays"]').check()
    page.wait_for_timeout(REPEAT_MS)
    tablet.tap_here("enrol")
    page.locator("#refused .stop").wait_for()
    eyes.see(page, "a wrong code")
    tablet.enrol(demo.code())
    _choosing(tablet, eyes)
    tablet.all_sent()
    server.kill()
    tablet.reload()
    page.wait_for_selector("text=The server was last reached")
    assert page.locator("[role=status]").inner_text() == ""
    eyes.see(page, "machines, without the server")
    tablet.tap("holds")
    eyes.see(page, "what the tablet holds, without the server")
    tablet.tap("back")
    tablet.begin("plover", "odile")
    page.wait_for_selector('[data-network="waiting"]')
    eyes.see(page, "a step, without the server")
    _beside(tablet, eyes)
    assert set(eyes.seen) == {
        "enrol", "machines", "holds", "people", "ready", "step", "elsewhere", "not-possible",
    }  # fmt: skip
    assert eyes.wrong == [], "\n".join(eyes.wrong)


def _choosing(tablet: Tablet, eyes: Eyes) -> None:
    page = tablet.page
    eyes.see(page, "machines")
    tablet.tap("holds")
    eyes.see(page, "what the tablet holds")
    tablet.tap("back")
    sheet = max(
        (row for row in tablet.rows("sheets") if row["machine"] == "plover"),
        key=lambda row: row["got_at_utc"],
    )
    tablet.tap("machine", sheet["hash"])
    eyes.see(page, "people")
    for person in ("bram", "odile"):
        tablet.tap("person", person)
        eyes.see(page, f"{person} may begin: {tablet.offers('begin')}")
        assert "not a safeguard" in tablet.text()
        tablet.tap("back")
    tablet.tap("back")


def _beside(tablet: Tablet, eyes: Eyes) -> None:
    second = Tablet(tablet.page.context.new_page(), tablet.address)
    second.open()
    eyes.see(second.page, "working in another tab")
    second.page.close()
    tablet.page.evaluate(CLEAR_KEYS)
    tablet.reload()
    eyes.see(tablet.page, "its key is lost")
    tablet.page.add_init_script(NO_KEYS)
    tablet.reload()
    eyes.see(tablet.page, "a browser that keeps nothing")
