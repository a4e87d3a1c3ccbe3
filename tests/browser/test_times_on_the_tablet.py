"""One time everywhere: on the tablet too the shop's own first, and in lists and beside steps UTC small."""

from __future__ import annotations

from datetime import datetime

from playwright.sync_api import BrowserContext, Locator

from tests.kit.modules import open_modules
from tests.kit.tablet import Operator, Tablet
from webapp.domain.plain.zones import shop_time, utc_beside

# Beside UTC itself: a zone that has UTC's own time in winter, one of quarter hours, and one of another day.
ZONES = ("UTC", "Europe/London", "Europe/Oslo", "Asia/Kathmandu", "Pacific/Auckland", "America/Los_Angeles")
TIMES = (
    "2026-01-15T10:42:07.000Z", "2026-06-30T22:30:00.000Z", "2026-12-31T23:59:59.000Z",
    "2026-03-29T00:59:00.000Z", "2026-03-29T01:00:00.000Z",
)  # fmt: skip
BESIDE = """async ([zones, times]) => {
  const {loadWords} = await import('/assets/trial/js/ui/say.js');
  const {moment, useZone, utcBeside} = await import('/assets/trial/js/ui/when.js');
  await loadWords('/assets/trial/joined/tablet.json');
  return zones.flatMap(zone => times.map(at => {
    useZone(zone);
    const shown = document.createElement('p');
    shown.append(...[moment(at)].flat());
    return [zone, at, utcBeside(at), shown.textContent];
  }));
}"""


def test_what_stands_beside_a_time_is_what_the_desk_says(context: BrowserContext) -> None:
    found = open_modules(context).evaluate(BESIDE, [ZONES, TIMES])
    assert len(found) == len(ZONES) * len(TIMES)
    for zone, at, beside, shown in found:
        assert beside == utc_beside(at, zone), (zone, at)
        assert shown.startswith(f"{shop_time(at, zone):%Y-%m-%d, %H:%M}"), (zone, at)
        assert shown.endswith(beside), (zone, at)


def test_lists_and_what_stands_beside_the_steps_say_utc_too(tablet: Tablet, odile: Operator) -> None:
    odile.walk(until="probe.load")
    assert not tablet.page.locator("main .utc").count(), "a step stays short"
    tablet.tap("off")
    tablet.tap("worry", "wrong_place")
    both(tablet.page.locator(".noted li"))
    tablet.tap("back")
    tablet.page.set_viewport_size({"width": 390, "height": 844})
    tablet.tap("open-all")
    both(tablet.page.locator('[data-action="read-step"]').first)
    tablet.tap("read-step", "ready.board")
    both(tablet.page.locator(".plate-label", has=tablet.page.locator("time")))


def test_before_a_setup_the_slots_and_the_sheets_ends_and_how_it_was_left_say_both(tablet: Tablet) -> None:
    tablet.begin("plover", "odile", begin=False)
    for found in tablet.page.locator(".plate-other").all():
        both(found)
    both(tablet.page.locator(".label", has=tablet.page.locator("time")), times=2)
    tablet.tap("back")
    tablet.tap("back")
    tablet.tap("holds")
    both(tablet.page.locator("dd", has=tablet.page.locator("time")))


def both(found: Locator, times: int = 1) -> None:
    """Each time there is the shop's (the demo's lies an hour or two ahead of UTC), UTC small behind it."""
    shown, small = found.locator("time").all(), found.locator(".utc").all_inner_texts()
    assert len(shown) == len(small) == times, found.inner_text()
    for one, beside in zip(shown, small, strict=True):
        at = datetime.fromisoformat(one.get_attribute("datetime") or "")
        assert f"{at:%H:%M} UTC" in beside
        assert f"{at:%H:%M}" not in one.inner_text()
