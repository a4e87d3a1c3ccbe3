"""The server and the browser give a touch the same verdict: a slice of `python -m tests.long verdicts`."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.long.verdicts import different, rules_in

CASES = 1_000


@pytest.fixture
def rules(browser: Browser) -> Iterator[Page]:
    with rules_in(browser) as page:
        yield page


@pytest.mark.browser
def test_the_browser_gives_the_verdicts_that_the_server_gives(rules: Page) -> None:
    verdicts, apart = different(rules, CASES)
    assert set(verdicts) == {"agrees", "ask", "stop"}
    assert apart == []


@pytest.mark.browser
def test_a_line_that_one_side_leaves_outside_would_be_seen(rules: Page) -> None:
    on_the_line = "() => compare.verdictOn({centre_nm: 0, ask_nm: 5, stop_nm: 9}, 5).verdict"
    assert rules.evaluate(on_the_line) == "agrees"
    rules.evaluate("""() => { const {verdictOn} = compare; globalThis.compare = {
      verdictOn: (usual, value) =>
        verdictOn({...usual, ask_nm: usual.ask_nm === null ? null : usual.ask_nm - 1}, value),
    }; }""")
    assert different(rules, CASES)[1] != []
