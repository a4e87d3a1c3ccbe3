"""The desk in a real Chromium:
no script, no violation, nothing cut, every page by the keyboard, in both themes.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from werkzeug.serving import make_server

from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM, PASSPHRASES
from tests.web.conftest import Site, make_site
from webapp.proof.keys import KeyRing
from webapp.services.shop.register import leave_out

pytestmark = pytest.mark.browser
WIDTHS = (390, 768, 1280)
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
CUT = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
TARGETS = "button, .button, nav a, summary, input:not([type=hidden]), select, textarea"
SMALL_TARGETS = f"""() => [...document.querySelectorAll('{TARGETS}')]
  .filter(one => one.offsetParent && !one.hidden)
  .map(one => [one.outerHTML.slice(0, 80), (one.closest('label') ?? one).getBoundingClientRect()])
  .filter(([, box]) => box.height < 43.5 || box.width < 24)
  .map(([name]) => name)"""


@dataclass
class Desk:
    """A shop with something on every page, served on a port of its own."""

    site: Site
    address: str
    pages: dict[str, str]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, keys: tuple[Path, KeyRing]) -> Iterator[Desk]:
    site = make_site(tmp_path_factory.mktemp("desk"), keys)
    house = site.house
    done = house.signed_off()
    house.clock.forward(hours=3)
    signed = house.signed()
    asking = house.walk().start().until("touch", "Y")
    asking.touch(CENTRES_NM["Y"] + 200_000)
    question = asking.question(77, "Y", "Y is 0.2 off. Did somebody move the vise?")
    asking.event("worry.raised", {"worry": "probe_looks_wrong", "text": "A scratch on the ball."})
    copy = asking.device.clone()
    held = asking.event("hold.pressed", {})
    house.accept(asking.parts)
    # A tablet that was copied: its history splits, and both sides stand on the pages.
    same = {name: held[name] for name in ("setup", "sheet", "person", "at_utc")}
    copy.event("worry.raised", {"worry": "other", "text": "From the copy."}, **same)
    house.accept(copy.sent)
    # A vise that was moved and nobody said so, and one value that stands out:
    # every shape of a chart is there.
    steps = [0, 3, -2, 1, 4, -3, 0, 2, -1, 28, 1, -2, 0, 3, 60, 63, 58, 61]
    past = keep_past(house, [CENTRES_NM["X"] + 1000 * step for step in steps])
    leave_out(house.store, past[9], "X", "A chip under the ball.", "ines", house.clock())
    server = make_server("127.0.0.1", 0, site.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    pages = {
        "board": "/",
        "sign-in": "/sign-in",
        "queue": "/desk",
        "setups": "/desk/setups",
        "no setups": "/desk/setups?state=not_accepted",
        "setup signed": f"/desk/setups/{signed.setup}",
        "setup running": f"/desk/setups/{asking.setup}",
        "setup signed off": f"/desk/setups/{done.setup}",
        "sign off": f"/desk/setups/{signed.setup}/sign-off",
        "not accept": f"/desk/setups/{signed.setup}/not-accepted",
        "question": f"/desk/questions/{question}",
        "tablets": "/desk/tablets",
        "slots": "/desk/slots",
        "people": "/desk/people",
        "a person": "/desk/people/mara",
        "letting people in": "/desk/let-in",
        "machines": "/desk/machines",
        "fixtures": "/desk/fixtures",
        "trends": "/desk/fixtures/vise-a/X",
        "trends of all seatings": "/desk/fixtures/vise-a/X?seating=all",
        "trends without a value": "/desk/fixtures/vise-b/Z",
        "a value": f"/desk/fixtures/vise-a/X/values/{past[3]}",
        "a new seating": "/desk/fixtures/vise-a/seating",
        "when it matters": "/desk/fixtures/vise-a/X/matters",
        "another choice": "/desk/fixtures/vise-a/X/matters?ask=3&stop=20&ceiling=0.4&factor=1",
        "no choice": "/desk/fixtures/vise-a/X/matters?ask=1&stop=0&ceiling=x&factor=0",
        "when nothing is known": "/desk/fixtures/vise-b/Z/matters",
        "ledger": "/audit",
        "entry": "/audit/3",
        "verify": "/audit/verify",
        "head": "/audit/head",
        "heads": "/audit/heads",
        "bundle": "/audit/bundle",
        "add to a record": f"/desk/setups/{done.setup}/add",
        "me": "/me",
        "nothing there": "/nothing",
    }
    yield Desk(site, f"http://localhost:{server.server_port}", pages)
    server.shutdown()
    thread.join()
    server.server_close()
    site.app.extensions["zerokeep"].close()
    house.store.close()


@pytest.fixture
def lead(browser: Browser, desk: Desk, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page that the lead has signed in on, with scripts off unless a check needs them."""
    options: dict[str, Any] = getattr(request, "param", {})
    context = browser.new_context(base_url=desk.address, **options)
    page = context.new_page()
    sign_in(page)
    yield page
    context.close()


