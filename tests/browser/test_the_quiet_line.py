"""The line about the network says one thing at a time: what is kept here, or the gravest of what is wrong."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.modules import open_modules

AT = "2026-11-25T10:42:00.000Z"
SAID = """async ({tally, state, isWrong}) => {
  const {loadWords} = await import('/assets/trial/js/ui/say.js');
  const {NetworkLine} = await import('/assets/trial/js/ui/network.js');
  const {useZone} = await import('/assets/trial/js/ui/when.js');
  await loadWords('/assets/trial/joined/tablet.json');
  useZone('UTC');
  const line = new NetworkLine();
  const clock = {isDoubtful: isWrong, sinceMs: at => (at < '2026-11-25' ? 3 * 86_400_000 : 180_000)};
  line.show(tally, state, {...clock, comparedAtUtc: state.comparedAtUtc ?? null});
  return [line.element.textContent, line.element.dataset.network, line.element.dataset.waiting];
}"""
NONE = {"count": 0, "oldestAtUtc": None}
REACHED = {"lastAtUtc": AT, "reached": True}


@pytest.mark.parametrize(
    ("tally", "state", "is_wrong", "said"),
    [
        (NONE, {}, False, ["kept on this tablet", "sent", "0"]),
        (NONE, {"comparedAtUtc": AT}, False, ["all sent, server last reached 10:42", "sent", "0"]),
        (
            NONE,
            {"comparedAtUtc": "2026-11-22T10:42:00.000Z"},
            False,
            ["all sent, server last reached 3 days ago", "sent", "0"],
        ),
        (NONE, REACHED, False, ["all sent 10:42", "sent", "0"]),
        (NONE, REACHED | {"reached": False}, False, ["all sent, server last reached 10:42", "sent", "0"]),
        (
            {"count": 12, "oldestAtUtc": AT},
            REACHED,
            False,
            ["kept on this tablet · 12 waiting · 3 minutes", "waiting", "12"],
        ),
        (NONE, REACHED, True, ["all sent · check date and time", "sent", "0"]),
        ({"count": 12, "oldestAtUtc": AT}, {}, True, ["12 waiting · check date and time", "waiting", "12"]),
        ({"count": 2, "refused": 2}, REACHED, False, ["2 not taken: tell the lead", "waiting", "2"]),
        (
            {"count": 12, "refused": 2, "oldestAtUtc": AT},
            REACHED,
            True,
            ["10 waiting · 2 not taken: tell the lead", "waiting", "12"],
        ),
        (
            {"count": 2, "refused": 2},
            {"device": "disabled"},
            True,
            ["tablet taken out of use: tell the lead", "waiting", "2"],
        ),
        (
            {"count": 5, "refused": 2},
            {"device": "forked", "also": [{"machine": "plover", "tablet": "By the window"}]},
            True,
            ["3 waiting · another tablet sets up here: ask who", "waiting", "5"],
        ),
        (
            {"count": 5, "refused": 2},
            {"device": "forked", "also": []},
            False,
            ["3 waiting · two tablets sign as one: tell the lead", "waiting", "5"],
        ),
    ],
)
def test_it_says_what_is_kept_or_the_gravest_of_what_is_wrong(
    context: BrowserContext, tally: dict[str, Any], state: dict[str, Any], is_wrong: bool, said: list[str]
) -> None:
    page = open_modules(context)
    assert page.evaluate(SAID, {"tally": tally, "state": state, "isWrong": is_wrong}) == said


TOLD = """async rounds => {
  const {loadWords} = await import('/assets/trial/js/ui/say.js');
  const {NetworkLine} = await import('/assets/trial/js/ui/network.js');
  const {useZone} = await import('/assets/trial/js/ui/when.js');
  await loadWords('/assets/trial/joined/tablet.json');
  useZone('UTC');
  const told = [];
  const line = new NetworkLine(text => told.push(text));
  for (const [count, reached, isDoubtful] of rounds) {
    const at = '2026-11-25T10:42:00.000Z';
    const clock = {isDoubtful, sinceMs: () => 180_000, comparedAtUtc: null};
    line.show({count, oldestAtUtc: at}, {lastAtUtc: at, reached}, clock);
  }
  return told;
}"""


def test_whoever_hears_the_page_is_told_once_when_the_server_is_lost_or_found_and_what_is_wrong(
    context: BrowserContext,
) -> None:
    """WCAG 2.2, 4.1.3: each press that is kept and sent would be told thirty times in a setup."""
    rounds = [[0, None, False], [1, True, False], [0, True, False], [1, False, False], [2, False, False],
              [2, True, False], [0, True, True], [0, True, True], [0, True, False]]  # fmt: skip
    assert open_modules(context).evaluate(TOLD, rounds) == [
        "kept on this tablet · 1 waiting · 3 minutes",
        "kept on this tablet · 2 waiting · 3 minutes",
        "all sent · check date and time",
        "all sent 10:42",
    ]
