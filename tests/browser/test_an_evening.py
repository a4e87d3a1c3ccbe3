"""The first evening and the first days of a shop that began with `serve` on an empty folder, told as a lead
and an operator live them: every press in a browser, no file, no command, no demo.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Locator, Page

from tests.kit.by_keys import ByKeys, OperatorByKeys
from tests.kit.chromium import LANDSCAPE, PHONE
from tests.kit.demo import Mill, settings_of
from tests.kit.first_start import PASSPHRASE, NewUser, Serve
from tests.kit.pictures import jpeg
from tests.kit.tablet import Operator, Tablet
from webapp.commands.opening import opened
from webapp.demo.scenario import make_mill
from webapp.services.sheets.fitted_machines import fitted_machine

LONGEST_MS = 120_000  # a press of a button waits for its page: hashing secrets and sealing take a while
NORAS_PASSPHRASE, NORAS_PIN = "seven slow herons wade", "739164"
WIPE = "Wipe the jaw with the blue cloth."
CLASS = """name;short name
Nora Lindt;nora
NORA LINDT;other
Øystein Åsen;ines
;nobody
Лидия Орлова;лидия
José García;jose;G57
"""
WRONG_LINES = ("Line 3", "Line 4", "Line 5", "Line 6", "Line 7")
MENDED = "Nora Lindt, nora\nØystein Åsen\nЛидия Орлова, lidia\nJosé García\n"


@dataclass
class Evening:
    """A shop in its first evening: its server, the lead's page, and pages for others."""

    serve: Serve
    lead: NewUser
    new_context: Callable[..., BrowserContext]

    @property
    def page(self) -> Page:
        return self.lead.page

    def main(self) -> str:
        """What the lead reads."""
        return " ".join(self.page.locator("main").inner_text().split())

    def told(self, words: str) -> None:
        """Wait until the lead's page says so."""
        self.page.get_by_text(words).first.wait_for()

    def part(self, heading: str) -> Locator:
        """The section with this heading, where a page has several forms."""
        return self.page.locator("section", has=self.page.get_by_role("heading", name=heading)).last

    def signed_in(self, person: str, passphrase: str) -> NewUser:
        """Somebody else, at a browser of their own."""
        other = NewUser(self.new_context(PHONE).new_page(), self.serve.address)
        other.page.set_default_timeout(LONGEST_MS)
        other.come_back(person, passphrase)
        return other

    def let_in(self, typed: str) -> dict[str, str]:
        """Let in who was typed, for the one machine; their first passphrases by short name."""
        lead = self.lead
        lead.fill("people", typed)
        lead.choose("machines", "plover")
        lead.choose("level", "alone")
        lead.fill("passphrase", PASSPHRASE)
        lead.press("Let them in")
        said = [slip.locator("code").all_inner_texts() for slip in self.page.locator(".slip").all()]
        return {short: passphrase for _, short, passphrase, _ in said}

    def own_secrets(self, person: str, first: str, passphrase: str, pin: str) -> NewUser:
        """The first sign-in: one form with three fields."""
        other = self.signed_in(person, first)
        for name, text in (("current", first), ("new_passphrase", passphrase), ("new_pin", pin)):
            other.fill(name, text)
        other.press("Take both")
        other.page.get_by_text("Both hold from now on.").wait_for()
        return other

    def mill(self) -> Mill:
        """A simulated mill as the shop describes it."""
        with opened(settings_of(self.serve.folder)) as (store, _), store.reading():
            machine, fixture, probe = fitted_machine(store, "plover")[1:]
        return Mill(make_mill(machine, fixture, probe, random.Random(12)), machine.display)


@pytest.fixture
def evening(
    kettle_lane: Path, tmp_path: Path, new_context: Callable[..., BrowserContext]
) -> Iterator[Evening]:
    """The lead comes back to the shop, in a browser without scripts."""
    serve = Serve.copy(kettle_lane, tmp_path / "shop")
    serve.start()
    lead = NewUser(new_context(LANDSCAPE, java_script_enabled=False).new_page(), serve.address)
    lead.page.set_default_timeout(LONGEST_MS)
    lead.come_back("ines")
    yield Evening(serve, lead, new_context)
    serve.kill()


