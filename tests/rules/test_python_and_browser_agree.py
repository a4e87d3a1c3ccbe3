"""The same rules in Python and in the browser:
every shared vector and thousands of random cases give equal results.

The modules run in a real Chromium, served as the tablets get them,
under the policy that no page may do without.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.kit import more
from tests.kit.rules_page import rules_page
from tests.rules.example_shop import sheet_value
from tests.rules.generate import TROUBLES, random_length_case, random_setup
from tests.rules.playing import play
from webapp.domain.evidence.event_kinds import KINDS
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import JsonError, canonical_text
from webapp.domain.plain.lengths import (
    Display,
    Unit,
    could_be_thousands,
    format_length,
    format_other_unit,
    parse_length,
)
from webapp.domain.setup.fold import HANDLERS, fold
from webapp.domain.touch.compare import compared_on_sheet, repeat_agrees, same_tool, slot_on_sheet, verdict_on
from webapp.words import catalogue, say

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
VECTORS = ROOT / "tests" / "vectors"
SHEETS = (
    "mm",
    "inch",
    "no_usual",
    "square",
    "worried",
    "practised",
    "levels",
    "parked",
    "by_hand",
    "x_only",
    "mm__twin_rows",
    "mm__third_format",
)
OLD_SHEETS = ("mm__first_format", "no_usual__first_format")
RANDOM_SETUPS = 1_400 if more.ALL else 700
RANDOM_LENGTHS = 2_000

# Each takes the cases as JSON text and answers with JSON text: the driver would copy them value by value.
FOLD = """async text => {
  const [sheets, cases] = JSON.parse(text);
  const {fold} = await import('/static/js/rules/setup/fold.js');
  return JSON.stringify(cases.map(([sheet, events, decisions]) => fold(sheets[sheet], events, decisions)));
}"""
LENGTHS = """async text => {
  const [sheet, cases] = JSON.parse(text);
  const lengths = await import('/static/js/rules/plain/lengths.js');
  const compare = await import('/static/js/rules/touch/compare.js');
  const tried = attempt => { try { return attempt(); } catch (error) {
    if (!error.code) throw error;
    return {code: error.code, fields: error.fields};
  } };
  return JSON.stringify(cases.map(one => ({
    parsed: tried(() => lengths.parseLength(one.typed, one.display, one.low_nm, one.high_nm)),
    shown: lengths.formatLength(one.value_nm, one.display),
    shown_without_sign: lengths.formatLength(one.value_nm, one.display, false),
    shown_other: lengths.formatOtherUnit(one.value_nm, one.display),
    verdict: Object.values(compare.verdictOn(one.usual, one.value_nm)),
    repeat: compare.repeatAgrees(one.value_nm, one.before_nm, one.usual),
    tool: compare.sameTool(...one.tools),
    slot: compare.matchSlot(sheet, one.slot, one.person, one.at_utc),
    copied: compare.comparedOnSheet(sheet, 'G54', {X: one.value_nm, Y: -152401000, Z: one.before_nm}),
    plan: compare.clearPlan({X: one.value_nm}, one.confirm_limit_nm).X,
    parked: compare.clearPlan({X: one.value_nm}, one.confirm_limit_nm, {X: one.before_nm}).X,
  })));
}"""
COMMAS = """async text => {
  const {couldBeThousands} = await import('/static/js/rules/plain/lengths.js');
  return JSON.stringify(JSON.parse(text).map(couldBeThousands));
}"""
CANONICAL = """async text => {
  const values = JSON.parse(text);
  const {canonicalText} = await import('/static/js/rules/plain/canonical.js');
  const tried = value => {
    try { return canonicalText(JSON.parse(value)); } catch (error) { return error.code; }
  };
  return JSON.stringify(values.map(tried));
}"""
HALF_STEPS = """async text => {
  const [sheet, cases] = JSON.parse(text);
  const {comparedOnSheet, rowsWithValues} = await import('/static/js/rules/touch/compare.js');
  return JSON.stringify(cases.map(one =>
    [comparedOnSheet(sheet, 'G54', one), rowsWithValues(sheet, 'G59', one)]));
}"""
REGISTER = """async text => {
  const {ANSWERS, NOTES} = await import('/static/js/rules/setup/fold.js');
  return JSON.stringify([
    ...Object.entries(ANSWERS).map(([type, [kinds, handler]]) => [type, kinds, handler.name]),
    ...Object.entries(NOTES).map(([type, handler]) => [type, [], handler.name]),
  ]);
}"""
WORDS = """async text => {
  const [words, cases] = JSON.parse(text);
  const {fill} = await import('/static/js/rules/plain/words.js');
  const tried = ([code, fields]) => { try { return fill(words, code, fields); } catch { return null; } };
  return JSON.stringify(cases.map(tried));
}"""


@pytest.fixture(scope="module")
def rules(browser: Browser) -> Iterator[Page]:
    """A page that can import the rules."""
    with rules_page(browser) as page:
        yield page


@pytest.fixture(scope="module")
def sheets() -> dict[str, Any]:
    return {
        name: sheet_value(name)
        for name in (
            *SHEETS,
            "square__unplanned",
            "parked__parked_rows",
            "parked__parked_before",
            *OLD_SHEETS,
        )
    }


def in_browser(page: Page, script: str, cases: Any) -> Any:
    return json.loads(page.evaluate(script, json.dumps(cases)))


def in_browsers_words(name: str) -> str:
    """The name that a function of the browser has for the one of Python."""
    first, *others = name.split("_")
    return first + "".join(map(str.capitalize, others))


def test_both_languages_and_the_vectors_know_the_same_kinds_of_events(rules: Page) -> None:
    """Which steps a kind answers, and the name of the one function that takes it in, are the same too."""
    theirs = {kind: (tuple(answers), name) for kind, answers, name in in_browser(rules, REGISTER, [])}
    ours = {name: (kind.answers, in_browsers_words(HANDLERS[name].__name__)) for name, kind in KINDS.items()}
    assert theirs == ours
    assert HANDLERS.keys() == KINDS.keys()
    scenarios = json.loads((VECTORS / "setups.json").read_text(encoding="utf-8"))["scenarios"]
    told = {line["type"] for one in scenarios for line in one["play"] if "type" in line}
    assert told == KINDS.keys()


def first_difference(ours: list[Any], theirs: list[Any]) -> str:
    """The first case that differs, with what differs in it."""
    assert len(ours) == len(theirs)
    for place, (one, other) in enumerate(zip(ours, theirs, strict=True)):
        if one != other:
            names = [name for name in one if one[name] != other.get(name)] if isinstance(one, dict) else []
            parts = {name: (one[name], other.get(name)) for name in names} or (one, other)
            return f"case {place}: Python and browser say {parts}"
    return ""


def test_the_scenarios_fold_to_the_same_in_both(rules: Page, sheets: dict[str, Any]) -> None:
    scenarios = json.loads((VECTORS / "setups.json").read_text(encoding="utf-8"))["scenarios"]
    cases = [(one.get("sheet", "mm"), *play(sheets[one.get("sheet", "mm")], one)) for one in scenarios]
    ours = [fold(sheets[sheet], events, decisions) for sheet, events, decisions in cases]
    assert first_difference(ours, in_browser(rules, FOLD, [sheets, cases])) == ""


def test_random_setups_fold_to_the_same_in_both(rules: Page, sheets: dict[str, Any]) -> None:
    all_sheets = (*SHEETS, *OLD_SHEETS)
    names = [all_sheets[seed % len(all_sheets)] for seed in range(RANDOM_SETUPS)]
    cases = [(name, *random_setup(sheets[name], seed)) for seed, name in enumerate(names)]
    ours = [fold(sheets[sheet], events, decisions) for sheet, events, decisions in cases]
    assert first_difference(ours, in_browser(rules, FOLD, [sheets, cases])) == ""


def test_random_setups_go_far_enough_to_mean_something(sheets: dict[str, Any]) -> None:
    names = [("mm", "mm__first_format")[seed % 2] for seed in range(500)]
    results = [fold(sheets[name], *random_setup(sheets[name], seed)) for seed, name in enumerate(names)]
    assert {one["status"] for one in results} == {
        "running",
        "finished",
        "signed",
        "signed_off",
        "not_accepted",
        "left",
    }
    assert {touch["because"] for one in results for touch in one["touches"]} >= {
        "agrees",
        "question",
        "lead",
        "repeat",
    }
    looked = [fold(sheets["square"], *random_setup(sheets["square"], seed)) for seed in range(400)]
    squares = [square for one in looked for square in one["squares"]]
    assert {(square["told"], square["stands"]) for square in squares} >= {
        (True, True),
        (False, True),
    }
    assert {code["code"] for one in looked for code in one["problems"]} >= {"setup.square_differs"}
    assert len({problem["code"] for one in results for problem in one["problems"]}) > 25


def test_random_setups_come_to_every_branch_of_the_second_format(sheets: dict[str, Any]) -> None:
    names = [("mm", "square", "mm__twin_rows")[seed % 3] for seed in range(1600)]
    results = [fold(sheets[name], *random_setup(sheets[name], seed)) for seed, name in enumerate(names)]
    remarks = {remark["kind"] for one in results for remark in one["remarks"]}
    assert remarks >= {
        "two_readings",
        "stop_then_agrees",
        "stop_kept",
        "not_usable",
        "copy_changed",
        "copied_row",
        "anothers_row_read",
        "copy_fits_several",
        "row_put_back",
        "handed_over",
        "taken_over",
    }
    assert {lift["state"] for one in results for lift in one["lifts"]} == {
        "on_device",
        "verified",
        "refused",
    }
    assert {trouble["trouble"] for one in results for trouble in one["troubles"]} == set(TROUBLES)
    assert any(one["zeroed"] for one in results)
    assert any(one["left_unsigned"] for one in results)
    codes = {problem["code"] for one in results for problem in one["problems"]}
    blocked = {one["blocked"]["code"] for one in results if one["blocked"]}
    assert codes >= {
        "setup.read_again_once",
        "setup.touch_again_used",
        "setup.own_stop",
        "setup.no_label_asked",
        "setup.nothing_to_put_back",
        "setup.nothing_to_give_up",
        "setup.not_left_now",
        "setup.not_left_unsigned",
        "setup.handed_to_oneself",
        "setup.taken_over_late",
        "setup.search_needs_lead",
    }
    assert blocked >= {
        "setup.compare_needs_reading",
        "setup.compare_needs_lead",
        "setup.compare_needs_question",
    }


def cleared(one: dict[str, Any], to_nm: int) -> dict[str, Any]:
    """What clearing changes, and whether a control asks: above its limit (common practice, no source).
    The server has no such rule: nothing there depends on it.
    """
    change_nm, limit_nm = to_nm - one["value_nm"], one["confirm_limit_nm"]
    return {"change_nm": change_nm, "asks": limit_nm is not None and abs(change_nm) > limit_nm}


def our_length_case(sheet: dict[str, Any], one: dict[str, Any]) -> dict[str, Any]:
    display = Display(Unit(one["display"]["unit"]), one["display"]["decimals"])
    try:
        parsed: Any = parse_length(one["typed"], display, one["low_nm"], one["high_nm"])
    except DomainError as error:
        parsed = {"code": error.code, "fields": error.fields}
    slot = slot_on_sheet(one["slot"], sheet, one["person"], one["at_utc"])
    return {
        "parsed": parsed,
        "shown": format_length(one["value_nm"], display),
        "shown_without_sign": format_length(one["value_nm"], display, sign=False),
        "shown_other": format_other_unit(one["value_nm"], display),
        "verdict": list(verdict_on(one["value_nm"], one["usual"])),
        "repeat": repeat_agrees(one["value_nm"], one["before_nm"], one["usual"]),
        "tool": same_tool(*one["tools"]),
        "slot": {"outcome": slot.outcome, "label": slot.label, "owner_name": slot.owner_name},
        "copied": compared_on_sheet(
            {"X": one["value_nm"], "Y": -152_401_000, "Z": one["before_nm"]}, "G54", sheet
        ),
        "plan": cleared(one, 0),
        "parked": cleared(one, one["before_nm"]),
    }


def test_random_lengths_slots_and_tools_compare_to_the_same_in_both(
    rules: Page, sheets: dict[str, Any]
) -> None:
    cases = [random_length_case(seed) for seed in range(RANDOM_LENGTHS)]
    ours = [our_length_case(sheets["mm"], one) for one in cases]
    assert len({one["parsed"]["code"] for one in ours if isinstance(one["parsed"], dict)}) >= 11
    assert first_difference(ours, in_browser(rules, LENGTHS, [sheets["mm"], cases])) == ""


def test_half_a_step_of_the_display_is_the_same_in_both_and_a_nanometre_more_is_not(
    rules: Page, sheets: dict[str, Any]
) -> None:
    last = next(slot["last_values_nm"] for slot in sheets["mm"]["slots"] if slot["label"] == "G54")
    cases = [{axis: nm + off for axis, nm in last.items()} for off in (500, -500, 501, -501)]
    same, changed = dict.fromkeys(last, "same"), dict.fromkeys(last, "changed")
    assert in_browser(rules, HALF_STEPS, [sheets["mm"], cases]) == [
        [same, ["G54"]],
        [same, ["G54"]],
        [changed, []],
        [changed, []],
    ]


def test_a_comma_that_could_part_thousands_is_told_by_one_rule_in_both(rules: Page) -> None:
    vectors = json.loads((VECTORS / "lengths.json").read_text(encoding="utf-8"))["could_be_thousands"]
    typed = [one["typed"] for one in (*vectors, *map(random_length_case, range(RANDOM_LENGTHS)))]
    theirs = in_browser(rules, COMMAS, typed)
    assert theirs == [could_be_thousands(one) for one in typed]
    assert theirs[: len(vectors)] == [one["holds"] for one in vectors]


def test_the_length_vectors_hold_in_the_browser(rules: Page, sheets: dict[str, Any]) -> None:
    vectors = json.loads((VECTORS / "lengths.json").read_text(encoding="utf-8"))
    rest = random_length_case(0)
    typed = [one for one in vectors["parse"] if one["low_nm"] <= one["high_nm"]]
    cases = [rest | one | {"display": {"unit": one["unit"], "decimals": one["decimals"]}} for one in typed]
    cases = [one | {"value_nm": rest["value_nm"]} for one in cases]
    theirs = in_browser(rules, LENGTHS, [sheets["mm"], cases])
    expected = [
        {"code": one["error"], "fields": one["fields"]} if "error" in one else one["value_nm"]
        for one in typed
    ]
    assert first_difference(expected, [one["parsed"] for one in theirs]) == ""
    shown = [
        one | {"display": {"unit": one["unit"], "decimals": one["decimals"]}} for one in vectors["format"]
    ]
    theirs = in_browser(rules, LENGTHS, [sheets["mm"], [rest | one for one in shown]])
    name = {True: "shown", False: "shown_without_sign"}
    assert [one[name[case["sign"]]] for one, case in zip(theirs, shown, strict=True)] == [
        one["text"] for one in shown
    ]


def test_one_value_has_one_text_in_both(rules: Page, sheets: dict[str, Any]) -> None:
    values = [
        *sheets.values(),
        0,
        -0.0,
        12.0,
        0.25,
        2**53 - 1,
        2**53,
        1e-9,
        'é\u2028"\\\x1f/',
        {"b": [], "a": {}},
        None,
        True,
    ]
    ours = []
    for value in values:
        try:
            ours.append(canonical_text(value))
        except JsonError as error:
            ours.append(error.code)
    assert in_browser(rules, CANONICAL, [json.dumps(value) for value in values]) == ours


def test_words_are_filled_the_same_in_both(rules: Page) -> None:
    cases = [
        ("setup.tool_other", {"typed": "{expected}", "expected": "30"}),
        ("setup.signature_refused", {"reason_code": "signature.wrong_pin"}),
        ("setup.compare_needs_lead", {"axis": "X"}),
    ]
    words = dict(catalogue())
    assert in_browser(rules, WORDS, [words, cases]) == [say(code, fields) for code, fields in cases]
    missing = [("setup.compare_needs_lead", {}), ("setup.no_such_code", {}), ("toString", {})]
    assert in_browser(rules, WORDS, [words, missing]) == [None, None, None]
