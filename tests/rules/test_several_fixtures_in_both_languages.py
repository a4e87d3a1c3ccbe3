"""A value of one vise on the sheet of the other, judged in Python and in a real browser: never agreed.

The two vises stand on one machine, and each has values of its own; the sheets are what the server compiled.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.kit.house import House
from tests.kit.rules_page import rules_page
from tests.kit.shop import CENTRES_NM, RIGHT_NM, load_second_vise
from webapp.domain.setup.fold import fold

pytestmark = pytest.mark.browser

FIRST, SECOND = "vise-a", "vise-c"
FOLD = """async text => {
  const cases = JSON.parse(text);
  const {fold} = await import('/static/js/rules/setup/fold.js');
  const {fixturesOf, hasSeveral, placeOf} = await import('/static/js/rules/shop/fixtures.js');
  return JSON.stringify(cases.map(([sheet, events]) => ({
    state: fold(sheet, events, []),
    fixtures: fixturesOf(sheet).map(({id}) => id),
    asks: hasSeveral(sheet),
    place: placeOf(sheet),
  })));
}"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with rules_page(browser) as page:
        yield page


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house whose first machine has two vises, each touched once and signed off."""
    house = House(tmp_path)
    load_second_vise(house.store, house.keyring, house.clock())
    house.clock.forward(minutes=1)
    house.signed_off("mara", values_nm=dict(CENTRES_NM))
    house.signed_off("mara", fixture=SECOND, values_nm=dict(RIGHT_NM))
    return house


def walked(house: House, fixture: str, values_nm: dict[str, int]) -> tuple[dict[str, Any], list[Any]]:
    """The sheet and the events of a setup at this fixture up to its first touch."""
    walk = house.walk("mara", fixture=fixture, values_nm=dict(values_nm)).start().until("touch", "X")
    walk.answer()
    return walk.sheet, walk.events


def test_a_value_counts_at_the_vise_whose_sheet_was_chosen(house: House, page: Page) -> None:
    cases = [
        walked(house, fixture, values_nm)
        for fixture in (FIRST, SECOND)
        for values_nm in (CENTRES_NM, RIGHT_NM)
    ]
    there = json.loads(page.evaluate(FOLD, json.dumps(cases)))
    for (sheet, events), found in zip(cases, there, strict=True):
        here = json.loads(json.dumps(fold(sheet, events, [])))
        assert found["state"] == here
        assert found["fixtures"] == [FIRST, SECOND]
        assert found["asks"] is True
        assert [FIRST, SECOND][found["place"]] == sheet["fixture"]["id"]
    verdicts = [one["state"]["touches"][0]["verdict"] for one in there]
    assert verdicts == ["agrees", "stop", "stop", "agrees"]


def test_a_machine_with_one_vise_asks_nothing(tmp_path: Path, page: Page) -> None:
    sheet = json.loads(House(tmp_path).sheet()[1])
    (found,) = json.loads(page.evaluate(FOLD, json.dumps([[sheet, []]])))
    assert (found["fixtures"], found["asks"], found["place"]) == ([FIRST], False, 0)