def sign_in(page: Page) -> None:
    page.goto("/sign-in")
    page.get_by_label("Your short name").fill("ines")
    page.get_by_label("Passphrase").fill(PASSPHRASES["ines"])
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Setups").wait_for()


@pytest.mark.parametrize(
    "lead", [{"color_scheme": "light"}, {"color_scheme": "dark"}], indirect=True, ids=["light", "dark"]
)
def test_no_page_breaks_a_rule_of_wcag_2_2_aa_or_the_content_policy(lead: Page, desk: Desk) -> None:
    complaints: list[str] = []
    lead.on(
        "console",
        lambda message: complaints.append(message.text) if message.type in {"error", "warning"} else None,
    )
    axe = Axe()
    for name, address in desk.pages.items():
        lead.goto(address)
        for summary in lead.locator("summary").all():
            summary.click()
        found = axe.run(lead, options={"runOnly": RULES["runOnly"]})
        assert found.violations_count == 0, f"{name}: {found.generate_report()}"
    assert [one for one in complaints if "404" not in one] == []


@pytest.mark.parametrize(
    "lead",
    [{"viewport": {"width": width, "height": 900}, "java_script_enabled": True} for width in WIDTHS],
    indirect=True,
    ids=map(str, WIDTHS),
)
def test_nothing_is_cut_and_no_target_is_small(lead: Page, desk: Desk) -> None:
    for name, address in desk.pages.items():
        lead.goto(address)
        for summary in lead.locator("summary").all():
            summary.click()
        assert lead.evaluate(CUT) <= 0, name
        assert lead.evaluate(SMALL_TARGETS) == [], name


def test_at_200_percent_text_nothing_is_cut(lead: Page, desk: Desk) -> None:
    lead.set_viewport_size({"width": 640, "height": 450})  # what 1280 x 900 becomes at 200 % zoom
    for name, address in desk.pages.items():
        lead.goto(address)
        assert lead.evaluate(CUT) <= 0, name


@pytest.mark.parametrize(("width", "text"), [(320, "100%"), (768, "200%"), (1280, "200%")])
def test_every_page_reflows_to_320_px_and_with_text_twice_as_large(
    lead: Page, desk: Desk, width: int, text: str
) -> None:
    lead.set_viewport_size({"width": width, "height": 900})
    for name, address in desk.pages.items():
        lead.goto(address)
        lead.evaluate("size => { document.documentElement.style.fontSize = size; }", text)
        assert lead.evaluate(CUT) <= 0, name


@pytest.mark.parametrize("lead", [{"java_script_enabled": False}], indirect=True)
def test_the_lead_answers_a_question_without_a_script_and_without_a_mouse(lead: Page, desk: Desk) -> None:
    lead.goto(desk.pages["queue"])
    link = lead.get_by_role("link", name="Answer the question of Mara Okafor")
    link.focus()
    lead.keyboard.press("Enter")
    lead.get_by_role("radio", name="Touch again").focus()
    lead.keyboard.press("Space")
    lead.get_by_label("Reason").focus()
    lead.keyboard.type("Wipe the jaw first.")
    lead.keyboard.press("Tab")
    lead.keyboard.press("Enter")
    lead.get_by_text("Answered.").wait_for()
    lead.goto(desk.pages["setup running"])
    assert lead.get_by_text("Wipe the jaw first.").is_visible()


def test_the_focus_is_seen_wherever_the_keyboard_goes(lead: Page, desk: Desk) -> None:
    lead.goto(desk.pages["setup signed"])
    places = 0
    while True:
        lead.keyboard.press("Tab")
        tag, outline = lead.evaluate(
            "() => [document.activeElement.tagName, getComputedStyle(document.activeElement).outlineStyle]"
        )
        if tag == "BODY":
            break
        places += 1
        assert outline != "none", lead.evaluate("() => document.activeElement.outerHTML.slice(0, 120)")
    assert places > 15


def test_the_session_cookie_is_taken_on_this_computers_name_and_hidden_from_scripts(lead: Page) -> None:
    kept = {one["name"]: one for one in lead.context.cookies()}
    session = kept["__Host-zerokeep"]
    assert session["httpOnly"]
    assert session["secure"]
    assert session["sameSite"] == "Strict"
    assert lead.evaluate("() => document.cookie") == ""


def test_a_page_of_another_origin_can_do_nothing_in_the_leads_name(lead: Page, desk: Desk) -> None:
    def codes() -> int:
        with desk.site.house.store.reading():
            return len(desk.site.house.store.ledger.changes(kind="code.made"))

    before = codes()
    other = lead.context.new_page()
    other.goto(desk.address.replace("localhost", "127.0.0.1") + "/nothing")
    other.route("**/evil", lambda route: route.fulfill(
        content_type="text/html",
        body=f"<form method=post action='{desk.address}/desk/tablets/code'><button>Win</button></form>",
    ))  # fmt: skip
    other.goto(desk.address.replace("localhost", "127.0.0.1") + "/evil")
    other.get_by_role("button", name="Win").click()
    other.get_by_text("not ours").wait_for()
    assert codes() == before
