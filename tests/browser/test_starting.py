"""The way to a first step while the server has news: a sheet may be replaced, and no setup is lost by it."""

from __future__ import annotations

import pytest

from tests.kit.demo import Demo, now
from tests.kit.tablet import NewTablet, Tablet
from webapp.services.numbers import seatings
from webapp.services.people import rights
from webapp.services.setups import closing
from webapp.services.times import later

SETUPS = 520


def replace_the_sheet(tablet: Tablet, demo: Demo) -> None:
    """Change something that stands on Plover's sheet, and let the tablet fetch it."""
    before = hashes(tablet)
    with demo.opened() as (store, _):
        rights.authorise(store, "odile", "plover", later(now(), days=3), "mara", now(), "alone")
    tablet.sync()
    for _ in range(150):
        if hashes(tablet) - before:
            return
        tablet.page.wait_for_timeout(100)
    raise AssertionError("the newer sheet never came")


def hashes(tablet: Tablet) -> set[str]:
    """Of all sheets that the tablet holds."""
    return {row["hash"] for row in tablet.rows("sheets")}


@pytest.mark.parametrize("looking_at", ["people", "ready"])
def test_a_sheet_that_is_replaced_while_a_person_chooses_is_the_one_that_is_begun_on(
    tablet: Tablet, demo: Demo, looking_at: str
) -> None:
    old = next(row["hash"] for row in tablet.rows("sheets") if row["machine"] == "plover")
    tablet.tap("machine", old)
    if looking_at == "ready":
        tablet.tap("person", "odile")
    replace_the_sheet(tablet, demo)
    if looking_at == "people":
        tablet.tap("person", "odile")
    tablet.page.wait_for_selector('#app[data-screen="ready"]')
    tablet.settled()
    tablet.tap("begin")
    if tablet.screen == "ready":  # the press came before the newer sheet was shown
        tablet.tap("begin")
    assert tablet.step == "ready.machine"
    assert tablet.events()[0]["payload"]["sheet"] != old
    tablet.reload()
    assert tablet.step == "ready.machine", "the sheet of a setup that runs is kept"


def test_the_sheet_of_a_machine_used_elsewhere_is_kept_for_a_while_and_fetched_when_it_is_chosen(
    tablet: Tablet, demo: Demo
) -> None:
    old = {row["machine"]: row["hash"] for row in tablet.rows("sheets")}
    other = next(machine for machine in old if machine != "plover")
    tablet.tap("machine", old[other])
    tablet.page.wait_for_selector('[data-network="sent"]')
    with demo.opened() as (store, _):
        with store.reading():
            fixture = store.shop.items("machine")["plover"]["fixture"]
            kept = store.kept.kept_with_people(fixture, "X")[-1]
        seatings.leave_out(store, kept["setup"], "X", "a chip under the ball", "mara", now())
    with tablet.page.expect_response("**/api/news") as news:
        tablet.sync()
    assert news.value.json()["sheets"] is None or not any(one["text"] for one in news.value.json()["sheets"])
    assert old["plover"] in hashes(tablet)
    tablet.tap("back")
    with tablet.page.expect_response("**/api/news") as news:
        tablet.tap("machine", old["plover"])
    assert [one["hash"] for one in news.value.json()["sheets"] if one["text"]] != []
    tablet.tap("person", "odile")
    tablet.tap("begin")
    assert tablet.events()[0]["payload"]["sheet"] != old["plover"]


def test_a_tablet_with_many_setups_behind_it_still_gets_news_and_the_running_one_is_asked_for(
    new_tablet: NewTablet, demo: Demo
) -> None:
    tablet = new_tablet()
    tablet.page.evaluate(
        """count => new Promise((resolve, reject) => {
          const opening = indexedDB.open('zerokeep');
          opening.onsuccess = () => {
            const transaction = opening.result.transaction('notes', 'readwrite');
            const value = Array.from({length: count}, () => crypto.randomUUID());
            transaction.objectStore('notes').put({name: 'my_setups', value});
            transaction.oncomplete = () => { opening.result.close(); resolve(); };
            transaction.onabort = () => reject(transaction.error);
          };
        })""",
        SETUPS,
    )
    with tablet.page.expect_response("**/api/news") as news:
        tablet.sync()
    assert news.value.status == 200
    replace_the_sheet(tablet, demo)
    tablet.begin("plover", "odile")
    tablet.sync()
    tablet.page.wait_for_selector('[data-network="sent"]')
    noted = next(row["value"] for row in tablet.rows("notes") if row["name"] == "my_setups")
    assert len(noted) <= SETUPS
    assert noted[-1] == tablet.events()[0]["payload"]["setup"]


# A tap in the very moment in which the screen is brought up to date:
# what it says of the control, then the click.
TAP_AS_IT_CHANGES = """selector => {
  new MutationObserver((_, observer) => {
    observer.disconnect();
    document.querySelector(selector).click();
  }).observe(document.getElementById('app'), {childList: true});
}"""