def test_a_class_is_let_in_with_its_slots_and_forgotten_secrets_begin_anew(
    evening: Evening, tmp_path: Path
) -> None:
    lead, page = evening.lead, evening.page
    lead.follow("People")
    lead.follow("Let people in")
    (tmp_path / "class.csv").write_text(CLASS, encoding="utf-8")
    page.set_input_files('[name="file"]', tmp_path / "class.csv")
    lead.press("Look at the list first")
    told = page.locator(".errors").inner_text()
    assert [line for line in WRONG_LINES if line not in told] == []
    assert page.input_value('[name="people"]') == CLASS
    first = evening.let_in(MENDED)
    assert list(first) == ["nora", "oystein", "lidia", "jose"]
    nora = evening.own_secrets("nora", first["nora"], NORAS_PASSPHRASE, NORAS_PIN)
    lead.follow("I have them: to the people")

    lead.follow("Slots", exactly=True)
    lead.follow("Many at once")
    lead.choose("what", "give")
    lead.fill("people", "nora\noystein\nlidia jose")
    lead.press("Look what would happen")
    evening.told("G58")
    evening.told("Øystein Åsen")
    lead.press("Do it")
    evening.told("4 slots were changed")
    lead.follow("G54", exactly=True)
    lead.fill("until", "2031-06-30")
    lead.press("Change the last day")
    lead.press("End it now")
    evening.told("It is ended. Its last values stay here until they are copied out.")
    lead.press("Its values are copied out: set it free")
    lead.press("Keep it for the shop")
    evening.told("kept for the shop")

    page.goto(f"{evening.serve.address}/desk/people/nora")
    evening.part("Forgotten passphrase or PIN").locator('[name$="passphrase"]').fill(PASSPHRASE)
    lead.press("Begin secrets anew")
    again = page.locator(".slip code").all_inner_texts()[2]
    nora.page.reload()
    nora.page.get_by_role("heading", name="Sign in to the desk").wait_for()
    evening.own_secrets("nora", again, "a heron stands in reeds", "482915")
    page.goto(f"{evening.serve.address}/desk/people/ines")
    evening.part("Take the account out of use").locator('[name$="reason"]').fill("She left.")
    lead.press("Take out of use")
    evening.told("the last lead")


def test_a_seating_begins_with_a_day_of_the_shop_and_never_in_the_future(evening: Evening) -> None:
    lead = evening.lead
    lead.follow("Fixtures")
    lead.follow("Start a new seating of Vise A")
    lead.fill("reason", "Taken off and trammed")
    lead.fill("since", "2031-06-30")
    lead.press("Start the new seating")
    evening.told("not from when on it will")
    assert lead.page.input_value('[name="reason"]') == "Taken off and trammed"
    lead.fill("since", "")
    lead.press("Start the new seating")
    evening.told("A new seating has begun.")
    evening.told("Seatings known: 2.")


def photograph(tablet: Tablet, folder: Path) -> None:
    (folder / "camera.jpg").write_bytes(jpeg((1600, 1200)))
    tablet.settled()
    with tablet.page.expect_file_chooser() as chooser:
        tablet.find("photo").click()
    chooser.value.set_files(folder / "camera.jpg")
    tablet.page.wait_for_selector('[data-photo="sent"]', timeout=60_000)


def change_a_step(evening: Evening) -> None:
    """Other words and a picture of its own for a step, looked at and published."""
    lead = evening.lead
    lead.follow("Procedures")
    lead.follow("for the whole shop")
    lead.press("Begin a draft")
    lead.follow("Change “Brush, then wipe the fixed jaw")
    lead.fill("do", WIPE)
    lead.fill("photo", "The jaw, wiped")
    lead.press("Keep in the draft")
    lead.fill("note", "The blue cloth leaves no lint.")
    lead.press("Look what publishing does")
    evening.told("nothing is published yet")
    lead.press("Publish for the whole shop, as it stands above")
    evening.told("Published.")


