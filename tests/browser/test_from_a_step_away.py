"""A step seen from a step away, and worked without looking:
sizes, Enter, order, names, plates as term and value.

Sources: WCAG 2.2, 1.3.1, 2.4.3, 2.5.3; the sizes in pixels are the project's own.
"""

from __future__ import annotations

import re

from tests.kit.chromium import SIZES, viewport
from tests.kit.tablet import Operator

SMALL = """() => {
  const size = element => parseFloat(getComputedStyle(element).fontSize);
  const seen = element => element.getBoundingClientRect().width > 0;
  const found = [];
  const least = [['h1', 24], ['.go', 24], ['.view-step .row', 24], ['.entry input', 24],
    ['.entry .plate-label', 24], ['.plate-label', 18], ['.says dt', 18], ['.label', 18], ['.strip', 18]];
  for (const [what, px] of least) {
    for (const one of document.querySelectorAll(what)) {
      if (!seen(one) || size(one) >= px - 0.01) continue;
      found.push(`${what} at ${size(one)} px: ${one.textContent.slice(0, 40)}`);
    }
  }
  return found;
}"""
NAMES = """() => [...document.querySelectorAll('button, a[href], summary')]
  .filter(one => one.getAttribute('aria-label') && one.getBoundingClientRect().width > 0)
  .map(one => [one.innerText, one.getAttribute('aria-label')])"""
PLATES = """() => {
  const odd = one =>
    one.tagName !== 'DL' || one.firstElementChild.tagName !== 'DT' || one.querySelector('dd') === null;
  const plates = [...document.querySelectorAll('.plate:not(.entry, .sums, .signing)')];
  return plates.filter(odd).map(one => one.outerHTML.slice(0, 120));
}"""


def said(text: str) -> str:
    return " ".join(re.sub(r"[^\w.+−]", " ", text).lower().split())


def test_every_step_can_be_read_from_a_step_away_and_its_controls_are_named_as_they_look(
    odile: Operator,
) -> None:
    tablet, wrong = odile.tablet, []
    for step, _ in odile.steps():
        for name in ("portrait", "landscape"):
            tablet.page.set_viewport_size(viewport(SIZES[name]))
            wrong += [f"{step} on {name}: {one}" for one in tablet.page.evaluate(SMALL)]
        for looks, called in tablet.page.evaluate(NAMES):
            if said(looks) not in said(called):
                wrong.append(f"{step}: {looks!r} is called {called!r}")
        wrong += [f"{step}: no term and value: {one}" for one in tablet.page.evaluate(PLATES)]
        first = tablet.page.evaluate(
            "() => document.querySelector('#app').firstElementChild.firstElementChild.id"
        )
        focus = tablet.page.evaluate("() => document.activeElement.id")
        if first != "heading" or focus != "heading":
            wrong.append(f"{step}: {first!r} comes first, the focus stands on {focus!r}")
    assert wrong == [], "\n".join(wrong)


def test_enter_presses_the_primary_action_wherever_the_focus_is(odile: Operator) -> None:
    tablet = odile.tablet
    before = tablet.step
    assert tablet.kind == "caution"
    tablet.settled()
    tablet.page.keyboard.press("Enter")
    tablet.page.wait_for_function(f"() => document.getElementById('app').dataset.step !== '{before}'")
    assert tablet.step != before


def test_the_clear_key_takes_all_that_is_typed(odile: Operator) -> None:
    odile.walk(until="copy.values")
    tablet = odile.tablet
    tablet.type("-12.345")
    tablet.tap_here("key-clear")
    assert tablet.page.locator('[data-entry="X"]').input_value() == ""


def test_a_step_that_asks_for_what_the_control_shows_does_not_show_it(odile: Operator) -> None:
    """Tool and slot stand on the step before; the way back to them is an event."""
    tablet, mill = odile.tablet, odile.mill.mill
    for before, step, shown in (
        ("vise.bare", "probe.load", mill.probe_tool),
        ("probe.modes", "slot.own", odile.slot),
        ("stow.up", "stow.away", mill.parking_tool),
    ):
        odile.walk(until=before)
        assert tablet.page.locator(".plate.next .plate-value").inner_text() == shown
        odile.walk(until=step)
        body = tablet.page.locator("main").inner_text() + tablet.page.locator(".where").inner_text()
        assert shown not in re.findall(r"[A-Z]?\d+(?:\.\d+)?", re.sub(r"\d\d:\d\d", "", body)) or shown == "1"
        assert tablet.page.locator(".plate.next").count() == 0
        made = len(tablet.events())
        tablet.tap("show-again")
        assert tablet.step == before
        assert len(tablet.events()) == made + 1
        odile.walk(until=step)


def test_a_touch_that_agrees_has_no_screen_of_its_own_and_a_way_back(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="x.over")
    assert "z.compare" in {row["payload"]["step"] for row in tablet.events()}
    strip = tablet.page.locator(".strip.agreed")
    assert "agrees" in strip.inner_text()
    tablet.tap("look-again")
    tablet.tap("correct")
    tablet.tap("correct-reason", "read_wrong")
    assert tablet.step == "z.touch"
