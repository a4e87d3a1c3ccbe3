"""What goes wrong with the tablet, its browser and the way to the server:
said in plain words, and nothing lost.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Route

from tests.kit.chromium import shift_clock
from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet

NOTHING_IS_READ_BACK = """
  const get = IDBObjectStore.prototype.get;
  IDBObjectStore.prototype.get = function () { return get.call(this, 'nothing is ever under this name'); };
"""


def test_a_wrong_pin_that_is_found_when_the_server_is_back_is_signed_again(
    odile: Operator, demo: Demo, server: Server
) -> None:
    tablet = odile.tablet
    odile.walk(until="sign.review")
    server.kill()
    right, odile.pin = odile.pin, "00000000"
    odile.walk()
    assert "not yet verified" in tablet.text()
    server.start()
    tablet.sync()
    tablet.page.locator("#pin").wait_for(timeout=60_000)
    assert "the PIN was not yours" in tablet.text()
    tablet.page.fill("#pin", right)
    tablet.tap("go")
    tablet.all_sent()
    tablet.page.wait_for_selector('[data-signature="verified"]')
    row = demo.newest_setup("odile")
    assert (row["status"], row["signature"]) == ("signed", "verified")


def test_full_storage_is_said_and_costs_the_last_press_alone(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.state")
    before = [row["id"] for row in tablet.events()]
    protocol = tablet.page.context.new_cdp_session(tablet.page)
    protocol.send("Storage.overrideQuotaForOrigin", {"origin": tablet.address, "quotaSize": 1})
    kept = press_hold_until_the_browser_notices(tablet)
    assert tablet.kind == "store.full"
    assert "was not kept" in tablet.text()
    assert [row["id"] for row in tablet.events()] == before + kept
    protocol.send("Storage.overrideQuotaForOrigin", {"origin": tablet.address})
    tablet.find("reload").click()
    tablet.page.wait_for_selector('#app[data-step="ready.state"]')
    tablet.settled()
    assert [row["id"] for row in tablet.events()][: len(before + kept)] == before + kept
    odile.walk(until="probe.load")
    tablet.all_sent()


def press_hold_until_the_browser_notices(tablet: Tablet) -> list[str]:
    """Ids of what was kept until then: Chromium looks at a page's quota again only every half minute."""
    had = len(tablet.events())
    for _ in range(90):
        tablet.tap("hold")
        if tablet.screen == "not-kept":
            return [row["id"] for row in tablet.events()][had:]
        tablet.page.wait_for_timeout(500)
    raise AssertionError("the quota was never noticed")


