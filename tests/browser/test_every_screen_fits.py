"""Every screen of a setup on three sizes in both themes: nothing to scroll, nothing too small, nothing too faint.

Sources: WCAG 2.2, 1.4.6 (7:1), 1.4.10, 2.5.5 (44 px), by axe-core; the sizes of look and feel are the project's own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.kit.chromium import PHONE, SIZES, viewport
from tests.kit.demo import Demo
from tests.kit.tablet import Operator, Tablet
from webapp.demo.mill import Mistake

MISFITS = """longest => {
  const found = [];
  const [bar, quiet] = [document.querySelector('.where'), document.querySelector('[data-network] > span')];
  const stood = bar?.getBoundingClientRect().height;
  if (quiet) quiet.textContent = longest;
  const stands = bar?.getBoundingClientRect().height;
  const atDefault = document.documentElement.style.fontSize === '';
  if (atDefault && stood !== stands) found.push(`the quiet line moves the step by ${stands - stood}`);
  const middle = document.querySelector('main');
  const beyond = middle.scrollHeight - middle.clientHeight;
  if (beyond > 1) found.push(`scrolls by ${beyond}`);
  if (document.documentElement.scrollWidth > innerWidth) found.push('wider than the screen');
  for (const control of document.querySelectorAll('button, a[href], summary, input, textarea')) {
    const {width, height} = (control.closest('.entry, .tick') ?? control).getBoundingClientRect();
    if (width > 0 && (width < 43.9 || height < 43.9)) {
      found.push(`${control.dataset.action ?? control.name} is ${width} x ${height}`);
    }
  }
  const go = document.querySelector('.go')?.getBoundingClientRect();
  if (go && go.height < 72) found.push(`the primary action is ${go.height} high`);
  for (const text of document.querySelectorAll('main *, footer *, .where *')) {
    if (text.children.length > 0 || text.textContent.trim() === '' || text.closest('svg')) continue;
    const {left, right, width} = text.getBoundingClientRect();
    if (width > 0 && (left < -1 || right > innerWidth + 1)) found.push(`cut off: ${text.textContent}`);
  }
  for (const value of document.querySelectorAll('.plate:not(.words, .sums) .plate-value')) {
    const size = parseFloat(getComputedStyle(value).fontSize);
    if (value.getBoundingClientRect().width > 0 && size < 40) found.push(`a number at ${size} px`);
  }
  const names = [...document.querySelectorAll('.scale-stage')].map(stage => {
    const range = document.createRange();
    range.selectNodeContents(stage);
    return [stage.textContent, range.getBoundingClientRect()];
  }).filter(([, {width}]) => width > 0);
  names.forEach(([name, box], place) => {
    const after = names[place + 1]?.[1];
    const lies = after && box.right > after.left && box.bottom > after.top;
    if (lies) found.push(`${name} lies over the next stage`);
  });
  for (const button of document.querySelectorAll('main button, .bottom > button')) {
    const range = document.createRange();
    range.selectNodeContents(button);
    const [words, box] = [range.getBoundingClientRect(), button.getBoundingClientRect()];
    const fits = words.left >= box.left - 0.5 && words.right <= box.right + 0.5;
    if (box.width > 0 && !fits) found.push(`${button.textContent} leaves its button`);
  }
  for (const text of document.querySelectorAll('svg.drawing text')) {
    const size = parseFloat(text.getAttribute('font-size')) * (text.getScreenCTM()?.a ?? 0);
    const isSeen = text.getBoundingClientRect().width > 0;
    if (isSeen && size < 13) found.push(`drawing says ${text.textContent} at ${size} px`);
  }
  for (const value of document.querySelectorAll('.plate .plate-value, .sums td')) {
    const range = document.createRange();
    range.selectNodeContents(value);
    const right = range.getBoundingClientRect().right;
    const plate = value.closest('.plate').getBoundingClientRect();
    if (right > plate.right + 0.5) found.push(`${value.textContent} leaves its plate`);
  }
  return found;
}"""
WORDS = Path(__file__).resolve().parents[2] / "static/words/en/tablet.json"
SEEN = """() => [...document.querySelectorAll('svg.drawing')]
  .filter(one => one.getBoundingClientRect().height > 60).length"""
AXE = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {"color-contrast-enhanced": {"enabled": True}},
}


def longest_quiet_line() -> str:
    """The longest that the line about the network says, be it of what waits or of what is wrong."""
    words = json.loads(WORDS.read_text(encoding="utf-8"))

    def say(code: str, **fields: object) -> str:
        return str(words[f"tablet.network.{code}"].format(**fields))

    warnings = ("refused", "clock", "device_disabled", "device_forked")
    said = [say("waiting", count=112, span="59 minutes"), say("sent_before", time="16:20")]
    said += [f"{say('waiting_short', count=112)} · {say(code, count=12)}" for code in warnings]
    return max(said, key=len)


def look(page: Page, name: str, sizes: dict[str, tuple[int, int]]) -> list[str]:
    """What is wrong with the screen on any of the sizes."""
    found, longest = [], longest_quiet_line()
    for size_name, size in sizes.items():
        page.set_viewport_size(viewport(size))
        page.evaluate(
            "() => new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)))"
        )
        found += [f"{name} on {size_name}: {what}" for what in page.evaluate(MISFITS, longest)]
    return found


def drawings_seen(page: Page, size: str) -> int:
    """How many drawings can be seen on the step itself, on this size."""
    page.set_viewport_size(viewport(SIZES[size]))
    page.evaluate("() => new Promise(resolve => requestAnimationFrame(() => requestAnimationFrame(resolve)))")
    return int(page.evaluate(SEEN))


def faults(page: Page, name: str) -> list[str]:
    """What axe finds on the screen."""
    violations = Axe().run(page, options=AXE).response["violations"]
    return [f"{name}: {one['id']} {[node['html'][:90] for node in one['nodes']][:3]}" for one in violations]


@pytest.mark.parametrize(
    ("theme", "machine", "person"), [("light", "plover", "odile"), ("dark", "dunlin", "ilse")]
)
def test_every_step_fits_and_can_be_read(
    new_tablet: Callable[..., Tablet], demo: Demo, theme: str, machine: str, person: str
) -> None:
    tablet = new_tablet(color_scheme=theme)
    page, wrong = tablet.page, []
    wrong += look(page, "machines", SIZES) + faults(page, "machines")
    tablet.begin(machine, person)
    operator = Operator(tablet, demo.mill(machine), demo.slot(machine, person), demo.people[person].pin)
    seen = set()
    for step, kind in operator.steps():
        wrong += look(page, step, SIZES)
        if page.locator(".strip.state").count() != 1:
            wrong.append(f"{step} does not say what state the machine must be in")
        if kind in {"search", "touch"}:
            wrong += [f"{step} on {size}: no drawing" for size in SIZES if drawings_seen(page, size) != 1]
        if kind not in seen:
            wrong += faults(page, step)
        seen.add(kind)
    wrong += look(page, "after", SIZES) + faults(page, "after")
    assert wrong == [], "\n".join(map(str, wrong))
    asked_for_square = tablet.sheet(machine)["square"] is not None
    assert asked_for_square == (machine == "dunlin")
    assert len(seen) == 17 + asked_for_square, "every kind of step was looked at"


def test_screens_beside_the_steps_fit_too(new_tablet: Callable[..., Tablet], demo: Demo) -> None:
    tablet = new_tablet()
    page, wrong = tablet.page, []

    def seen(name: str) -> None:
        wrong.extend(look(page, name, SIZES) + faults(page, name))

    tablet.begin("plover", "odile")
    operator = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    operator.walk(until="x.search")
    tablet.tap_here("why")
    seen("why")
    tablet.tap("off")
    seen("off")
    tablet.tap("worry", "wrong_place")
    seen("off, noted")
    tablet.tap("put-question")
    seen("question")
    tablet.tap("common-question")
    tablet.page.set_viewport_size(viewport(PHONE))
    tablet.tap("open-all")
    tablet.page.set_viewport_size(viewport(SIZES["portrait"]))
    tablet.tap("open-stage")
    seen("a stage, to read")
    tablet.tap("read-step", "ready.board")
    seen("a step, to read")
    tablet.tap("correct")
    seen("correct")
    tablet.tap("back")
    tablet.tap("break-off")
    seen("broken off")
    operator.walk(until="sign.review")
    seen("why it was broken off")
    tablet.tap("break-reason", "vise")
    seen("what happened, of a setup that was broken off")
    assert wrong == [], "\n".join(map(str, wrong))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_stop_fits_and_with_its_question_too(
    new_tablet: Callable[..., Tablet], demo: Demo, theme: str
) -> None:
    tablet = new_tablet(color_scheme=theme)
    mill = demo.mill("plover")
    mill.mistakes = {"X": [Mistake(ball_left_out=True)]}
    tablet.begin("plover", "odile")
    operator = Operator(tablet, mill, demo.slot("plover", "odile"), "")
    operator.walk(until="x.compare")
    operator.read_again()
    assert tablet.page.get_attribute("[data-verdict]", "data-verdict") == "stop"
    wrong = look(tablet.page, "a stop", SIZES) + faults(tablet.page, "a stop")
    tablet.tap("put-question")
    tablet.tap("common-question")
    wrong += look(tablet.page, "a stop, asked", SIZES) + faults(tablet.page, "a stop, asked")
    assert wrong == [], "\n".join(map(str, wrong))


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_at_twice_the_text_size_nothing_is_cut_off(
    new_tablet: Callable[..., Tablet], demo: Demo, size: tuple[int, int]
) -> None:
    tablet = new_tablet(size)
    tablet.begin("plover", "odile")
    operator = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    wrong: list[Any] = []
    for step, _ in operator.steps(until="y.search"):
        tablet.page.evaluate("() => { document.documentElement.style.fontSize = '200%'; }")
        found = tablet.page.evaluate(MISFITS, longest_quiet_line())
        wrong += [(step, what) for what in found if not what.startswith("scrolls")]
        tablet.page.evaluate("() => { document.documentElement.style.fontSize = ''; }")
    assert wrong == [], "\n".join(map(str, wrong))


def test_a_search_says_which_page_of_the_control_and_both_feeds(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    operator = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    for step in ("z.search", "x.search"):
        operator.walk(until=step)
        said = " ".join(tablet.page.locator(".search-grid").inner_text().split())
        assert re.search("first feed 900 .*second feed 60 mm/min", said)
        assert not re.search("feed[^.]*at most", said)
    operator.walk(until="x.touch")
    assert "X in your slot's row" in tablet.text()
    assert "X+: first 900, then 60 mm/min." in tablet.text()


def test_the_small_drawing_opens_the_large_one(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "").walk(until="x.search")
    tablet.page.set_viewport_size(viewport(PHONE))
    tablet.tap("larger")
    assert tablet.screen == "drawing"
