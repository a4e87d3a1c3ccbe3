"""What a page may look like where somebody chose the colours of all programs.

Forced colours (CSS Color Adjustment 1, 3.1): grounds, shadows and gradients are not drawn, and what a drawing
is made of keeps its own colours, so that it has to ask for the system's. What only they told is told by a
line, a sign or a word.
"""

from __future__ import annotations

from playwright.sync_api import Page

# In the dark, where what was left black would not be seen.
FORCED = {"forced_colors": "active", "color_scheme": "dark"}
NOT_THE_SYSTEMS = """() => {
  const names = ['Canvas', 'CanvasText', 'GrayText', 'Highlight', 'HighlightText', 'LinkText', 'Mark'];
  const probe = document.body.appendChild(document.createElement('i'));
  const systems = new Set(names.map(name => (probe.style.color = name, getComputedStyle(probe).color)));
  probe.remove();
  const shapes = ':is(path, rect, circle, line, polygon, polyline, text)';
  const drawn = [...document.querySelectorAll(`SVGS ${shapes}`)];
  const seen = drawn.filter(one => one.checkVisibility() && !one.closest('defs, pattern, clipPath'));
  return [seen.length, seen.flatMap(one => ['fill', 'stroke'].map(what => {
    const {[what]: colour, opacity} = getComputedStyle(one);
    const isOff = !colour.startsWith('rgb') || colour.endsWith(', 0)') || opacity === '0';
    return isOff || systems.has(colour) ? '' : `${what} ${colour}: ${one.outerHTML.slice(0, 90)}`;
  })).filter(Boolean)];
}"""
# What is chosen, that only a ground or a shadow tells from the others beside it.
CHOSEN = ':is([aria-current], [aria-pressed="true"], .chosen):not(svg *)'
LOOKS_LIKE_OTHERS = f"""() => [...document.querySelectorAll('{CHOSEN}')].filter(one => {{
  const look = element => {{
    const style = getComputedStyle(element);
    const {{borderTopWidth, textDecorationLine, fontWeight, outlineStyle}} = style;
    return `${{borderTopWidth}} ${{textDecorationLine}} ${{fontWeight}} ${{outlineStyle}}`;
  }};
  const kinds = [...one.classList].filter(name => name !== 'chosen');
  const selector = [one.tagName, ...kinds].join('.');
  const list = one.closest('ul, ol, nav, .choices, .rows') ?? one.parentElement;
  const others = [...list.querySelectorAll(selector)].filter(other => !other.matches('{CHOSEN}'));
  return others.some(other => look(other) === look(one));
}}).map(one => one.outerHTML.slice(0, 90))"""
# A control without a line round it or under its words, one that waits and looks like one that does not, a
# mark that is made of a gradient alone, and a stop without its second frame.
NOT_TOLD = """() => {
  const grey = document.body.appendChild(document.createElement('i'));
  grey.style.color = 'GrayText';
  const waits = getComputedStyle(grey).color;
  grey.remove();
  const seen = selector => [...document.querySelectorAll(selector)].filter(one => one.checkVisibility());
  const lined = one => {
    const {borderTopWidth, borderTopStyle, textDecorationLine} = getComputedStyle(one);
    return (parseFloat(borderTopWidth) > 0 && borderTopStyle !== 'none') || textDecorationLine !== 'none';
  };
  const isSign = one => one.querySelector('svg') || one.closest('.scale');
  const hasLine = one => lined(one.closest('.entry') ?? one) || isSign(one);
  const say = what => one => `${what}: ${one.outerHTML.slice(0, 90)}`;
  const controls = 'button, input:not([type=checkbox], [type=radio]), textarea, select';
  const isOff = one => getComputedStyle(one).color === waits;
  const marks = '.half-mark, .rows.ticks [aria-pressed="true"] .row-mark';
  const isMade = one => getComputedStyle(one).forcedColorAdjust === 'none';
  const frames = '.notice.stop, .verdict.stop, .signature.not_accepted';
  return [
    ...seen(controls).filter(one => !hasLine(one)).map(say('no line')),
    ...seen('[aria-disabled="true"]:not(.scale *)').filter(one => !isOff(one)).map(say('looks ready')),
    ...seen(marks).filter(one => !isMade(one)).map(say('not drawn')),
    ...seen(frames).filter(one => getComputedStyle(one).outlineStyle === 'none').map(say('no second frame')),
  ];
}"""
MOVES = """() => [...document.querySelectorAll('*')].filter(one => {
  const {transitionDuration, animationName, scrollBehavior} = getComputedStyle(one);
  return parseFloat(transitionDuration) > 0 || animationName !== 'none' || scrollBehavior === 'smooth';
}).map(one => one.outerHTML.slice(0, 90))"""


def drawn_otherwise(page: Page, drawings: str = "main svg") -> tuple[int, list[str]]:
    """How many shapes these drawings have, and the first that do not take the system's colours."""
    shapes, wrong = page.evaluate(NOT_THE_SYSTEMS.replace("SVGS", drawings))
    return int(shapes), wrong[:3]


def like_others(page: Page) -> list[str]:
    """What is chosen and looks like the others beside it."""
    return list(page.evaluate(LOOKS_LIKE_OTHERS))


def lost(page: Page, name: str) -> tuple[int, list[str]]:
    """How many shapes a tablet's screen draws, and what of it is not told without colours of its own.

    The page stands in forced colours.
    """
    shapes, wrong = drawn_otherwise(page, "#app svg")
    return shapes, [f"{name}: {one}" for one in [*wrong, *like_others(page), *page.evaluate(NOT_TOLD)]]
