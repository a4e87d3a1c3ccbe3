"""Two tablets at one mill: each is told of the other while both have a setup under way."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.tablet import Operator, Tablet

TOLD = "text=another tablet sets up here: ask who"


def test_two_tablets_at_one_machine_are_told_of_each_other_until_one_leaves(
    odile: Operator, demo: Demo, new_context: Callable[..., BrowserContext]
) -> None:
    first = odile.tablet
    first.all_sent()
    assert not first.page.locator(TOLD).count()
    second = Tablet(new_context().new_page(), first.address)
    second.enrol(demo.code(code="SECONDTABLE"), "By the window")
    second.begin("plover", "tariq")
    second.page.wait_for_selector(TOLD)
    first.sync()
    first.page.wait_for_selector(TOLD)
    second.tap("leave")
    second.all_sent()
    first.sync()
    first.page.wait_for_selector(TOLD, state="detached")