def first_setup(nora: Operator, folder: Path) -> None:
    """A picture, a worry and a question on the way; the first values of a shop have nothing to agree with."""
    tablet = nora.tablet
    nora.walk(until="vise.wipe")
    assert WIPE in tablet.text()
    photograph(tablet, folder)
    nora.walk(until="x.search")
    tablet.tap("off")
    tablet.tap("worry", "other")
    tablet.page.locator('[data-words="worry"]').fill("Coolant on the floor")
    tablet.tap("about", "machine")
    tablet.tap("note")
    tablet.tap("put-question")
    tablet.page.locator('[data-words="question"]').fill("Is this cloth the right one?")
    tablet.tap("put-question")
    nora.walk()
    tablet.all_sent()


def decide_on_a_phone(phone: NewUser) -> None:
    """What needs the lead stands first and is decided there: worry, question, setup with its picture."""
    page = phone.page
    queue = page.inner_text("main")
    assert queue.index("Coolant on the floor") < queue.index("Is this cloth the right one?")
    phone.follow("the worry of Nora Lindt")
    phone.choose("how", "checked")
    phone.fill("reason", "Mopped up.")
    phone.press("Close it")
    phone.follow("the question of Nora Lindt")
    phone.choose("decision", "go_on")
    phone.fill("reason", "It is.")
    phone.press("Send the answer")
    phone.follow("the setup of Nora Lindt")
    picture = page.locator(".photos img")
    assert picture.evaluate("one => one.decode().then(() => one.naturalWidth)") == 1280
    assert "The jaw, wiped" in page.inner_text(".photos")
    phone.choose("first_values", "take")
    page.locator("#decide").get_by_label("passphrase").first.fill(PASSPHRASE)
    phone.press("Sign off")
    page.get_by_text("Signed off, and the record is sealed.").wait_for(timeout=60_000)


def next_setup(tablet: Tablet) -> None:
    """Wait for a sheet that has something to compare with, and begin on it."""
    tablet.tap("another")
    for _ in range(300):
        if all(axis["usual"]["values"] for axis in tablet.sheet("plover")["axes"]):
            break
        tablet.sync()
        tablet.page.wait_for_timeout(100)
    tablet.begin("plover", "nora")


def sign_both(phone: NewUser) -> None:
    """Two plain setups: each opened, and one entry of the passphrase for the list."""
    page = phone.page
    for number in range(2):
        page.goto(f"{phone.address}/desk")
        page.get_by_role("link", name="the setup of Nora Lindt").nth(number).click()
        page.get_by_text("to your signature").wait_for()
    page.goto(f"{phone.address}/desk")
    phone.follow("Sign 2 opened setups")
    phone.fill("passphrase", PASSPHRASE)
    phone.press("Sign them off")
    page.get_by_role("heading", name="2 signed off").wait_for(timeout=60_000)


def test_from_a_changed_step_to_a_list_that_one_passphrase_signs(evening: Evening, tmp_path: Path) -> None:
    lead, page = evening.lead, evening.page
    change_a_step(evening)
    lead.follow("People")
    lead.follow("Let people in")
    first = evening.let_in("Nora Lindt, nora")
    evening.own_secrets("nora", first["nora"], NORAS_PASSPHRASE, NORAS_PIN)
    lead.follow("I have them: to the people")
    lead.follow("Nora Lindt")
    lead.press("Give")
    lead.follow("Tablets")
    lead.press("Make a code for a tablet")
    code = page.locator(".plate .code").inner_text()
    tablet = Tablet(evening.new_context().new_page(), evening.serve.address)
    tablet.enrol(code, "Tablet at the mill")
    tablet.begin("plover", "nora")
    nora = Operator(tablet, evening.mill(), "G54", NORAS_PIN)
    first_setup(nora, tmp_path)
    phone = evening.signed_in("ines", PASSPHRASE)
    decide_on_a_phone(phone)
    next_setup(tablet)
    nora.walk()
    by_keys = OperatorByKeys(ByKeys(tablet.page, tablet.address), nora.mill, "G54", NORAS_PIN)
    next_setup(by_keys.tablet)
    by_keys.walk()
    tablet.all_sent()
    sign_both(phone)
    lead.follow("Setups", exactly=True)
    page.locator("tbody .state.agrees", has_text="signed off").nth(2).wait_for()
