"""Somebody new who sets a shop up in the browser: every click and every field is counted."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.kit.chromium import LANDSCAPE, viewport
from tests.kit.demo import settings_of, wrap_cheaply
from tests.kit.server import Server
from webapp.commands.opening import opened

ACTIONS = "actions"  # beside the shop, how many it took to set it up

PASSPHRASE = "quiet copper lantern harbour"
PIN = "814572"
PROBE = {
    "name": "Probe, ball 6 mm", "ball_diameter_nm": "6", "effective_radius_nm": "2.996",
    "radius_uncertainty_nm": "1", "stylus_reach_nm": "40", "overtravel_side_nm": "9",
    "overtravel_up_nm": "4.5",
}  # fmt: skip
VISE = {
    "name": "Vise A", "jaw_length_nm": "160", "jaw_thickness_nm": "20", "jaw_height_nm": "45",
    "opening_nm": "82", "edge_break_nm": "0.5",
}  # fmt: skip
IN_MM = {"lengths_in": "mm"}
VISE_STANDS = {**IN_MM, "fixed_side": "back", "touched_end": "low"}
MILL = {
    "name": "Plover", "decimals": "3", "travel_nm.X.low": "-762", "travel_nm.X.high": "0",
    "travel_nm.Y.low": "-432", "travel_nm.Y.high": "0", "travel_nm.Z.low": "-510", "travel_nm.Z.high": "0",
    "slot_family": "G54-G59, G59.1-G59.3", "confirm_limit_nm": "50", "probe_tool": "30", "parking_tool": "1",
    "first_feed_mm_per_min": "900", "fine_feed_mm_per_min": "60", "deceleration_mm_per_s2": "500",
    "latency_s": "0.02",
}  # fmt: skip
MILL_IS = {
    "unit": "mm", "z_zero_at_top": "yes", "slot_written": "cycle", "changer": "arm", "feeds_typed": "yes",
    "door": "interlock", "probing_stop": "feed_hold", "hand_wheel": "yes", "probe_switching": "by_itself",
}  # fmt: skip


class Serve(Server):
    """`zerokeep serve` on an empty folder."""

    def arguments(self) -> list[str]:
        return ["serve", "--data-folder", str(self.folder), "--port", str(self.port)]

    @classmethod
    def copy(cls, made: Path, folder: Path) -> Serve:
        """One on a copy of such a folder."""
        shutil.copytree(made, folder, dirs_exist_ok=True)
        return cls(folder)

    def code(self) -> str:
        """The code of the last start, as somebody reads it off the terminal."""
        found = re.findall(r"Code for the set-up, good for this start alone: (\S+)", self.log.read_text())
        return str(found[-1])


@dataclass
class NewUser:
    """A person at a browser, who fills and clicks and is counted."""

    page: Page
    address: str
    actions: int = 0

    def fill(self, name: str, text: str) -> None:
        self.actions += 1
        self.page.locator(f'[name="{name}"]').fill(text)

    def choose(self, name: str, value: str) -> None:
        self.actions += 1
        self.page.locator(f'[name="{name}"][value="{value}"]').check()

    def press(self, name: str) -> None:
        self.actions += 1
        self.page.get_by_role("button", name=name, exact=True).click()

    def follow(self, name: str, *, exactly: bool = False) -> None:
        self.actions += 1
        self.page.get_by_role("link", name=name, exact=exactly).click()

    def begin(self, code: str, **other: str) -> None:
        """The code, the shop, the first lead."""
        self.page.goto(self.address)
        self.follow("set up this shop")
        self.fill_begin(code, **other)
        self.press("Make the shop")

    def fill_begin(self, code: str, **other: str) -> None:
        typed = {
            "code": code, "shop_name": "Kettle Lane", "shop_lead": "Ines, extension 12",
            "shop_time_zone": "Europe/Oslo", "person_name": "Ines Varga", "person": "ines",
            "new_passphrase": PASSPHRASE, "new_passphrase_again": PASSPHRASE, "new_pin": PIN,
            "new_pin_again": PIN,
        }  # fmt: skip
        for name, text in {**typed, **other}.items():
            self.fill(name, text)

    def item(self, link: str, typed: dict[str, str], chosen: dict[str, str] | None = None) -> None:
        """One item of the shop: its page, its fields, a look, and kept."""
        self.follow(link)
        for name, text in typed.items():
            self.fill(name, text)
        for name, value in (chosen or {}).items():
            self.choose(name, value)
        self.press("Look what it does")
        self.press("Keep it")

    def shop(self) -> None:
        """Probe, vise, machine, own slot."""
        self.item("Enter it", PROBE, IN_MM)
        self.item("Enter the vise", VISE, VISE_STANDS)
        self.item("Enter it", MILL, MILL_IS)
        self.fill("slot", "g55")
        self.press("Take this slot")

    def come_back(self, person: str, passphrase: str = PASSPHRASE) -> None:
        """Sign in at another time."""
        self.page.goto(self.address)
        self.follow("Sign in", exactly=True)
        self.fill("person", person)
        self.fill("passphrase", passphrase)
        self.press("Sign in")

    def tablet_code(self) -> str:
        self.press("Make a code for the tablet")
        return self.page.locator(".plate .code").inner_text()


def make_kettle_lane(folder: Path, browser: Browser) -> None:
    """Set a shop up on an empty folder in the browser, up to the tablet; note how many actions it took."""
    serve = Serve(folder)
    serve.start()
    context = browser.new_context(viewport=viewport(LANDSCAPE), reduced_motion="reduce")
    try:
        new = NewUser(context.new_page(), serve.address)
        new.begin(serve.code())
        new.shop()
        (folder / ACTIONS).write_text(str(new.actions), encoding="utf-8")
    finally:
        context.close()
        serve.stop()
    with opened(settings_of(folder)) as (_, keyring):
        wrap_cheaply(keyring, folder)


def actions_taken(folder: Path) -> int:
    """How many actions the shop in this folder took."""
    return int((folder / ACTIONS).read_text(encoding="utf-8"))
