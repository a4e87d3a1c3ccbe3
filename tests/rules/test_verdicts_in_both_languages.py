"""The server and the browser give a touch the same verdict: on a line, beyond it, and where few setups have ranges."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

from webapp.domain.touch.compare import verdict_on

ROOT = Path(__file__).resolve().parents[2]
ORIGIN = "http://rules.test"
CASES = 1_000
ALL = """cases => cases.map(([value, usual]) => {
  const {verdict, difference_nm} = compare.verdict(usual, value);
  return [verdict, difference_nm];
})"""


@pytest.fixture
def rules(browser: Browser) -> Iterator[Page]:
    page = browser.new_page()

    def answer(route: Route) -> None:
        path = ROOT / "static" / route.request.url.removeprefix(f"{ORIGIN}/")
        if path.suffix == ".js":
            route.fulfill(body=path.read_text(encoding="utf-8"), content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html><title>rules</title>", content_type="text/html")

    page.route("**/*", answer)
    page.goto(f"{ORIGIN}/page")
    page.evaluate("async () => { globalThis.compare = await import('/js/rules/touch/compare.js'); }")
    yield page
    page.close()


def by_chance(chance: random.Random) -> tuple[int, dict[str, Any]]:
    centre = chance.randint(-400_000, 0) * 1_000
    ask = chance.randint(0, 60) * 1_000
    usual: dict[str, Any] = {
        "centre_nm": centre,
        "ask_nm": ask,
        "stop_nm": ask + chance.randint(0, 500) * 1_000,
    }
    if chance.random() < 0.1:
        usual = dict.fromkeys(usual)
    ends = [centre + chance.randint(-600_000, 600_000) for _ in range(chance.randint(0, 3))]
    if chance.random() < 0.7:
        usual["early_stops_nm"] = [[end, end + chance.randint(0, 40_000)] for end in ends]
    known = [centre, centre + ask, centre - ask, centre + ask + 1, *ends]
    return chance.choice([*known, centre + chance.randint(-700_000, 700_000)]), usual


@pytest.mark.browser
def test_the_browser_gives_the_verdicts_that_the_server_gives(rules: Page) -> None:
    chance = random.Random(4)
    cases = [by_chance(chance) for _ in range(CASES)]
    expected = [list(verdict_on(value, usual)) for value, usual in cases]  # type: ignore[arg-type]
    assert {verdict for verdict, _ in expected} == {"agrees", "ask", "stop"}
    assert rules.evaluate(ALL, cases) == expected