def test_a_finger_that_is_down_while_newer_sheets_come_loses_no_tap(tablet: Tablet, demo: Demo) -> None:
    tablet.settled()
    tablet.find("holds").hover()
    tablet.page.mouse.down()
    replace_the_sheet(tablet, demo)
    tablet.page.wait_for_timeout(300)
    tablet.page.mouse.up()
    tablet.page.wait_for_selector('#app[data-screen="holds"]')


def test_a_press_on_a_sheet_that_another_took_the_place_of_begins_nothing(tablet: Tablet, demo: Demo) -> None:
    """The machine is closed while a finger lies on the button; the sheet was begun on once before."""
    page = tablet.page
    page.context.set_offline(True)
    tablet.begin("plover", "odile")
    tablet.tap("leave")
    tablet.begin("plover", "odile", begin=False)
    tablet.settled()
    tablet.find("begin").hover()
    page.mouse.down()
    with demo.opened() as (store, _):
        closing.close(store, "plover", "It drips oil.", "mara", now())
    page.context.set_offline(False)
    tablet.sync()
    for _ in range(600):
        if any("It drips oil." in row["text"] for row in tablet.rows("sheets")):
            break
        page.wait_for_timeout(50)
    page.mouse.up()
    page.get_by_text("It drips oil.").first.wait_for()
    page.wait_for_timeout(500)
    assert (tablet.screen, tablet.offers("begin")) == ("ready", False)
    assert len(tablet.events_of("setup.started")) == 1


# A finger that comes down while the newer sheets are read, and stays; then it is lifted from what it lies on.
FINGER_WHILE_THEY_ARE_READ = """selector => {
  const read = IDBObjectStore.prototype.getAll;
  IDBObjectStore.prototype.getAll = function (...rest) {
    if (this.name === 'sheets' && this.transaction.objectStoreNames.contains('notes') && !self.under) {
      self.under = document.querySelector(selector);
      self.under.dispatchEvent(new PointerEvent('pointerdown', {bubbles: true}));
    }
    return read.apply(this, rest);
  };
}"""
# A browser gives no tap to what is no longer there.
LIFTED = """() => {
  under.dispatchEvent(new PointerEvent('pointerup', {bubbles: true}));
  if (under.isConnected) under.click();
}"""


def test_a_finger_that_comes_down_while_newer_sheets_are_read_loses_no_tap(
    tablet: Tablet, demo: Demo
) -> None:
    tablet.settled()
    tablet.page.evaluate(FINGER_WHILE_THEY_ARE_READ, '[data-action="holds"]')
    replace_the_sheet(tablet, demo)
    tablet.page.wait_for_function("() => self.under !== undefined")
    tablet.page.wait_for_timeout(300)
    tablet.page.evaluate(LIFTED)
    tablet.page.wait_for_selector('#app[data-screen="holds"]')


def test_a_control_that_stays_what_it_was_takes_the_tap_that_was_on_its_way(
    tablet: Tablet, demo: Demo
) -> None:
    tablet.settled()
    tablet.page.evaluate(TAP_AS_IT_CHANGES, '[data-action="holds"]')
    replace_the_sheet(tablet, demo)
    tablet.page.wait_for_selector('#app[data-screen="holds"]')


def test_a_control_that_became_another_does_not_take_it(tablet: Tablet, demo: Demo) -> None:
    tablet.settled()
    old = next(row["hash"] for row in tablet.rows("sheets") if row["machine"] == "plover")
    row = next(
        number
        for number, one in enumerate(tablet.page.locator('[data-action="machine"]').all())
        if one.get_attribute("data-choice") == old
    )
    tablet.page.evaluate(TAP_AS_IT_CHANGES, f'li:nth-child({row + 1}) [data-action="machine"]')
    replace_the_sheet(tablet, demo)
    tablet.page.wait_for_selector(f'[data-choice="{old}"]', state="detached")
    tablet.page.wait_for_timeout(500)
    assert tablet.screen == "machines"


REFUSES_WORKERS = """
  navigator.serviceWorker.register = () => Promise.reject(new DOMException('refused', 'SecurityError'));
"""


def test_a_tablet_that_could_not_open_its_page_again_says_so_where_a_machine_is_chosen_and_before_a_setup(
    new_tablet: NewTablet,
) -> None:
    tablet = new_tablet()
    warns = "Without the network this tablet could not open the list again"
    assert warns not in tablet.text()
    tablet.page.add_init_script(REFUSES_WORKERS)
    tablet.reload()
    tablet.page.wait_for_selector(f"text={warns}")
    assert "The browser refused to keep the page" in tablet.text()
    tablet.begin("plover", "odile", begin=False)
    assert warns in tablet.text()
    tablet.tap("begin")
    assert tablet.screen == "step", "it is said, and nobody is kept from working"
    assert warns not in tablet.text(), "never inside a setup"
