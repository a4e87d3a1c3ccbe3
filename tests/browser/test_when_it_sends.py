"""The moments at which a page looks for its server by itself, without any browser's own sending."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.modules import open_modules

MOMENTS = {
    "online": "() => dispatchEvent(new Event('online'))",
    "pageshow": "() => dispatchEvent(new PageTransitionEvent('pageshow'))",
    "focus": "() => dispatchEvent(new Event('focus'))",
    "seen again": "() => document.dispatchEvent(new Event('visibilitychange'))",
    "a while later": "() => {}",
}
START = """async everyMs => {
  self.looked = 0;
  const {whenToSync} = await import('/assets/trial/js/sync.js');
  whenToSync(() => { looked += 1; }, everyMs);
}"""
HIDE = "() => Object.defineProperty(document, 'visibilityState', {get: () => 'hidden'})"
NEVER_MS = 3_600_000


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    context = new_context()
    context.add_init_script("delete globalThis.SyncManager;")
    return open_modules(context)


@pytest.mark.parametrize("moment", MOMENTS)
def test_every_moment_that_may_have_brought_the_server_back_has_it_look(page: Page, moment: str) -> None:
    assert page.evaluate("() => typeof SyncManager") == "undefined"
    page.evaluate(START, 50 if moment == "a while later" else NEVER_MS)
    page.evaluate(MOMENTS[moment])
    page.wait_for_function("() => looked > 0")


def test_a_page_that_nobody_sees_leaves_the_server_alone(page: Page) -> None:
    page.evaluate(HIDE)
    page.evaluate(START, 20)
    page.evaluate(MOMENTS["seen again"])
    page.evaluate("() => new Promise(resolve => { setTimeout(resolve, 200); })")
    assert page.evaluate("() => looked") == 0
