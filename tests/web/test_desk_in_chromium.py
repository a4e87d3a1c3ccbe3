"""The desk in a real Chromium:
no script, no violation, nothing cut, every page by the keyboard, in both themes.
"""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Error, Page
from werkzeug.serving import make_server

from tests.kit.forced import FORCED, MOVES, drawn_otherwise, like_others
from tests.kit.looking import faults
from tests.kit.past import keep_past
from tests.kit.shop import CENTRES_NM, PASSPHRASES
from tests.web.conftest import Site, make_site
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.numbers.seatings import leave_out
from webapp.services.setups import worrying
from webapp.services.shop import procedures

pytestmark = pytest.mark.browser
USUAL: Any = {"width": 1280, "height": 720}
WIDTHS = (390, 768, 1280)
# Of a window, and of text: 320 px is 1280 at 400 % zoom (1.4.10), 640 x 450 is 1280 x 900 at 200 %.
REFLOWS = (((640, 450), "100%"), ((320, 900), "100%"), ((768, 900), "200%"), ((1280, 900), "200%"))
# WCAG 2.2, 1.4.12: what a reader may set, each at once.
SPACED = """* {
  line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important;
}
p { margin-bottom: 2em !important; }"""
ADOPT = """text => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(text);
  document.adoptedStyleSheets = [sheet];
}"""
# What a browser gets that is no page of the desk: files, calls, what stands beside, and two pages that are
# looked at where they live (tests/browser).
NO_PAGES = {"api", "offline", "static", "watched", "tablet", "printing", "practice"}
FILES = {
    "deciding.addition", "desk.setups_csv", "desk.setups_json", "desk.unsigned", "desk.photo", "desk.record",
    "heads.text", "heads.mail", "items.file", "items.drawing", "past.export", "audit.ledger_file",
    "registers.people_file", "registers.slots_file", "step_pictures.file",
}  # fmt: skip
ELSEWHERE = {
    "set_up.begin": "tests/browser/test_first_start.py",
    "procedures.glass": "tests/web/test_glass.py",
}
CUT = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
TARGETS = "button, .button, nav a, summary, input:not([type=hidden]), select, textarea"
SMALL_TARGETS = f"""() => [...document.querySelectorAll('{TARGETS}')]
  .filter(one => one.offsetParent && !one.hidden)
  .map(one => [one.outerHTML.slice(0, 80), (one.closest('label') ?? one).getBoundingClientRect()])
  .filter(([, box]) => box.height < 43.5 || box.width < 24)
  .map(([name]) => name)"""


# A narrow page stacks a table: what stood in its head stands beside each value, the unit too.
UNITS_LOST = """() => [...document.querySelectorAll('table.stack')].flatMap(table => {
  const heads = [...(table.tHead?.rows[0].cells ?? [])].map(one => one.innerText.trim());
  return [...(table.tBodies[0]?.rows ?? [])].flatMap(row => [...row.cells].filter((cell, place) =>
    /, (mm|in|µm)$/.test(heads[place] ?? '') && cell.dataset.label !== heads[place]));
}).map(one => one.outerHTML.slice(0, 90))"""


@dataclass
class Looked:
    """What was found on any page, and how many shapes were drawn."""

    violations: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)
    forced: list[str] = field(default_factory=list)
    drawn: int = 0


@dataclass
class Desk:
    """A shop with something on every page, served on a port of its own."""

    site: Site
    address: str
    pages: dict[str, str]


MOVED = [0, 3, -2, 1, 4, -3, 0, 2, -1, 1, -2, 0, 300, 303, 298]
TABLE = "at_utc;machine;fixture;seating;x_mm\n2026-11-10;mill-1;vise-a;vise-a-1;-381,251\n"


