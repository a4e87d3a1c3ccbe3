"""Pictures of everything that can be seen: `python -m tests.screens OUT_DIR [--only PART]`.

Every step of a setup on two machines, the screens beside the steps, the desk, the board, the practice mill,
signing in, on three sizes in both themes; and the pages of a record, sealed and not signed off. To be looked
at by people; nothing is judged here. The shop is the demo's, with a short past.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.kit import tls
from tests.kit.at_the_mill import all_screens
from tests.kit.chromium import CHROMIUM, CHROMIUM_FLAGS, PHONE, PORTRAIT, SIZES, shift_clock, viewport
from tests.kit.demo import Demo, make_demo
from tests.kit.desk import Desk
from tests.kit.first_start import IN_MM, MILL, MILL_IS, PROBE, VISE, VISE_STANDS, NewUser, Serve
from tests.kit.looking import TEXT_SIZE, THEMES
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet
from webapp.demo.mill import Mistake

TESTED = ':is([data-state="passes"], [data-state="fails"])'
PAINTED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"


class Camera:
    """Takes one screen on all sizes in both themes."""

    def __init__(self, page: Page, folder: Path) -> None:
        self.page, self.folder = page, folder

    def take(self, name: str, *, whole: bool = False, twice: bool = False) -> None:
        """Write NAME-SIZE-THEME.png for each; `whole` takes the page to its end, as a desk's pages are read.

        `twice`: NAME-SIZE-twice.png as well, with text at twice its size, as much of it as a screen shows.
        """
        for theme in THEMES:
            self.page.emulate_media(color_scheme=theme)
            for size_name, size in SIZES.items():
                self.page.set_viewport_size(viewport(size))
                self.page.evaluate(PAINTED)
                path = self.folder / f"{name}-{size_name}-{theme}.png"
                self.page.screenshot(path=path, full_page=whole)
                if twice and theme == THEMES[0]:
                    self.page.evaluate(TEXT_SIZE, "200%")
                    self.page.evaluate(PAINTED)
                    self.page.screenshot(path=self.folder / f"{name}-{size_name}-twice.png")
                    self.page.evaluate(TEXT_SIZE, "")
        self.page.emulate_media(color_scheme="light")
        self.page.set_viewport_size(viewport(PORTRAIT))


class Studio:
    """A demo shop with a server and a browser, and a folder for the pictures."""

    def __init__(self, demo: Demo, server: Server, browser: Browser, out: Path) -> None:
        self.demo, self.server, self.browser, self.out = demo, server, browser, out
        self._codes = iter(f"PICTURES{letter}2" for letter in "ABCDEFGH")

    def tablet(self) -> tuple[Tablet, Camera]:
        """A tablet in use, and a camera on it."""
        page = self.browser.new_context(viewport=viewport(PORTRAIT)).new_page()
        tablet, camera = Tablet(page, self.server.address), Camera(page, self.out)
        tablet.open()
        camera.take("tablet-00-enrol")
        tablet.enrol(self.demo.code(code=next(self._codes)))
        return tablet, camera

    def operator(self, tablet: Tablet, machine: str, person: str) -> Operator:
        """Somebody who has begun a setup."""
        tablet.begin(machine, person)
        mill, slot = self.demo.mill(machine), self.demo.slot(machine, person)
        return Operator(tablet, mill, slot, self.demo.people[person].pin)

    def desk(self, person: str) -> Desk:
        """A desk that this person has signed in at."""
        desk = Desk(self.browser.new_context(viewport=viewport(PORTRAIT)).new_page(), self.server.address)
        desk.sign_in(person, self.demo.people[person])
        return desk


def steps(studio: Studio) -> None:
    """Every step on both machines, to the signature."""
    for machine, person in (("plover", "odile"), ("dunlin", "ilse")):
        tablet, camera = studio.tablet()
        camera.take("tablet-01-machines")
        hand = studio.operator(tablet, machine, person)
        for number, (step, _) in enumerate(hand.steps(), start=1):
            camera.take(f"{machine}-{number:02d}-{step}")
        camera.take(f"{machine}-90-signed")
        tablet.all_sent()
        tablet.page.wait_for_selector('[data-signature="verified"]')
        camera.take(f"{machine}-91-verified")


def beside(studio: Studio) -> None:
    """What is seen before, between and beside the steps, and when something is not as it should be."""
    tablet, camera = studio.tablet()
    _before(tablet, camera)
    hand = studio.operator(tablet, "plover", "tariq")
    hand.walk(until="probe.load")
    tablet.enter("7")
    camera.take("beside-20-wrong-tool")
    hand.walk(until="slot.own")
    tablet.enter("G57")
    camera.take("beside-21-wrong-slot")
    hand.walk(until="copy.values")
    shown = hand.mill.shown()
    for text in (shown["X"], shown["Y"], "-12.345"):
        tablet.enter(text)
    camera.take("beside-22-slot-changed")
    tablet.tap("go")
    hand.walk(until="x.search")
    _looking_around(tablet, camera)
    hand.walk(until="x.touch")
    tablet.type("-413.33112")
    tablet.tap_here("go")
    camera.take("beside-30-no-length")
    tablet.page.locator('[data-entry="X"]').fill("")
    _verdicts(hand, camera)
    tablet.tap("break-off")
    camera.take("beside-40-broken-off")
    hand.walk(until="sign.review")
    camera.take("beside-41-why-broken-off")
    tablet.tap("break-reason", "vise")
    camera.take("beside-42-review-broken-off")
    tablet.tap("go")
    tablet.page.fill("#pin", "0000")
    tablet.tap("go")
    tablet.sync()
    tablet.page.locator("#pin").wait_for(timeout=60_000)
    camera.take("beside-43-sign-again")
    second = Tablet(tablet.page.context.new_page(), tablet.address)
    second.open()
    Camera(second.page, studio.out).take("beside-50-another-tab")
    second.page.close()


def _before(tablet: Tablet, camera: Camera) -> None:
    tablet.tap("holds")
    camera.take("beside-02-holds")
    tablet.tap("back")
    for machine in ("plover",):
        found = [row for row in tablet.rows("sheets") if row["machine"] == machine]
        tablet.tap("machine", found[-1]["hash"])
        camera.take("beside-03-people")
        tablet.tap("person", "bram")
        camera.take("beside-04-cannot-begin")
        tablet.tap("back")
        tablet.tap("person", "tariq")
        camera.take("beside-05-ready")
        tablet.tap("back")
        tablet.tap("back")


def _looking_around(tablet: Tablet, camera: Camera) -> None:
    tablet.tap_here("why")
    camera.take("beside-23-why")
    for action, name in (("larger", "24-drawing"), ("off", "25-off")):
        if tablet.offers(action):
            tablet.tap(action)
            camera.take(f"beside-{name}")
            if action == "off":
                tablet.tap("worry", "wrong_place")
                camera.take("beside-26-off-noted")
            tablet.tap("back")
    tablet.page.set_viewport_size(viewport(PHONE))
    tablet.tap("open-all")
    camera.take("beside-27-steps-so-far")
    tablet.tap("read-step", "slot.own")
    camera.take("beside-28-read-a-step")
    tablet.tap("correct")
    camera.take("beside-29-correct")
    tablet.tap("back")


def _verdicts(hand: Operator, camera: Camera) -> None:
    """A first touch far off, one that asks and is put to the lead, a question of one's own."""
    tablet = hand.tablet
    hand.mill.mistakes["X"] = [Mistake(ball_left_out=True)]
    hand.walk(until="x.compare")
    camera.take("beside-31-stop")
    hand.read_again()
    tablet.tap("put-question")
    camera.take("beside-32-question")
    tablet.tap("common-question")
    camera.take("beside-33-stop-asked")
    tablet.tap("touch-again")
    usual = next(one["usual"] for one in tablet.sheet("plover")["axes"] if one["axis"] == "X")
    hand.walk(until="x.touch")
    tablet.enter(hand.mill.text(usual["centre_nm"] + (usual["ask_nm"] + usual["stop_nm"]) // 2))
    camera.take("beside-34-ask")
    tablet.tap("put-question")
    tablet.tap("common-question")
    camera.take("beside-35-asked")
    tablet.tap("keep")


def desk(studio: Studio) -> None:
    """Board, signing in, the lead's pages, an auditor's, an operator's; a setup signed off and its record."""
    page = studio.browser.new_context(viewport=viewport(PORTRAIT)).new_page()
    camera = Camera(page, studio.out)
    for name, path in (
        ("01-board", "/"),
        ("02-sign-in", "/sign-in"),
        ("03-practice", "/practice/"),
        ("04-practice-mill", "/practice/plover"),
        ("05-not-there", "/nothing/here"),
    ):
        page.goto(f"{studio.server.address}{path}")
        camera.take(f"desk-{name}", whole=True)
    page.goto(f"{studio.server.address}/sign-in")
    page.fill('[name="person"]', "mara")
    page.fill('[name="passphrase"]', "not the right words at all")
    page.get_by_role("button", name="Sign in").click()
    camera.take("desk-06-sign-in-refused", whole=True)
    _lead(studio)
    for person, path in (("ruth", "/audit"), ("odile", "/desk/setups"), ("odile", "/me")):
        desk = studio.desk(person)
        if desk.page.goto(f"{studio.server.address}{path}").status == 200:
            Camera(desk.page, studio.out).take(f"desk-40-{person}{path.replace('/', '-')}", whole=True)


def _lead(studio: Studio) -> None:
    desk = studio.desk("mara")
    camera = Camera(desk.page, studio.out)
    links = desk.page.locator("nav a, header a").all()
    for number, path in enumerate(
        dict.fromkeys(link.get_attribute("href") or "/" for link in links), start=10
    ):
        other = studio.browser.new_context(
            storage_state=desk.page.context.storage_state(), viewport=viewport(PORTRAIT)
        ).new_page()
        other.goto(f"{studio.server.address}{path}")
        name = path.strip("/").replace("/", "-") or "board"
        Camera(other, studio.out).take(f"desk-{number}-lead-{name}", whole=True)
        other.context.close()
    desk.open("/desk/tablets")
    desk.page.get_by_role("button", name="Make a code").click()
    camera.take("desk-30-code", whole=True)
    desk.open("/desk")
    if desk.page.locator('a[href*="/desk/questions/"]').count():
        desk.page.locator('a[href*="/desk/questions/"]').first.click()
        camera.take("desk-31-question", whole=True)
    _sign_off(studio, desk, camera)


def _sign_off(studio: Studio, desk: Desk, camera: Camera) -> None:
    with studio.demo.opened() as (store, _), store.reading():
        waiting = [row for row in store.setups.setups(status=["signed"]) if row["person"] != "mara"]
    setup = waiting[0]["id"]
    desk.open(f"/desk/setups/{setup}")
    camera.take("desk-32-setup", whole=True)
    (studio.out / "unsigned.pdf").write_bytes(desk.download("As it stands", studio.out))
    desk.open("/desk/sign-together")
    camera.take("desk-33-sign-together", whole=True)
    desk.open(f"/desk/setups/{setup}")
    desk.page.fill("#passphrase", "not the right words at all")
    desk.page.get_by_role("button", name="Sign off").click()
    camera.take("desk-35-sign-off-refused", whole=True)
    desk.sign_off(setup, studio.demo.people["mara"])
    camera.take("desk-36-signed-off", whole=True)
    (studio.out / "record.pdf").write_bytes(desk.download("Sealed record", studio.out))
    for name in ("record", "unsigned"):
        picture = ("pdftoppm", "-r", "110", "-png", f"{name}.pdf", f"pdf-{name}")
        subprocess.run(picture, cwd=studio.out, check=True)


def mill(studio: Studio) -> None:
    """What comes where something is off at the mill; also at twice the text size."""
    tablet, camera = studio.tablet()
    count = iter(range(1, 100))

    def seen(name: str) -> None:
        camera.take(f"mill-{next(count):02d}-{name.replace(',', '').replace(' ', '-')}", twice=True)

    all_screens(tablet, studio.demo, seen)


def away(studio: Studio) -> None:
    """A tablet without its server, and one whose date is wrong; the server stands again afterwards."""
    tablet, camera = studio.tablet()
    tablet.all_sent()
    studio.server.kill()
    for number, (hours, name) in enumerate(
        [(0, "no-server"), (450 * 24, "a-year-ahead"), (-49 - 450 * 24, "behind")]
    ):
        shift_clock(tablet.page, hours)
        tablet.reload()
        tablet.page.wait_for_selector("text=The server was last reached")
        camera.take(f"away-{number}-{name}", twice=True)
    tablet.tap("holds")
    camera.take("away-3-holds")
    tablet.page.context.close()
    studio.server.start()


def trust(studio: Studio) -> None:
    """What a new tablet sees before it is one: the page on trust, without TLS, and the test of a device."""
    with tempfile.TemporaryDirectory() as folder:
        server = tls.TlsServer(Demo.copy(studio.demo.folder, Path(folder) / "shop").folder)
        server.start()
        try:
            page = studio.browser.new_context(viewport=viewport(PORTRAIT)).new_page()
            camera = Camera(page, studio.out)
            page.goto(f"http://{tls.ADDRESS}:{server.trust_port}")
            camera.take("trust-01-page", whole=True)
        finally:
            server.kill()
    page.goto(f"{studio.server.address}/self-test")
    camera.take("trust-02-test", whole=True)
    page.locator('[data-action="test"]').click()
    page.locator(TESTED).nth(3).wait_for(timeout=60_000)
    camera.take("trust-03-tested", whole=True)
    page.context.close()


def first(studio: Studio) -> None:
    """A first start on an empty folder, and what a lead changes about the shop afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        server = Serve(Path(folder))
        server.start()
        try:
            _first_start(studio, server)
        finally:
            server.kill()
    desk = studio.desk("mara")
    camera = Camera(desk.page, studio.out)
    for number, (name, path) in enumerate(SHOP_PAGES.items(), start=20):
        desk.open(path)
        camera.take(f"first-{number}-{name}", whole=True)
    desk.open("/desk/shop/machine/plover")
    desk.page.fill('[name="deceleration_mm_per_s2"]', "120")
    desk.page.get_by_role("button", name="Look what it does").click()
    camera.take("first-30-looked-at", whole=True)
    desk.open("/desk/shop/fixture/dunlin-vise")
    desk.page.fill('[name="jaw_length_nm"]', "six")
    desk.page.get_by_role("button", name="Look what it does").click()
    camera.take("first-31-refused", whole=True)


SHOP_PAGES = {"shop": "/desk/shop", "vise": "/desk/shop/fixture/plover-vise", "rules": "/desk/shop/rules",
              "slots": "/desk/slots", "slot": "/desk/slots/plover/G55", "term": "/desk/slots/term",
              "person": "/desk/people/odile", "let-in": "/desk/let-in"}  # fmt: skip


def _first_start(studio: Studio, server: Serve) -> None:
    page = studio.browser.new_context(viewport=viewport(PORTRAIT)).new_page()
    new, camera = NewUser(page, server.address), Camera(page, studio.out)
    page.goto(server.address)
    camera.take("first-01-board", whole=True)
    page.goto(f"{server.address}/set-up")
    camera.take("first-02-set-up", whole=True)
    new.fill_begin("0000")
    new.press("Make the shop")
    camera.take("first-03-refused", whole=True)
    new.fill_begin(server.code())
    new.press("Make the shop")
    camera.take("first-04-guide", whole=True)
    new.follow("Enter it")
    camera.take("first-05-probe", whole=True)
    page.goto(f"{server.address}/desk/set-up")
    new.item("Enter it", PROBE, IN_MM)
    new.follow("Enter the vise")
    camera.take("first-06-vise", whole=True)
    page.goto(f"{server.address}/desk/set-up")
    new.item("Enter the vise", VISE, VISE_STANDS)
    new.follow("Enter it")
    new.press("Look what it does")
    camera.take("first-07-mill-empty", whole=True)
    page.goto(f"{server.address}/desk/set-up")
    new.item("Enter it", MILL, MILL_IS)
    camera.take("first-08-slot", whole=True)
    new.fill("slot", "G55")
    new.press("Take this slot")
    new.tablet_code()
    camera.take("first-09-code", whole=True)
    page.context.close()


PARTS: dict[str, Callable[[Studio], None]] = {
    "trust": trust,
    "first": first,
    "steps": steps,
    "beside": beside,
    "away": away,
    "mill": mill,
    "desk": desk,
}


@contextmanager
def studio(out: Path) -> Iterator[Studio]:
    """Everything that stands while pictures are taken."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        demo = Demo(make_demo(Path(folder)))
        server = Server(demo.folder)
        server.start()
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, args=list(CHROMIUM_FLAGS), headless=True
                )
                yield Studio(demo, server, browser, out)
                browser.close()
        finally:
            server.kill()


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.screens")
    parser.add_argument("out", type=Path, help="where the pictures go")
    parser.add_argument("--only", choices=PARTS, action="append", help="one part of it, may be repeated")
    options = parser.parse_args(arguments)
    with studio(options.out) as made:
        for name in options.only or PARTS:
            PARTS[name](made)
    sys.stdout.write(f"{len(list(options.out.glob('*.png')))} pictures in {options.out}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
