"""The tablet where somebody chose the colours of all programs, or asked for less motion, and has only keys:
nothing that a colour tells is lost, nothing moves, and everything is reached.

Sources: CSS Color Adjustment 1, 3.1; WCAG 2.2, 1.4.1, 2.1.1, 2.3.3, 2.4.7.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.test_what_a_tablet_loses import CLEAR_KEYS
from tests.kit.at_the_mill import all_screens
from tests.kit.by_keys import ByKeys
from tests.kit.chromium import shift_clock
from tests.kit.demo import Demo
from tests.kit.forced import FORCED, MOVES, lost
from tests.kit.server import Server
from tests.kit.tablet import Tablet, operator


class Eyes:
    """Looks at screens in forced colours and notes what is lost on them."""

    def __init__(self, page: Page) -> None:
        self.page, self.seen, self.drawn = page, set[str](), 0
        self.wrong: list[str] = []

    def see(self, name: str) -> None:
        shapes, wrong = lost(self.page, name)
        self.drawn += shapes
        self.wrong += [*wrong, *(f"{name} moves: {one}" for one in self.page.evaluate(MOVES))]
        self.seen.add(self.page.locator("#app").get_attribute("data-screen") or "")


@pytest.fixture
def forced(new_tablet: Callable[..., Tablet]) -> Tablet:
    """A tablet in the system's own colours."""
    return new_tablet(**FORCED)


def test_a_setup_is_told_without_a_colour_from_the_choice_to_the_signature(
    forced: Tablet, demo: Demo, server: Server
) -> None:
    page, eyes = forced.page, Eyes(forced.page)
    eyes.see("machines")
    forced.tap("holds")
    eyes.see("what the tablet holds")
    forced.tap("back")
    forced.tap("machine", forced._listed("plover"))
    eyes.see("people, one whose time has ended")
    forced.tap("person", "bram")
    eyes.see("cannot begin")
    forced.tap("back")
    forced.tap("person", "odile")
    eyes.see("ready")
    forced.tap("begin")
    odile, kinds = operator(forced, demo), set()
    for step, kind in odile.steps():
        if kind not in kinds:
            eyes.see(step)
        if kind == "checks" and kind not in kinds:
            _mark_is_drawn(forced)
        kinds.add(kind)
    eyes.see("after")
    assert len(kinds) == 17, "every kind of step was looked at"
    forced.all_sent()
    server.kill()
    forced.tap("another")
    forced.begin("dunlin", "ilse")
    page.wait_for_selector('[data-network="waiting"]')
    eyes.see("a step, without the server")
    _beside(forced, eyes)
    screens = {"machines", "holds", "people", "ready", "step", "after", "away", "enrol"}
    assert screens <= eyes.seen, eyes.seen
    assert eyes.wrong == [], "\n".join(eyes.wrong)
    assert eyes.drawn > 150


def _mark_is_drawn(tablet: Tablet) -> None:
    """A line that was ticked looks otherwise than before: its mark, not only what is round it."""
    row = tablet.page.locator('[data-action="tick"]').first
    before = row.locator(".row-mark").screenshot()
    tablet.tap("tick", row.get_attribute("data-choice"))
    assert row.get_attribute("aria-pressed") == "true"
    assert row.locator(".row-mark").screenshot() != before
    tablet.tap("tick", row.get_attribute("data-choice"))


def _beside(tablet: Tablet, eyes: Eyes) -> None:
    shift_clock(tablet.page, 1)
    tablet.reload()
    eyes.see("nobody was there")
    tablet.page.evaluate(CLEAR_KEYS)
    tablet.reload()
    eyes.see("its key is lost")


def test_where_something_is_off_all_is_told_without_a_colour_and_reached_by_keys(
    forced: Tablet, demo: Demo
) -> None:
    eyes = Eyes(forced.page)
    all_screens(ByKeys(forced.page, forced.address), demo, eyes.see)
    assert {"trouble", "off", "lift", "handing", "put-back"} <= eyes.seen, eyes.seen
    assert eyes.wrong == [], "\n".join(eyes.wrong)