def take_in_a_table(site: Site) -> str:
    """Take in a past setup from a table; its id."""
    lead = site.signed_in("ines")
    fields = {"csrf_token": lead.token(), "table": (io.BytesIO(TABLE.encode()), "log.csv")}
    page = lead.send_raw("/desk/past/import", fields).get_data(as_text=True)
    action = page.split('action="/desk/past/import/')[1].split('"')[0]
    assert lead.send(f"/desk/past/import/{action}", name="log.csv").status_code == 303
    lines = lead.text("/desk/past.csv").splitlines()
    return next(line for line in lines if line.startswith("2026-11-10")).split(",")[5]


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
    scratch = {"worry": "probe_looks_wrong", "text": "A scratch on the ball.", "about": "probe"}
    asking.event("worry.raised", scratch)
    copy = asking.device.clone()
    held = asking.event("hold.pressed", {})
    house.accept(asking.parts)
    # A tablet that was copied: its history splits, and both sides stand on the pages.
    same = {name: held[name] for name in ("setup", "sheet", "person", "at_utc")}
    copy.event("worry.raised", {"worry": "other", "text": "From the copy."}, **same)
    house.accept(copy.sent)
    worry = worrying.open_worries(house.store)[0].row.event
    # A vise that was moved and nobody said so, and one value that stands out:
    # every shape of a chart is there.
    steps = [0, 3, -2, 1, 4, -3, 0, 2, -1, 28, 1, -2, 0, 3, 60, 63, 58, 61]
    past = keep_past(house, [CENTRES_NM["X"] + 1000 * step for step in steps])
    procedures.begin(house.store, "vise-a", "ines", house.clock())
    moved = keep_past(house, [CENTRES_NM["Z"] + 1000 * step for step in MOVED], axis="Z", first=30_000)
    leave_out(house.store, past[9], "X", "A chip under the ball.", "ines", house.clock())
    imported = take_in_a_table(site)
    server = make_server("127.0.0.1", 0, site.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    pages = {
        "board": "/",
        "wall": "/wall",
        "closing a machine": "/desk/machines/mill-1/closed",
        "sign-in": "/sign-in",
        "queue": "/desk",
        "setups": "/desk/setups",
        "no setups": "/desk/setups?state=not_accepted",
        "setups found": "/desk/setups?slot=G54&verdict=ask&words=first",
        "setup signed": f"/desk/setups/{signed.setup}",
        "setup running": f"/desk/setups/{asking.setup}",
        "setup signed off": f"/desk/setups/{done.setup}",
        "sign together": "/desk/sign-together",
        "question": f"/desk/questions/{question}",
        "signing off": f"/desk/setups/{signed.setup}/sign-off",
        "not accepting": f"/desk/setups/{signed.setup}/not-accepted",
        "a worry": f"/desk/worries/{worry}",
        "tablets": "/desk/tablets",
        "a tablet's file": "/desk/tablets/file",
        "a tablet's test of itself": "/self-test",
        "slots": "/desk/slots",
        "slots found": "/desk/slots?only=person",
        "no slot found": "/desk/slots?words=nobody",
        "a slot": "/desk/slots/mill-1/G54",
        "a free slot": "/desk/slots/mill-1/G57",
        "many slots": "/desk/slots/term",
        "people": "/desk/people",
        "a person": "/desk/people/mara",
        "letting people in": "/desk/let-in",
        "machines": "/desk/machines",
        "the shop": "/desk/shop",
        "a machine to change": "/desk/shop/machine/mill-1",
        "a probe out of use": "/desk/shop/probe/probe-1/use",
        "a new vise": "/desk/shop/fixture/new",
        "a probe to change": "/desk/shop/probe/probe-1",
        "the shop's rules": "/desk/shop/rules",
        "the way to a setup": "/desk/set-up",
        "a budget": "/desk/machines/mill-1/budget",
        "a line of a budget": "/desk/machines/mill-1/budget/lines/new?axis=X",
        "what a mill reads on Z": "/desk/machines/mill-1/z",
        "probes": "/desk/probes",
        "a probe": "/desk/probes/probe-1",
        "checking a probe": "/desk/probes/probe-1/check",
        "care of a probe": "/desk/probes/probe-1/care",
        "past values": "/desk/past",
        "taking in past values": "/desk/past/import",
        "a past setup": f"/desk/past/setups/{imported}",
        "fixtures": "/desk/fixtures",
        "trends": "/desk/fixtures/vise-a/X",
        "trends of all seatings": "/desk/fixtures/vise-a/X?seating=all",
        "trends without a value": "/desk/fixtures/vise-b/Z",
        "a value": f"/desk/fixtures/vise-a/X/values/{past[3]}",
        "a move put back": f"/desk/fixtures/vise-a/Z/back/{moved[12]}",
        "a new seating": "/desk/fixtures/vise-a/seating",
        "when it matters": "/desk/fixtures/vise-a/X/matters",
        "another choice": "/desk/fixtures/vise-a/X/matters?ask=3&stop=20&ceiling=0.4&factor=1",
        "no choice": "/desk/fixtures/vise-a/X/matters?ask=1&stop=0&ceiling=x&factor=0",
        "when nothing is known": "/desk/fixtures/vise-b/Z/matters",
        "procedures": "/desk/procedures",
        "a procedure": "/desk/procedures/shop",
        "a draft of a procedure": "/desk/procedures/vise-a",
        "a step of a draft": "/desk/procedures/vise-a/steps/ready.state",
        "the picture of a step": "/desk/procedures/vise-a/steps/vise.wipe/picture",
        "a preview": "/desk/procedures/shop/preview",
        "a preview on a phone": "/desk/procedures/shop/preview?step=x.search&size=phone",
        "ledger": "/audit",
        "entries found": "/audit?what=worry&words=scratch",
        "no entry found": "/audit?words=nobody",
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
    page.get_by_role("heading", name="wait").wait_for()


@pytest.fixture(scope="module")
def looked(browser: Browser, desk: Desk) -> Looked:
    """Every page, loaded once and looked at in every way; the tests below say what was found."""
    context = browser.new_context(base_url=desk.address)
    page, looked = context.new_page(), Looked()
    page.on(
        "console",
        lambda said: looked.complaints.append(said.text) if said.type in {"error", "warning"} else None,
    )
    sign_in(page)
    for name, address in desk.pages.items():
        page.set_viewport_size(USUAL)
        page.goto(address)
        looked.cut += _cut_in_reflow(page, name)
        page.set_viewport_size(USUAL)
        for summary in page.locator("summary").all():
            summary.click()
        looked.violations += faults(page, name)
        _in_forced_colours(page, name, looked)
        looked.cut += _cut_unfolded(page, name)
    context.close()
    return looked


def _cut_in_reflow(page: Page, name: str) -> list[str]:
    wrong = []
    for (width, height), text in REFLOWS:
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("size => { document.documentElement.style.fontSize = size; }", text)
        wrong += [f"{name} at {width}, {text}"] if page.evaluate(CUT) > 0 else []
    page.evaluate("() => { document.documentElement.style.fontSize = ''; }")
    return wrong


def _cut_unfolded(page: Page, name: str) -> list[str]:
    """The last look at a page: it stays spaced as a reader may set it."""
    wrong = []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        wrong += [f"{name} at {width}"] if page.evaluate(CUT) > 0 else []
        wrong += [f"{name} at {width}: {one} is small" for one in page.evaluate(SMALL_TARGETS)]
        wrong += [f"{name}: {one} is stacked without its unit" for one in page.evaluate(UNITS_LOST)]
    page.evaluate(ADOPT, SPACED)
    for width in (768, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        wrong += [f"{name} at {width}, spaced"] if page.evaluate(CUT) > 0 else []
    return wrong


def _in_forced_colours(page: Page, name: str, looked: Looked) -> None:
    """In the dark, where what was left black would not be seen."""
    page.emulate_media(forced_colors="active", color_scheme="dark")
    shapes, wrong = drawn_otherwise(page)
    looked.drawn += shapes
    looked.forced += [f"{name}: {one}" for one in [*wrong, *like_others(page)]]
    page.emulate_media(forced_colors="none", color_scheme="light")


def test_no_page_breaks_a_rule_of_wcag_2_2_aa_or_the_content_policy(looked: Looked) -> None:
    assert looked.violations == [], "\n".join(looked.violations)
    assert [one for one in looked.complaints if "404" not in one] == []


def test_every_page_of_the_desk_is_among_those_that_are_looked_at(desk: Desk) -> None:
    app = desk.site.app
    addresses = app.url_map.bind("localhost")
    looked_at = {
        addresses.match(one.partition("?")[0])[0] for one in desk.pages.values() if one != "/nothing"
    }
    pages = {
        rule.endpoint
        for rule in app.url_map.iter_rules()
        if "GET" in (rule.methods or ()) and rule.endpoint.partition(".")[0] not in NO_PAGES
    }
    assert pages - looked_at == FILES | ELSEWHERE.keys()


def test_nothing_is_cut_however_narrow_the_page_and_however_large_its_text(looked: Looked) -> None:
    assert looked.cut == [], "\n".join(looked.cut)


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


def test_the_travel_is_drawn_anew_while_it_is_typed(lead: Page, desk: Desk) -> None:
    lead.goto(desk.pages["a machine to change"])
    picture = lead.locator("#vise")
    drawn = picture.evaluate("one => one.currentSrc")
    with lead.expect_response("**/drawing.svg?*") as answered:
        lead.fill('[name="travel_nm.X.low"]', "5000")
    assert "X: low has to lie below high" in answered.value.text()
    lead.wait_for_function("was => document.querySelector('#vise').currentSrc !== was", arg=drawn)
    assert picture.evaluate("one => one.naturalWidth") > 0
    asked = picture.evaluate("one => one.currentSrc")
    assert "travel_nm.X.low=5000" in asked
    assert "csrf_token" not in asked
    assert "deceleration" not in asked, "only what is drawn is sent"


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


def test_in_forced_colours_drawings_are_seen_and_what_is_chosen_is_told_without_them(looked: Looked) -> None:
    assert looked.forced == [], "\n".join(looked.forced)
    assert looked.drawn > 500


@pytest.mark.parametrize("lead", [FORCED], indirect=True)
def test_in_forced_colours_the_focus_is_seen(lead: Page, desk: Desk) -> None:
    lead.goto(desk.pages["setups"])
    lead.keyboard.press("Tab")
    lead.keyboard.press("Tab")
    focus = lead.evaluate(
        "() => (({outlineStyle, outlineWidth}) => [outlineStyle, parseFloat(outlineWidth)])"
        "(getComputedStyle(document.activeElement))"
    )
    assert focus[0] == "solid"
    assert focus[1] >= 2


@pytest.mark.parametrize("lead", [{"reduced_motion": "reduce"}], indirect=True)
def test_nothing_moves_where_somebody_asked_for_that(lead: Page, desk: Desk) -> None:
    for name in ("board", "wall", "queue", "setup signed", "trends", "a preview"):
        lead.goto(desk.pages[name])
        assert lead.evaluate(MOVES) == [], name


def test_after_signing_out_the_way_back_shows_nothing(lead: Page, desk: Desk) -> None:
    """ASVS 5.0, 14.3.1: what was seen is gone from the browser, without asking the server too."""
    lead.goto(desk.pages["people"])
    assert "Mara Okafor" in lead.inner_text("main")
    lead.get_by_role("button", name="Sign out").click()
    lead.wait_for_url(f"{desk.address}/")
    lead.go_back()
    lead.get_by_role("heading", name="Sign in").wait_for()
    assert "Mara Okafor" not in lead.inner_text("body")
    lead.context.set_offline(True)
    with contextlib.suppress(Error):
        lead.go_back()
    assert "Mara Okafor" not in lead.inner_text("body")


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
