"""Verdicts of touches in both languages:
the server's own beside what the browser's rules give, in a real browser.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright

from tests.kit.chromium import CHROMIUM, CHROMIUM_FLAGS
from tests.kit.rules_page import rules_page
from webapp.domain.touch.compare import verdict_on

CASES, SEED = 20_000, 4
ALL = """cases => cases.map(([value, usual]) => {
  const {verdict, difference_nm} = compare.verdictOn(usual, value);
  return [verdict, difference_nm];
})"""

Case = tuple[int, dict[str, Any]]


@contextmanager
def rules_in(browser: Browser) -> Iterator[Page]:
    """A page that holds the browser's rules for comparing."""
    with rules_page(browser) as page:
        page.evaluate(
            "async () => { globalThis.compare = await import('/static/js/rules/touch/compare.js'); }"
        )
        yield page


def by_chance(chance: random.Random) -> Case:
    """A touched value and a usual: on a line, beside it, anywhere;
    with ranges of few setups, or without any usual.
    """
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


def different(page: Page, count: int, seed: int = SEED) -> tuple[Counter[str], list[Case]]:
    """Return how many cases had which verdict on the server,
    and those where the browser says something else.
    """
    chance = random.Random(seed)
    cases = [by_chance(chance) for _ in range(count)]
    expected = [list(verdict_on(value, usual)) for value, usual in cases]  # type: ignore[arg-type]
    said = page.evaluate(ALL, cases)
    apart = [case for case, one, other in zip(cases, expected, said, strict=True) if one != other]
    return Counter(str(verdict) for verdict, _ in expected), apart


def run(cases: int | None) -> int:
    """Compare that many touches and print what was found; 1 where any differs."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(CHROMIUM_FLAGS))
        with rules_in(browser) as page:
            verdicts, apart = different(page, cases or CASES)
        browser.close()
    print(f"{verdicts.total()} touches: {dict(verdicts)}; {len(apart)} differ")
    for case in apart[:10]:
        print(case)
    return int(bool(apart))
