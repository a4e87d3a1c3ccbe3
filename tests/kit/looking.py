"""What is wrong with a screen: too wide, too small, cut off, or against the rules that axe knows.

Sizes are looked at in the theme that the page is in, colours in both: the other theme changes nothing else
(tests/test_colours.py).

Sources: WCAG 2.2, 1.4.6 (7:1), 1.4.10, 2.5.5 (44 px), by axe-core;
the sizes of look and feel are the project's own.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.kit.chromium import SIZES, viewport

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
  const pressed = one => getComputedStyle(one).pointerEvents !== 'none';
  const controls = document.querySelectorAll('button, a[href], summary, input, textarea');
  for (const control of [...controls].filter(pressed)) {
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
  const whole = document.querySelector('.scale-whole')?.getBoundingClientRect();
  const isShort = whole?.width > 0 && whole.width < innerWidth - 2;
  if (isShort) found.push('the scale in one line is not as wide as the screen');
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
COVERED = """() => {
  const found = [];
  const closed = 'svg, [hidden], details:not([open]) > :not(summary)';
  const isSeen = element => {
    const {visibility, clipPath} = getComputedStyle(element);
    return visibility !== 'hidden' && clipPath === 'none' && element.closest(closed) === null;
  };
  const boxesOf = node => {
    const range = document.createRange();
    range.selectNodeContents(node);
    return [...range.getClientRects()].filter(({width, height}) => width > 1 && height > 1);
  };
  const texts = [];
  const walker = document.createTreeWalker(document.getElementById('app'), NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const boxes = node.textContent.trim() !== '' && isSeen(node.parentElement) ? boxesOf(node) : [];
    if (boxes.length > 0) texts.push({node, boxes, words: node.textContent.slice(0, 50)});
  }
  for (const {node, boxes, words} of texts) {
    for (let up = node.parentElement; up.id !== 'app'; up = up.parentElement) {
      const {overflowX, overflowY} = getComputedStyle(up);
      const edge = up.getBoundingClientRect();
      const isCut = box => {
        const wide = overflowX !== 'visible' && (box.left < edge.left - 1 || box.right > edge.right + 1);
        const clips = ['hidden', 'clip'].includes(overflowY);
        return wide || (clips && (box.top < edge.top - 3 || box.bottom > edge.bottom + 3));
      };
      if (boxes.some(isCut)) found.push(`${words} is cut by ${up.className || up.tagName}`);
    }
  }
  const areaOf = ({node}) => node.parentElement.closest('main, footer, .where, .scale');
  const lie = (a, b) => {
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    return wide > 2 && high > 0.3 * Math.min(a.height, b.height);
  };
  texts.forEach((one, place) => {
    for (const other of texts.slice(place + 1)) {
      if (areaOf(one) !== areaOf(other)) continue;
      const lies = one.boxes.some(a => other.boxes.some(b => lie(a, b)));
      if (lies) found.push(`${one.words} lies over ${other.words}`);
    }
  });
  const middle = document.querySelector('main');
  if (middle.clientHeight < innerHeight / 4) found.push(`only ${middle.clientHeight} high in the middle`);
  const stood = middle.scrollTop;
  for (const {node, words} of texts) {
    if (!middle.contains(node)) continue;
    const {top, bottom} = middle.getBoundingClientRect();
    middle.scrollTop += boxesOf(node)[0].top - (top + bottom) / 2;
    const box = boxesOf(node)[0];
    const hit = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
    const own = hit && (hit.contains(node) || node.parentElement.contains(hit));
    if (!own && !hit?.closest('label, button')) found.push(`${words} is covered by ${hit?.className}`);
  }
  middle.scrollTop = stood;
  return found;
}"""
TEXT_SIZE = "size => { document.documentElement.style.fontSize = size; }"
PAINTED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
WORDS = Path(__file__).resolve().parents[2] / "static/words/en/tablet.json"
SEEN = """() => [...document.querySelectorAll('svg.drawing')]
  .filter(one => one.getBoundingClientRect().height > 60).length"""
AXE = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {"color-contrast-enhanced": {"enabled": True}},
    "resultTypes": ["violations"],  # what holds is not told one by one
}
# The rules of these that ask for colours.
OF_COLOURS = ["color-contrast", "color-contrast-enhanced", "link-in-text-block"]
AXE_COLOURS = {"runOnly": {"type": "rule", "values": OF_COLOURS}, "resultTypes": ["violations"]}
IS_DARK = "() => matchMedia('(prefers-color-scheme: dark)').matches"
THEMES = ("light", "dark")


@cache
def longest_quiet_line() -> str:
    """The longest that the line about the network says, be it of what waits or of what is wrong."""
    words = json.loads(WORDS.read_text(encoding="utf-8"))

    def say(code: str, **fields: object) -> str:
        return str(words[f"tablet.network.{code}"].format(**fields))

    warnings = ("refused", "also", "clock", "device_disabled", "device_forked")
    said = [say("waiting", count=112, span="59 minutes"), say("sent_before", time="16:20")]
    said += [f"{say('waiting_short', count=112)} · {say(code, count=12)}" for code in warnings]
    return max(said, key=len)


def look(page: Page, name: str, sizes: dict[str, tuple[int, int]]) -> list[str]:
    """What is wrong with the screen on any of the sizes."""
    found, longest = [], longest_quiet_line()
    for size_name, size in sizes.items():
        page.set_viewport_size(viewport(size))
        page.evaluate(PAINTED)
        found += [f"{name} on {size_name}: {what}" for what in page.evaluate(MISFITS, longest)]
    return found


def look_twice(page: Page, name: str, sizes: dict[str, tuple[int, int]]) -> list[str]:
    """What is cut off or covered on any of the sizes where text has twice its size; to scroll is no fault."""
    found, longest = [], longest_quiet_line()
    page.evaluate(TEXT_SIZE, "200%")
    for size_name, size in sizes.items():
        page.set_viewport_size(viewport(size))
        page.evaluate(PAINTED)
        seen = [*page.evaluate(MISFITS, longest), *page.evaluate(COVERED)]
        found += [f"{name} twice on {size_name}: {what}" for what in seen if not what.startswith("scrolls")]
    page.evaluate(TEXT_SIZE, "")
    return found


def drawings_seen(page: Page, size: str) -> int:
    """How many drawings can be seen on the step itself, on this size."""
    page.set_viewport_size(viewport(SIZES[size]))
    page.evaluate(PAINTED)
    return int(page.evaluate(SEEN))


def faults(page: Page, name: str, rules: dict[str, Any] = AXE) -> list[str]:
    """What axe finds on the screen, and of its colours in the other theme too."""
    theme = THEMES[page.evaluate(IS_DARK)]
    other = next(one for one in THEMES if one != theme)
    found = _violations(page, f"{name} in {theme}", rules)
    page.emulate_media(color_scheme=other)
    found += _violations(page, f"{name} in {other}", AXE_COLOURS)
    page.emulate_media(color_scheme=theme)
    return found


def _violations(page: Page, name: str, rules: dict[str, Any]) -> list[str]:
    """What axe finds by these rules. Its half a megabyte is read in once a page."""
    axe = Axe(axe_script="") if page.evaluate("() => 'axe' in window") else Axe()
    violations = axe.run(page, options=rules).response["violations"]
    return [f"{name}: {one['id']} {[node['html'][:90] for node in one['nodes']][:3]}" for one in violations]
