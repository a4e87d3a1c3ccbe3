"""Storage that goes away under a page, a key that is lost, a tablet that is copied or wiped:
said in plain words, and what the server has stays one history.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright

from tests.kit.chromium import Profile
from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet

# As an engine does that lost its storage process: a transaction on the handle fails, once or for good.
HANDLE_DIES = """once => {
  const transaction = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (...parts) {
    if (once) IDBDatabase.prototype.transaction = transaction;
    throw new DOMException('Connection to Indexed Database server lost', 'UnknownError');
  };
}"""
CLEAR_KEYS = """() => new Promise((resolve, reject) => {
  const opening = indexedDB.open('zerokeep');
  opening.onsuccess = () => {
    const transaction = opening.result.transaction('keys', 'readwrite');
    transaction.objectStore('keys').clear();
    transaction.oncomplete = () => { opening.result.close(); resolve(); };
    transaction.onabort = () => reject(transaction.error);
  };
})"""


FORKED = "text=two tablets sign as one"


def enrol_again(tablet: Tablet, code: str) -> None:
    """Take the browser that stands at the enrolment into use."""
    tablet.page.fill("#code", code)
    tablet.page.fill("#label", "The same tablet, anew")
    tablet.settled()
    tablet.page.locator('[data-action="stays"]').check()
    tablet.page.wait_for_timeout(400)
    tablet.find("enrol").click()
    tablet.page.wait_for_selector('[data-action="machine"]')
    tablet.settled()


def own_id(tablet: Tablet) -> str:
    return next(str(row["id"]) for row in tablet.rows("keys") if row["name"] == "device")


def test_a_handle_that_dies_in_a_setup_is_opened_again_and_where_it_cannot_be_nothing_is_claimed(
    odile: Operator,
) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.board")
    tablet.page.evaluate(HANDLE_DIES, True)
    odile.close("board")
    kept = [row["id"] for row in tablet.events()]
    step = tablet.step
    assert step != "ready.board"
    tablet.page.evaluate(HANDLE_DIES, False)
    tablet.tap("hold")
    assert (tablet.screen, tablet.kind) == ("not-kept", "store.lost")
    assert "was not kept" in tablet.text()
    tablet.reload()
    assert tablet.step == step
    assert [row["id"] for row in tablet.events()][: len(kept)] == kept


def test_a_key_lost_in_the_middle_makes_another_tablet_and_what_was_not_sent_reaches_the_server(
    odile: Operator, demo: Demo
) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.probe")
    tablet.all_sent()
    tablet.page.route("**/api/**", lambda route: route.abort())
    odile.walk(until="ready.board")
    made, before = tablet.events(), own_id(tablet)
    tablet.page.evaluate(CLEAR_KEYS)
    tablet.reload()
    assert (tablet.screen, "has lost its key" in tablet.text()) == ("enrol", True)
    listed = tablet.page.locator("table.waiting tr").count()
    assert listed == sum("waiting" in row for row in made) > 0
    tablet.page.unroute_all()
    enrol_again(tablet, demo.code(code="ANOTHERONE"))
    assert own_id(tablet) != before
    assert tablet.screen == "machines", "another tablet does not go on with the setup of the one before"
    tablet.begin("plover", "odile")
    tablet.all_sent()
    new = [row for row in tablet.events() if row["payload"]["device"] == own_id(tablet)]
    assert demo.setup_row(new[0]["payload"]["setup"]) is not None
    with demo.opened() as (store, _), store.reading():
        stored = {row["id"] for row in store.events.events_of(made[0]["payload"]["setup"])}
    assert stored == {row["id"] for row in made}


def walk_a_little(page: Page, address: str, demo: Demo, until: str) -> Tablet:
    """Open the tablet, go on with what it is at, send."""
    tablet = Tablet(page, address)
    tablet.open()
    if tablet.screen == "away":
        tablet.tap("as-left")
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    hand.walk(until=until)
    tablet.all_sent()
    return tablet


def test_a_copied_tablet_is_a_split_history_that_is_kept_whole_and_told_to_both_and_to_the_lead(
    playwright: Playwright,
    demo: Demo,
    server: Server,
    tmp_path: Path,
    new_context: Callable[..., BrowserContext],
) -> None:
    first, copy = (Profile(playwright, tmp_path / name) for name in ("first", "copy"))
    tablet = Tablet(first.open().pages[0], server.address)
    tablet.enrol(demo.code())
    tablet.begin("plover", "odile")
    tablet.all_sent()
    first.close()
    shutil.copytree(first.folder, copy.folder, symlinks=True)
    made = {}
    for profile, until in ((first, "ready.probe"), (copy, "ready.board")):
        walked = walk_a_little(profile.open().pages[0], server.address, demo, until)
        made[profile.folder.name] = {row["id"] for row in walked.events()}
        device = walked.events()[0]["device"]
        if profile is copy:
            walked.page.wait_for_selector(FORKED)
        profile.close()
    assert made["first"] - made["copy"]
    assert made["copy"] - made["first"]
    again = Tablet(first.open().pages[0], server.address)
    again.open()
    again.page.wait_for_selector(FORKED)
    again.all_sent()
    made["first"] = {row["id"] for row in again.events()}
    first.close()
    with demo.opened() as (store, _), store.reading():
        row = store.devices.device(device)
        stored = {one["id"] for one in store.events.events_between(0, 2**62) if one["device"] == device}
    assert row is not None
    assert (row["state"], stored) == ("forked", made["first"] | made["copy"])
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    assert "A tablet wrote two different events with one number." in desk.open("/desk/tablets")


def test_a_wiped_tablet_is_a_new_one_and_what_it_had_sent_stays(odile: Operator, demo: Demo) -> None:
    tablet = odile.tablet
    odile.walk(until="ready.board")
    tablet.all_sent()
    sent, before = [row["id"] for row in tablet.events()], own_id(tablet)
    setup = tablet.events()[0]["payload"]["setup"]
    protocol: Any = tablet.page.context.new_cdp_session(tablet.page)
    protocol.send("Storage.clearDataForOrigin", {"origin": tablet.address, "storageTypes": "all"})
    tablet.reload()
    assert tablet.screen == "enrol"
    assert "has lost its key" not in tablet.text(), "nothing tells it from a tablet that never was one"
    enrol_again(tablet, demo.code(code="ANOTHERONE"))
    assert own_id(tablet) != before
    tablet.begin("plover", "odile")
    tablet.all_sent()
    with demo.opened() as (store, _), store.reading():
        assert [row["id"] for row in store.events.events_of(setup)] == sent
