"""The server and the browser name the same causes and the same slips: by vectors and by chance cases.

The chance cases lie on purpose where candidates crowd:
half of the values are drawn within a few uncertainties of one.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.kit.rules_page import rules_page
from webapp.domain.causes.named import name_causes, repairs
from webapp.domain.plain.lengths import Display, Unit

ROOT = Path(__file__).resolve().parents[2]
VECTORS: dict[str, Any] = json.loads((ROOT / "tests" / "vectors" / "causes.json").read_text(encoding="utf-8"))
CASES = 2_000
CODES = (
    "other_slot", "work_coordinates", "other_ball", "ball_left_out", "chip", "vise_moved",
    "vise_moved_a_little", "axes_exchanged", "other_axis",
)  # fmt: skip

Plain = dict[str, Any]


def display_of(vector: Plain) -> Display:
    return Display(Unit(vector.get("unit", "mm")), vector.get("decimals", 3))


def usual_of(vector: Plain) -> Plain:
    return {name: vector.get(name, VECTORS["usual"][name]) for name in ("centre_nm", "ask_nm")}


def id_of(vector: Plain) -> str:
    return str(vector["value_nm"])


@pytest.mark.parametrize("vector", VECTORS["named"], ids=id_of)
def test_the_server_names_what_the_vector_says(vector: Plain) -> None:
    found = name_causes(
        vector["value_nm"],
        VECTORS["causes"],
        usual_of(vector),
        display_of(vector),
        copied_nm=vector.get("copied_nm"),
        own_slot=vector.get("own_slot"),
        earlier=vector.get("earlier", []),
    )
    assert [[one["code"], one["alike"]] for one in found] == vector["named"]


@pytest.mark.parametrize("vector", VECTORS["repairs"], ids=id_of)
def test_the_server_finds_the_slips_that_the_vector_says(vector: Plain) -> None:
    found = repairs(vector["value_nm"], display_of(vector), usual_of(vector))
    assert [[one["code"], one["repaired_nm"]] for one in found] == vector["repairs"]


@pytest.fixture(scope="module")
def rules(browser: Browser) -> Iterator[Page]:
    """A page that has the rules' module loaded."""
    with rules_page(browser) as page:
        page.evaluate("async () => { globalThis.causes = await import('/static/js/rules/causes/named.js'); }")
        yield page


NAME_ALL = """cases => cases.map(c => causes.nameCauses(c.value_nm, c.causes, c.usual, c.display,
  {copiedNm: c.copied_nm, ownSlot: c.own_slot, earlier: c.earlier}))"""
REPAIR_ALL = "cases => cases.map(c => causes.repairs(c.value_nm, c.display, c.usual))"


def in_python(case: Plain) -> list[Plain]:
    display = Display(Unit(case["display"]["unit"]), case["display"]["decimals"])
    return name_causes(
        case["value_nm"],
        case["causes"],
        case["usual"],
        display,
        copied_nm=case["copied_nm"],
        own_slot=case["own_slot"],
        earlier=case["earlier"],
    )


def case_of(vector: Plain) -> Plain:
    return {
        "value_nm": vector["value_nm"],
        "causes": VECTORS["causes"],
        "usual": usual_of(vector),
        "display": {"unit": vector.get("unit", "mm"), "decimals": vector.get("decimals", 3)},
        "copied_nm": vector.get("copied_nm"),
        "own_slot": vector.get("own_slot"),
        "earlier": vector.get("earlier", []),
    }


@pytest.mark.browser
def test_the_browser_gives_what_the_vectors_say(rules: Page) -> None:
    named = rules.evaluate(NAME_ALL, [case_of(vector) for vector in VECTORS["named"]])
    for vector, found in zip(VECTORS["named"], named, strict=True):
        assert [[one["code"], one["alike"]] for one in found] == vector["named"], vector
    repaired = rules.evaluate(REPAIR_ALL, [case_of(vector) for vector in VECTORS["repairs"]])
    for vector, found in zip(VECTORS["repairs"], repaired, strict=True):
        assert [[one["code"], one["repaired_nm"]] for one in found] == vector["repairs"], vector


def by_chance(chance: random.Random) -> Plain:
    display = chance.choice([Display(Unit.MM, 3), Display(Unit.MM, 2), Display(Unit.INCH, 4)])
    step = display.resolution_nm
    known = chance.random() < 0.9
    centre = chance.randint(-300_000, 1_000) * step
    ask = chance.randint(0, 200) * step
    spread = max(1, ask // 3 + chance.randint(0, step))
    candidates = []
    for place in range(chance.randint(0, 12)):
        low = centre + chance.choice([-1, 1]) * chance.randint(0, 2000) * step
        candidates.append({
            "code": f"cause.{chance.choice(CODES)}",
            "fields": {"slot": str(chance.choice([place, 0, 1]))},
            "low_nm": low,
            "high_nm": low + chance.choice([0, 0, 0, chance.randint(1, 500) * step]),
            "uncertainty_nm": chance.choice([1, 289, spread, 7 * spread]),
            "alone": chance.random() < 0.2,
            "beside": [{"axis": "Y", "value_nm": centre, "uncertainty_nm": spread}]
            if chance.random() < 0.2 else [],
        })  # fmt: skip
    value = (centre // step + chance.randint(-2500, 2500)) * step
    if candidates and chance.random() < 0.5:
        value = chance.choice(candidates)["low_nm"] + chance.randint(-4, 4) * step
    digits = str(abs(value) // step)
    if chance.random() < 0.2 and len(digits) > 1:
        value = -int(digits[1] + digits[0] + digits[2:]) * step
    earlier = [{"axis": "Y", "value_nm": centre, "verdict": chance.choice(["agrees", "stop"])}]
    return {
        "value_nm": value,
        "causes": {
            "chance_nm": ask + spread if known else None,
            "uncertainty_nm": spread,
            "candidates": candidates,
        },
        "usual": {"centre_nm": centre if known else None, "ask_nm": ask if known else None},
        "display": {"unit": display.unit.value, "decimals": display.decimals},
        "copied_nm": chance.choice([None, value, value + step]),
        "own_slot": chance.choice([None, "0", "1"]),
        "earlier": chance.choice([[], earlier]),
    }


@pytest.mark.browser
def test_the_browser_names_what_the_server_names_in_cases_by_chance(rules: Page) -> None:
    chance = random.Random(20261125)
    cases = [by_chance(chance) for _ in range(CASES)]
    expected = [in_python(case) for case in cases]
    assert rules.evaluate(NAME_ALL, cases) == expected
    # The cases say something: most name a cause, many name more than one, and some mark causes that are not
    # alike.
    assert sum(map(bool, expected)) > CASES / 3
    assert sum(len(found) > 1 for found in expected) > CASES / 10
    assert sum(any(not one["alike"] for one in found) for found in expected) > CASES / 300


@pytest.mark.browser
def test_the_browser_finds_the_slips_that_the_server_finds_in_cases_by_chance(rules: Page) -> None:
    chance = random.Random(19011840)
    cases = [by_chance(chance) for _ in range(CASES)]
    expected = [
        repairs(
            case["value_nm"],
            Display(Unit(case["display"]["unit"]), case["display"]["decimals"]),
            case["usual"],
        )
        for case in cases
    ]
    assert rules.evaluate(REPAIR_ALL, cases) == expected
    assert sum(map(bool, expected)) > CASES / 10
