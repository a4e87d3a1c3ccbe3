"""The lists of the desk with five thousand rows and with a few, in a browser without a script, by keys alone:
the page opens, the next page is reached, a search narrows it, and where nothing is found it says what to do.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from werkzeug.serving import make_server

from tests.kit.grown import grow
from tests.kit.shop import MILL, PASSPHRASES
from tests.web.conftest import Site, make_site
from webapp.domain.shop.fields import as_plain
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.shop.loading import as_stored

pytestmark = pytest.mark.browser
MANY = 5_000
MOST_ROWS, FURTHEST = 200, 900
SLOTS_A_MILL = 250
FAMILY = f"G54.1 P1-G54.1 P{SLOTS_A_MILL}"
HERE = """() => {
  const {activeElement: one} = document;
  return [one.textContent.trim(), one.id, one.name];
}"""


@dataclass(frozen=True)
class LongList:
    """A list: where it stands, what its way to the next page says, the field that it is searched by, what is
    typed there and what then stands in every row.
    """

    path: str
    following: str
    field: str
    typed: str
    in_rows: str


LISTS = (
    LongList("/desk/setups", "Older", "slot", "G55", "G55"),
    LongList("/desk/people", "More people", "find", "p4711", "p4711"),
    LongList("/desk/slots", "More slots", "words", "p4711", "Person 4711"),
    LongList("/audit", "Older", "words", "4711", "session.started"),
    LongList("/desk/tablets", "More tablets", "find", "tablet 4711", "Tablet 4711"),
)


def fill(site: Site, many: int) -> None:
    """Put so many rows into every list."""
    house, store = site.house, site.house.store
    grow(house, many)
    with store.writing():
        for machine in range(many // SLOTS_A_MILL):
            mill = replace(MILL, id=f"row-{machine:02}", name=f"Mill {machine:02}", slot_family=FAMILY)
            store.shop.put("machine", mill.id, as_stored(as_plain(mill)))
        for number in range(1, many):
            machine, place = divmod(number, SLOTS_A_MILL)
            store.people.add(f"p{number:04}", f"Person {number:04}", ["operator"], "5a" * 32)
            store.shop.put_slot(f"row-{machine:02}", f"G54.1 P{place + 1}", "person", f"p{number:04}", None)
            named = {
                "name": f"Tablet {number:04}",
                "display": "standalone",
                "enrolled_at_utc": house.clock.text,
            }
            store.devices.add(f"{number:05}", house.device.jwk, **named, pin_key="", receipt_key="")


@dataclass(frozen=True)
class Served:
    """A shop at an address, with lists of more than one page or of few rows."""

    address: str
    is_long: bool


@pytest.fixture(scope="module", params=[1, MANY])
def served(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]
) -> Iterator[Served]:
    site = make_site(tmp_path_factory.mktemp("lists"), keys)
    fill(site, request.param)
    server = make_server("127.0.0.1", 0, site.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield Served(f"http://localhost:{server.server_port}", request.param == MANY)
    server.shutdown()
    thread.join()
    server.server_close()
    site.app.extensions["zerokeep"].close()
    site.house.store.close()


@pytest.fixture(scope="module")
def lead(browser: Browser, served: Served) -> Iterator[Page]:
    """A lead without a script, at a page that a key signed in on."""
    context = browser.new_context(base_url=served.address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/sign-in")
    reach(page, "person")
    page.keyboard.type("ines")
    reach(page, "passphrase")
    page.keyboard.type(PASSPHRASES["ines"])
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="wait").wait_for()
    yield page
    context.close()


def reach(page: Page, wanted: str, key: str = "Tab") -> None:
    """Press Tab, or Shift and Tab from the page's end, until the focus stands on what is called so."""
    for _ in range(FURTHEST):
        page.keyboard.press(key)
        if wanted in page.evaluate(HERE):
            return
    raise AssertionError(f"{wanted} is not reached by keys")


def rows(page: Page) -> list[str]:
    return page.locator("main tbody tr").all_inner_texts()


@pytest.mark.parametrize("one", LISTS, ids=[one.path for one in LISTS])
def test_a_list_opens_goes_on_and_is_searched_by_keys_alone(
    lead: Page, served: Served, one: LongList
) -> None:
    lead.goto(one.path)
    first = rows(lead)
    assert 0 < len(first) <= MOST_ROWS
    assert lead.get_by_role("link", name=one.following).count() == served.is_long
    if served.is_long:
        reach(lead, one.following, "Shift+Tab")
        lead.keyboard.press("Enter")
        lead.wait_for_url(lambda address: "after=" in address or "before=" in address)
        assert 0 < len(rows(lead)) <= MOST_ROWS
        assert not set(rows(lead)) & set(first)
        lead.goto(one.path)
        search(lead, one.field, one.typed)
        assert rows(lead)
        assert all(one.in_rows in row for row in rows(lead))
        assert set(rows(lead)) != set(first)
    if lead.locator(f'[name="{one.field}"]').count():
        search(lead, one.field, "nobody-and-nothing")
        assert rows(lead) == []
        told = lead.locator("main .empty, main .note").last.inner_text()
        assert "show all" in told or "Look further back, or ask for days" in told
        reach(lead, "All")
        lead.keyboard.press("Enter")
        lead.wait_for_url(f"**{one.path}")
        assert rows(lead) == first


def search(page: Page, field: str, typed: str) -> None:
    """Type into a field that is reached by keys, and press Enter there."""
    before = page.url
    reach(page, field)
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type(typed)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda address: address != before)
