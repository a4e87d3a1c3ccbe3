"""A clock that is off and storage that is not protected:
told by what, said at the tablet, and said to the lead.

The server's time counts wherever it is known; the wall clock stays in the events as it is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.chromium import shift_clock
from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.modules import open_modules
from tests.kit.server import Server
from tests.kit.tablet import Tablet

HOUR_MS = 3_600_000
COMPILED, SOON, EXPIRED = "2026-11-25T08:00:00.000Z", "2026-11-25T09:00:00.000Z", "2026-11-25T21:00:00.000Z"
# A clock whose wall stands where the test puts it.
CLOCK = """async wall => {
  const {Clock} = await import('/assets/trial/js/clock.js');
  self.wallMs = Date.parse(wall);
  self.clock = new Clock({wall: () => wallMs, forward: () => 0});
}"""


def go_to_ready(tablet: Tablet) -> None:
    tablet.settled()
    found = tablet.rows("sheets")
    tablet.tap("machine", next(row["hash"] for row in found if row["machine"] == "plover"))
    tablet.tap("person", "odile")


@pytest.mark.parametrize(("hours", "word"), [(49, "ahead of"), (-49, "behind")])
def test_with_the_server_a_fresh_sheet_is_fresh_however_far_the_tablets_clock_is_off(
    tablet: Tablet, demo: Demo, hours: int, word: str
) -> None:
    shift_clock(tablet.page, hours)
    tablet.reload()
    tablet.page.wait_for_selector(f"text=2 days {word} the server's")
    go_to_ready(tablet)
    text = tablet.text()
    assert "Told by the server's clock." in text
    assert f"2 days {word} the server's. Set its date and time." in text
    assert "less than a minute old" in text or "minutes old" in text or "minute old" in text
    tablet.tap("begin")
    tablet.all_sent()
    event = tablet.events()[0]["payload"]
    row = demo.setup_row(event["setup"])
    assert row is not None
    assert row["started_at_utc"] == event["at_utc"], "the event keeps the tablet's own time"


def test_without_the_server_a_clock_put_forward_is_relied_on_and_that_is_said(
    tablet: Tablet, server: Server
) -> None:
    tablet.page.wait_for_selector('[data-network="sent"]')
    server.kill()
    shift_clock(tablet.page, 49)
    tablet.reload()
    go_to_ready(tablet)
    assert "This sheet was to be used until" in tablet.text()
    assert "If that is not today's date" not in tablet.text()
    assert "Without the server this relies on the tablet's clock, last compared" in tablet.text()
    assert not tablet.offers("begin")


def test_without_the_server_a_clock_put_back_makes_no_old_sheet_fresh(tablet: Tablet, server: Server) -> None:
    tablet.page.wait_for_selector('[data-network="sent"]')
    server.kill()
    shift_clock(tablet.page, -49)
    tablet.reload()
    tablet.page.wait_for_selector("text=check date and time")
    assert "sheet from 2" in tablet.text()
    assert "How old the sheet is cannot be told." in tablet.text()
    assert "under a minute old" not in tablet.text()
    go_to_ready(tablet)
    assert "How old the sheet is cannot be told." in tablet.text()
    assert not tablet.offers("begin")


def test_a_clock_more_than_a_year_ahead_is_named_before_anybody_is_called_not_authorised(
    tablet: Tablet, server: Server
) -> None:
    tablet.page.wait_for_selector('[data-network="sent"]')
    server.kill()
    shift_clock(tablet.page, 450 * 24)
    tablet.reload()
    tablet.page.wait_for_selector("text=check date and time")
    assert "If that is not today's date, set date and time" in tablet.text()
    tablet.page.wait_for_selector("text=The server did not answer.")
    go_to_ready(tablet)
    assert "If that is not today's date, set date and time" in tablet.text()
    assert not tablet.offers("begin")


def test_a_server_that_is_away_and_one_that_came_back_are_told_where_machines_are_chosen(
    tablet: Tablet, server: Server
) -> None:
    tablet.page.wait_for_selector('[data-network="sent"]')
    assert "The server was last reached" not in tablet.text()
    server.kill()
    tablet.reload()
    tablet.page.wait_for_selector("text=The server was last reached")
    assert "The server did not answer. Check that this tablet is on the shop's network" in tablet.text()
    assert "What is done here is kept on this tablet." in tablet.text()
    server.start()
    tablet.page.evaluate("() => dispatchEvent(new Event('online'))")
    tablet.page.wait_for_selector("text=The server was last reached", state="detached")


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ({"body": "<html>Welcome to our hotspot</html>"}, "What answered was not the shop's server"),
        ({"json": {"answer": "e30.e30.e30"}}, "not the server that this tablet was taken into use with"),
        ({"status": 500, "json": {"code": "no.such"}}, "That did not work (no.such)"),
    ],
    ids=["a page of the network", "another server", "a fault of the server"],
)
def test_what_answered_in_place_of_the_server_is_told(
    tablet: Tablet, answer: dict[str, Any], says: str
) -> None:
    tablet.page.route("**/api/reach", lambda route: route.fulfill(**answer))
    tablet.page.evaluate("() => dispatchEvent(new Event('online'))")
    tablet.page.wait_for_selector(f"text={says}")
    assert "What is done here is kept on this tablet." in tablet.text()


def test_without_the_server_a_clock_that_was_off_before_is_still_put_right(
    tablet: Tablet, server: Server
) -> None:
    shift_clock(tablet.page, 49)
    tablet.reload()
    tablet.page.wait_for_selector("text=2 days ahead of the server's")
    server.kill()
    tablet.reload()
    go_to_ready(tablet)
    assert "last compared" in tablet.text()
    assert tablet.offers("begin")


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    return open_modules(new_context())


@pytest.mark.parametrize("days", [-2, 0, 2])
def test_an_old_sheet_is_old_by_the_servers_clock_however_far_the_tablets_is_off(
    page: Page, days: int
) -> None:
    page.evaluate(CLOCK, EXPIRED)
    page.evaluate("days => { wallMs += days * 86_400_000; }", days)
    page.evaluate("at => clock.compare(at, wallMs)", EXPIRED)
    assert page.evaluate("() => clock.trueUtc()") == EXPIRED
    assert page.evaluate("at => clock.ageMs(at)", COMPILED) == 13 * HOUR_MS
    assert page.evaluate("() => clock.isWrong") is (days != 0)


def test_a_clock_says_by_what_it_tells_and_what_changes_it(page: Page) -> None:
    page.evaluate(CLOCK, SOON)
    assert page.evaluate("() => [clock.basis, clock.comparedAtUtc, clock.wentBack]") == ["own", None, False]
    assert page.evaluate("at => clock.compare(at, wallMs)", SOON) is True
    assert page.evaluate("at => clock.compare(at, wallMs)", SOON) is False
    assert page.evaluate("() => clock.compare('no time', wallMs)") is False
    assert page.evaluate("at => { wallMs += 120_001; return clock.compare(at, wallMs); }", SOON) is True
    note = page.evaluate("() => clock.toRemember")
    page.evaluate(CLOCK, SOON)
    page.evaluate("note => clock.remember(note)", note)
    assert page.evaluate("() => [clock.basis, clock.comparedAtUtc]") == ["memory", SOON]
    assert page.evaluate("() => { wallMs -= 1; return clock.wentBack; }") is True


def test_two_minutes_off_are_not_said_and_a_millisecond_more_is(page: Page) -> None:
    page.evaluate(CLOCK, SOON)
    for off_ms, is_said in ((120_000, False), (-120_000, False), (120_001, True), (-120_001, True)):
        page.evaluate("at => { wallMs = Date.parse(at); clock.compare(at, wallMs); }", SOON)
        page.evaluate("off => { wallMs += off; }", off_ms)
        assert page.evaluate("() => clock.wentBack") is (off_ms == -120_001)
        assert page.evaluate("at => clock.compare(at, wallMs)", SOON) is is_said
        assert page.evaluate("() => clock.isWrong") is is_said


def test_a_clock_that_is_set_while_the_page_is_open_is_no_longer_called_the_servers(page: Page) -> None:
    page.evaluate(CLOCK, SOON)
    page.evaluate(
        "at => { self.forwardMs = 0; clock.forward = () => forwardMs; clock.compare(at, wallMs); }", SOON
    )
    page.evaluate("hours => { wallMs += hours; forwardMs += hours; }", HOUR_MS)
    assert page.evaluate("at => [clock.basis, clock.ageMs(at)]", SOON) == ["server", HOUR_MS], "time went by"
    page.evaluate("hours => { wallMs += hours; }", HOUR_MS)
    assert page.evaluate("at => [clock.basis, clock.ageMs(at)]", SOON) == ["memory", 2 * HOUR_MS], (
        "set forward"
    )
    page.evaluate("hours => { wallMs -= 2 * hours; }", HOUR_MS)
    assert page.evaluate("at => clock.ageMs(at)", SOON) == HOUR_MS, (
        "set back, an hour has passed all the same"
    )


@pytest.mark.parametrize(
    ("storage", "found"),
    [
        ("null", [None, None, None]),
        ("{}", [None, None, None]),
        ("{persisted: async () => true, estimate: async () => ({usage: 1.5, quota: 10})}", [True, 1, 10]),
        ("{persisted: async () => false, estimate: async () => ({})}", [False, None, None]),
        (
            "{persisted: () => new Promise(() => {}), estimate: async () => ({usage: -1, quota: NaN})}",
            [None] * 3,
        ),
        (
            "{persisted: () => Promise.reject(new Error()), estimate: () => Promise.reject(new Error())}",
            [None] * 3,
        ),
    ],
    ids=["no such thing", "knows nothing", "protected", "not protected", "never answers", "fails"],
)
def test_what_the_browser_says_of_its_storage_is_told_and_nothing_else(
    page: Page, storage: str, found: list[Any]
) -> None:
    said = page.evaluate(
        f"""async () => {{
          const {{protection}} = await import('/assets/trial/js/store/protection.js');
          const {{persisted, usage_bytes, quota_bytes}} = await protection({storage}, 50);
          return [persisted, usage_bytes, quota_bytes];
        }}"""
    )
    assert said == found


def test_the_lead_sees_that_a_tablets_storage_is_not_protected_and_its_clock_is_off(
    tablet: Tablet, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    shift_clock(tablet.page, -49)
    tablet.page.add_init_script("navigator.storage.persisted = async () => false;")
    with tablet.page.expect_response("**/api/news"):
        tablet.reload()
    tablet.all_sent()
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    desk.open("/desk/tablets")
    row = desk.page.locator("tr", has_text="Tablet under test").inner_text()
    assert "storage not protected" in row
    assert "clock 2 days behind" in row
    assert "Its browser may clear away events" in desk.page.locator("main").inner_text()
