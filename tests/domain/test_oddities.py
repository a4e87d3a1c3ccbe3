"""What is odd about a setup: each fact by itself, and nothing about a plain one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from webapp.domain.setup.oddities import Surroundings, oddities
from webapp.words import say

SHEET: Any = {"axes": [{"axis": "X"}, {"axis": "Z"}]}
PLAIN: Any = {
    "outcome": "complete",
    "touches": [
        {"axis": axis, "kept": True, "difference_nm": 1_000, "verdict": "agrees"} for axis in ("X", "Z")
    ],
    "squares": [{"stands": True, "told": False}, {"stands": False, "told": True}],
    "copied": {"compared": {"X": "same", "Z": "unknown"}},
    **{
        name: [] for name in ("problems", "questions", "worries", "remarks", "troubles", "lifts", "put_backs")
    },
    **dict.fromkeys(("not_usable", "zeroed", "redo")),
    "holds": [{"step": "x.search"}],
}


def codes(beside: Surroundings | None = None, **changes: Any) -> list[str]:
    found = oddities(SHEET, {**PLAIN, **changes}, beside or Surroundings())
    assert all(say(one.code, one.fields) for one in found)
    return [one.code.removeprefix("oddity.") for one in found]


def touched(**changes: Any) -> list[Any]:
    return [{**PLAIN["touches"][0], **changes}, PLAIN["touches"][1]]


def test_a_plain_setup_has_nothing_odd_whoever_held_the_feed() -> None:
    assert codes() == []


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"outcome": "broken_off"}, ["broken_off"]),
        ({"outcome": None}, ["not_finished"]),
        ({"touches": [PLAIN["touches"][0], *PLAIN["touches"]]}, ["touched_again"]),
        ({"touches": PLAIN["touches"][1:]}, ["no_value"]),
        ({"touches": touched(kept=False)}, ["no_value"]),
        ({"touches": touched(difference_nm=None, verdict="first")}, ["nothing_to_compare"]),
        ({"touches": touched(verdict="ask")}, ["beyond_ask"]),
        ({"not_usable": {"axes": ["X"]}}, ["not_usable"]),
        ({"zeroed": {"slot": "G54"}}, ["row_zeroed"]),
        ({"redo": {"why": "redo"}}, ["redo"]),
        ({"squares": [{"stands": True, "told": True}]}, ["jaw_askew"]),
        ({"copied": {"compared": {"X": "changed", "Z": "same"}}}, ["copied_changed"]),
        ({"copied": None}, []),
        *(({name: [{}]}, [name]) for name in ("problems", "questions", "worries", "remarks", "troubles",
                                              "lifts", "put_backs")),
    ],
)  # fmt: skip
def test_each_fact_in_its_own_events_is_odd(changes: dict[str, Any], found: list[str]) -> None:
    assert codes(**changes) == found


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"worries_of_others": 1}, ["worries_of_others"]),
        ({"forks": 1}, ["forks"]),
        ({"machine_closed": True}, ["machine_closed"]),
        ({"tablet": "forked"}, ["tablet_forked"]),
        ({"tablet": "disabled"}, ["tablet_disabled"]),
        ({"tablet": "unknown"}, ["tablet_unknown"]),
        ({"alarms": 2}, ["alarms"]),
        ({"waiting": 3}, ["waiting"]),
        ({"changed_meanwhile": 2}, ["changed_meanwhile"]),
        ({"fast_steps": 1, "steps": 34}, ["fast_steps"]),
        ({"standings": {"X": "within", "Z": "beyond"}}, ["beyond_now"]),
        ({"standings": {"X": "first"}}, ["first_now"]),
    ],
)
def test_each_fact_that_others_know_is_odd(changes: dict[str, Any], found: list[str]) -> None:
    assert codes(replace(Surroundings(), **changes)) == found
