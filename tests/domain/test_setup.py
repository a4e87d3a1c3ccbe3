"""A setup is the sum of its events; the scenarios are shared with the browser."""

from __future__ import annotations

import json
import re
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.example_shop import sheet_value
from tests.rules.generate import random_setup
from tests.rules.playing import play
from webapp.domain.evidence.events import KINDS
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.setup.fold import Fold, fold
from webapp.words import catalogue, say

SCENARIOS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent.parent / "vectors" / "setups.json").read_text(encoding="utf-8")
)["scenarios"]
FOLD_FILES = sorted((Path(__file__).parents[2] / "webapp" / "domain" / "setup").glob("*.py"))

sheet_of = cache(sheet_value)


def look(value: Any, path: str) -> Any:
    """What stands at a path of names and places;
    * takes each entry of a list, a point in a name is escaped.
    """
    for place, part in enumerate(parts := re.split(r"(?<!\\)\.", path)):
        if part == "*":
            return [look(entry, ".".join(parts[place + 1 :])) for entry in value]
        value = value[int(part)] if isinstance(value, list) else value[part.replace("\\", "")]
    return value


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["name"])
def test_a_scenario_comes_to_what_the_rules_say(scenario: dict[str, Any]) -> None:
    sheet = sheet_of(scenario.get("sheet", "mm"))
    result = fold(sheet, *play(sheet, scenario))
    assert {path: look(result, path) for path in scenario["expect"]} == scenario["expect"]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["name"])
def test_every_problem_and_hint_of_a_scenario_has_words(scenario: dict[str, Any]) -> None:
    sheet = sheet_of(scenario.get("sheet", "mm"))
    result = fold(sheet, *play(sheet, scenario))
    for found in [*result["problems"], *([result["blocked"]] if result["blocked"] else [])]:
        if found["code"].startswith("setup."):
            assert say(found["code"], found["fields"])


def test_the_scenarios_reach_every_code_that_the_fold_can_give() -> None:
    text = "".join(path.read_text(encoding="utf-8") for path in FOLD_FILES)
    named = (
        set(re.findall(r'"(setup\.[a-z_]+)"', text)) - set(KINDS) - {"setup.signed_off", "setup.not_accepted"}
    )
    reached = set()
    for scenario in SCENARIOS:
        sheet = sheet_of(scenario.get("sheet", "mm"))
        result = fold(sheet, *play(sheet, scenario))
        reached |= {problem["code"] for problem in result["problems"]}
        reached |= {result["blocked"]["code"]} if result["blocked"] else set()
    assert len(named) > 30
    assert named <= reached
    assert reached - {"intake.forked", "intake.unreadable"} <= catalogue().keys()


@given(st.integers(0, 10**9), st.integers(0, 60))
def test_folding_a_part_and_then_the_rest_is_folding_all(seed: int, cut: int) -> None:
    sheet = sheet_of("mm")
    events, decisions = random_setup(sheet, seed)
    grown = Fold(sheet, decisions)
    for event in events[:cut]:
        grown.apply(event)
    grown.result()
    for event in events[cut:]:
        grown.apply(event)
    assert grown.result() == fold(sheet, events, decisions)


@given(st.integers(0, 10**9), st.integers(1, 30))
def test_a_replay_changes_nothing(seed: int, again: int) -> None:
    sheet = sheet_of("mm")
    events, decisions = random_setup(sheet, seed)
    once = fold(sheet, events, decisions)
    assert fold(sheet, [*events, *events], decisions) == once
    doubled = [event for place, event in enumerate(events) for _ in range(1 + (place % again == 0))]
    assert fold(sheet, doubled, decisions) == once


@given(st.integers(0, 10**9))
def test_problems_of_an_event_are_told_when_it_comes(seed: int) -> None:
    sheet = sheet_of("mm")
    events, decisions = random_setup(sheet, seed)
    grown = Fold(sheet, decisions)
    told = [problem for event in events for problem in grown.apply(event)]
    assert [problem for problem in fold(sheet, events, decisions)["problems"] if problem in told] == told


@given(st.integers(0, 10**9))
def test_an_event_that_is_not_allowed_changes_nothing_else(seed: int) -> None:
    sheet = sheet_of("mm")
    events, decisions = random_setup(sheet, seed)
    grown = Fold(sheet, decisions)
    before = grown.result()
    for event in events:
        problems = grown.apply(event)
        after = grown.result()
        if any(problem["code"] in REFUSALS for problem in problems):
            assert {**after, "problems": None} == {**before, "problems": None}
        before = after


REFUSALS = {
    "setup.wrong_step",
    "setup.wrong_kind",
    "setup.keep_not_allowed",
    "setup.length_unreadable",
    "setup.already_finished",
    "setup.not_reopenable",
    "setup.other_person",
    "setup.choice_unknown",
    "setup.break_needs_reason",
}


def test_the_result_shares_nothing_with_the_fold() -> None:
    sheet = sheet_of("mm")
    events, decisions = play(sheet, {"play": ["until end"]})
    grown = Fold(sheet, decisions)
    for event in events:
        grown.apply(event)
    spoiled = grown.result()
    spoiled["touches"].clear()
    spoiled["steps"].clear()
    assert grown.result() == fold(sheet, events, decisions)


def test_the_fold_changes_neither_sheet_nor_events() -> None:
    sheet = sheet_of("mm")
    events, decisions = play(sheet, {"play": ["until end"]})
    before = json.dumps([sheet, events, decisions])
    fold(sheet, events, decisions)
    assert json.dumps([sheet, events, decisions]) == before


@pytest.mark.parametrize("left_out", [None, "step", "person", "shift_hours"])
def test_a_sheet_that_says_nothing_of_a_shift_lets_nobody_carry_a_caution(left_out: str | None) -> None:
    """As sheets were before cautions could be carried: each of the three is asked for."""
    sheet = deepcopy(sheet_of("mm"))
    claim = {"caution": "machine", "read_at_utc": "2026-11-25T07:20:00.000Z", "read_event": "c" * 64}
    holders = {
        "step": (sheet["procedure"]["stages"][0]["steps"][0], "once_a_shift"),
        "person": (next(one for one in sheet["people"] if one["id"] == "mara"), "once_a_shift"),
        "shift_hours": (sheet["shop"], "shift_hours"),
    }
    if left_out:
        holder, name = holders[left_out]
        del holder[name]
    found = fold(sheet, *play(sheet, {"play": [{"type": "caution.carried", "data": claim}]}))
    refused = ["setup.caution_not_carried"] if left_out else []
    assert [one["code"] for one in found["problems"]] == refused


def test_a_reset_asks_again_for_what_is_set_with_the_probe_and_not_for_what_was_looked_at_before_it() -> None:
    sheet = deepcopy(sheet_of("mm"))
    stage = next(one for one in sheet["procedure"]["stages"] if one["steps"][0]["kind"] == "tool_in")
    looked_at = next(step for step in planned_steps(sheet).values() if step["kind"] == "confirm")
    stage["steps"].insert(0, {**looked_at, "id": "probe.drawer"})
    trouble = {"trouble": "alarm", "touched": True, "reset": True}
    met = ["until x.touch", {"type": "trouble.met", "data": trouble}]
    steps = fold(sheet, *play(sheet, {"play": met}))["steps"]
    found = {name: steps[name]["state"] for name in ("probe.drawer", "probe.input", "probe.modes")}
    assert found == {"probe.drawer": "done", "probe.input": "open", "probe.modes": "open"}