@pytest.mark.parametrize(
    ("stub", "said"),
    [
        (
            "Object.defineProperty(globalThis, 'indexedDB', {get: () => undefined});",
            "This browser has no storage for pages.",
        ),
        (
            (
                "IDBObjectStore.prototype.put = () => { throw new DOMException('no keys here', "
                "'DataCloneError'); };"
            ),
            "This browser does not keep signing keys.",
        ),
        (
            NOTHING_IS_READ_BACK,
            "This browser does not keep signing keys.",
        ),
        (
            (
                "indexedDB.open = () => { throw new DOMException('not in private browsing', "
                "'InvalidStateError'); };"
            ),
            "The browser lost its storage.",
        ),
    ],
    ids=["no storage", "keys cannot be written", "keys read back as nothing", "storage cannot be opened"],
)
def test_a_browser_that_keeps_nothing_is_told_apart_before_any_work(
    stub: str, said: str, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    page = new_context().new_page()
    page.add_init_script(stub)
    tablet = Tablet(page, server.address)
    tablet.open()
    assert tablet.screen == "not-possible"
    assert said in tablet.text()
    assert not tablet.offers("go")


def test_a_sheet_past_its_shelf_life_is_not_begun_on_and_a_fresh_one_is(
    tablet: Tablet, server: Server
) -> None:
    server.kill()
    shift_clock(tablet.page, 13)
    tablet.reload()
    found = tablet.rows("sheets")
    tablet.tap("machine", next(row["hash"] for row in found if row["machine"] == "plover"))
    tablet.tap("person", "odile")
    assert "This sheet was to be used until" in tablet.text()
    assert not tablet.offers("begin")
    fresh = Tablet(tablet.page.context.new_page(), tablet.address)
    tablet.page.close()
    server.start()
    fresh.open()
    fresh.page.wait_for_selector('[data-network="sent"]')
    fresh.begin("plover", "odile")
    assert fresh.step == "ready.machine"


@pytest.mark.parametrize("hours", [-8766, -48, 48], ids=lambda hours: f"{hours / 24:+g} days")
def test_a_clock_that_is_off_is_said_and_nothing_is_put_in_order_by_it(
    hours: int, odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.board")
    tablet.all_sent()
    shift_clock(tablet.page, hours)
    tablet.reload()
    tablet.page.wait_for_selector("text=check date and time", timeout=30_000)
    if tablet.screen == "away":
        tablet.tap("as-left")
    odile.walk(until="z.over")
    tablet.all_sent()
    made = tablet.events()
    with demo.opened() as (store, _), store.reading():
        stored = store.events.events_of(made[0]["setup"])
    assert [row["id"] for row in stored] == [row["id"] for row in made]
    elapsed = [row["payload"]["elapsed_ms"] for row in made]
    assert elapsed == sorted(elapsed)
    assert any("skew" in row["problems"] or "clock" in row["problems"] for row in stored)


def test_a_clock_a_year_ahead_is_named_where_it_ends_a_slot_and_once_it_is_right_the_setup_goes_on(
    odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    odile.walk(until="slot.own")
    shift_clock(tablet.page, 8766)
    tablet.reload()
    tablet.page.wait_for_selector("text=check date and time", timeout=30_000)
    tablet.tap("as-left")
    odile.close("slot")
    assert tablet.step == "slot.own"
    assert f"Your time with {odile.slot} ended" in tablet.text()
    assert "That is told by this tablet's clock, which says" in tablet.text()
    shift_clock(tablet.page, -8766)
    tablet.reload()
    odile.close("slot")
    assert tablet.step == "copy.values"
    tablet.all_sent()
    made = tablet.events()
    with demo.opened() as (store, _), store.reading():
        stored = store.events.events_of(made[0]["setup"])
    assert [row["id"] for row in stored] == [row["id"] for row in made]


def test_a_second_tab_only_watches_until_the_first_is_closed(odile: Operator) -> None:
    first = odile.tablet
    second = Tablet(first.page.context.new_page(), first.address)
    second.open()
    assert second.screen == "elsewhere"
    assert "Working in another tab" in second.text()
    odile.walk(until="ready.probe")
    first.page.close()
    second.find("reload").click()
    second.page.wait_for_selector('#app[data-step="ready.probe"]')
    odile.tablet = second
    odile.walk(until="ready.board")
    sequences = [row["sequence"] for row in second.events()]
    assert sequences == list(range(1, len(sequences) + 1))


def answers() -> Iterator[tuple[str, Callable[[Route], None]]]:
    """What may answer in the server's place."""
    html = "<!doctype html><title>Sign in to the guest network</title>"
    yield "a 500", lambda route: route.fulfill(status=500, body="Internal Server Error")
    yield "a page", lambda route: route.fulfill(status=200, content_type="text/html", body=html)
    yield (
        "half a JSON",
        lambda route: route.fulfill(content_type="application/json", body='{"receipts": "eyJ'),
    )
    forged = json.dumps({"answer": "e30.e30.e30", "receipts": "e30.e30.e30"})
    yield "a forged receipt", lambda route: route.fulfill(content_type="application/json", body=forged)
    yield "nothing", lambda route: route.abort("connectionreset")


def test_no_answer_but_a_verified_receipt_takes_an_event_out_of_the_outbox(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.probe")
    tablet.all_sent()
    for path in ("**/api/reach", "**/api/events"):
        for _, answer in answers():
            tablet.page.route(path, answer)
            before = tablet.waiting
            with tablet.page.expect_request(path):
                tablet.tap_here("hold")
            tablet.page.wait_for_function(
                "most => Number(document.querySelector('[data-network]').dataset.waiting) > most", arg=before
            )
            tablet.page.wait_for_timeout(300)
            assert tablet.waiting == before + 1
            tablet.page.unroute(path)
            tablet.page.route(path, lambda route: route.abort("connectionreset"))
        tablet.page.unroute_all()
        tablet.all_sent()
    holds = [row for row in tablet.events() if row["payload"]["type"] == "hold.pressed"]
    assert len(holds) == 10
    assert {row["outcome"]["outcome"] for row in holds} <= {"accepted", "already_had"}


def test_a_tablet_taken_out_of_use_says_so_and_keeps_what_was_not_sent(
    odile: Operator, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.probe")
    tablet.all_sent()
    taken = len(tablet.events())
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    desk.open("/desk/tablets")
    row = desk.page.locator("tr", has_text="Tablet under test")
    row.locator('[name="reason"]').fill("It fell into the coolant")
    row.get_by_role("button", name="Take out").click()
    odile.walk(until="ready.state")
    tablet.page.wait_for_selector("text=taken out of use", timeout=30_000)
    unsent = [row for row in tablet.events() if row["sequence"] > taken]
    assert len(unsent) == 2
    assert tablet.waiting == 2
    with demo.opened() as (store, _), store.reading():
        assert len(store.events.events_of(unsent[0]["setup"])) == taken
    odile.end_for_practice()
    tablet.tap("another")
    tablet.tap("holds")
    kept = tablet.page.locator("table.waiting tr").all_inner_texts()
    assert len(kept) == len(tablet.events()) - taken
    assert all("This tablet was taken out of use." in row for row in kept[:2]), "with the server's reason"


def test_what_waits_goes_by_file_where_the_server_is_not_reached_and_stays_on_the_tablet(
    odile: Operator, demo: Demo, server: Server, new_context: Callable[..., BrowserContext], tmp_path: Path
) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.probe")
    tablet.all_sent()
    sent = len(tablet.events())
    tablet.page.route("**/api/**", lambda route: route.abort())
    odile.walk(until="ready.state")
    odile.end_for_practice()
    tablet.tap("another")
    tablet.tap("holds")
    with tablet.page.expect_download() as waiting:
        tablet.tap_here("write")
    path = tmp_path / "waiting.json"
    waiting.value.save_as(path)
    assert waiting.value.suggested_filename.startswith("waiting-Tablet-under-test-")
    written = len(tablet.events()) - sent
    assert tablet.waiting == written
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    desk.open("/desk/tablets/file")
    desk.page.set_input_files('[name="file"]', path)
    desk.page.get_by_role("button", name="Take it in").click()
    desk.page.wait_for_selector("text=Taken in")
    with demo.opened() as (store, _), store.reading():
        assert len(store.events.events_of(tablet.events()[0]["setup"])) == len(tablet.events())
    tablet.page.unroute_all()
    tablet.all_sent()
    outcomes = [row["outcome"]["outcome"] for row in tablet.events()[sent:]]
    assert outcomes == ["already_had"] * written
