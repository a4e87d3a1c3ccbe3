"""The engine without a browser's windows, in which most tests run, draws what the whole browser draws."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Playwright

from tests.kit.chromium import CHROMIUM, CHROMIUM_FLAGS, SIZES, viewport
from tests.kit.modules import open_modules


def drawn(browser: Browser, size: str) -> bytes:
    """The tablet's first page, as pixels."""
    context = browser.new_context(viewport=viewport(SIZES[size]), reduced_motion="reduce")
    page = open_modules(context, path="/tablet")
    page.wait_for_selector('#app[data-screen="enrol"]')
    page.evaluate("() => document.fonts.ready.then(() => true)")
    picture = page.screenshot()
    context.close()
    return picture


@pytest.mark.parametrize("size", SIZES)
def test_both_draw_the_same_pixels(browser: Browser, playwright: Playwright, size: str) -> None:
    whole = playwright.chromium.launch(executable_path=CHROMIUM, args=list(CHROMIUM_FLAGS))
    assert whole.version == browser.version
    assert drawn(whole, size) == drawn(browser, size)
    whole.close()
