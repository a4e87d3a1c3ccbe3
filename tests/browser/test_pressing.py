"""What counts as a press: by finger, by a hand that slid off, twice by mistake, by paste.

Sources: WCAG 2.2, 2.5.2 (acts when it is lifted, and sliding off cancels) and 3.3.8 (nothing has to be
remembered: a secret can be pasted, filled in and looked at); a second touch within 300 ms is a drop of
coolant (common practice, no source).
"""

from __future__ import annotations

from tests.kit.demo import Demo
from tests.kit.tablet import REPEAT_MS, Operator


def test_a_press_counts_where_it_is_lifted_and_one_right_behind_it_counts_for_nothing(
    odile: Operator,
) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    first = tablet.step
    tablet.settled()
    box = tablet.find("go").bounding_box()
    assert box is not None
    place = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*place)
    page.mouse.down()
    page.wait_for_timeout(REPEAT_MS)
    assert tablet.step == first, "nothing happens while the finger is down"
    page.mouse.move(place[0], 20)
    page.mouse.up()
    page.wait_for_timeout(REPEAT_MS)
    assert (tablet.step, len(tablet.events_of("caution.read"))) == (first, 0), "it slid off"
    page.mouse.dblclick(*place)
    page.wait_for_function(f"() => document.getElementById('app').dataset.step !== '{first}'")
    tablet.settled()
    page.wait_for_timeout(REPEAT_MS)
    assert len(tablet.events_of("caution.read")) == 1, "the drop behind it answered the next screen"
    assert tablet.find("go").bounding_box() == box, "or this would have shown nothing"


def test_a_pin_is_a_real_field_that_takes_a_paste_and_can_be_looked_at(odile: Operator, demo: Demo) -> None:
    tablet, page = odile.tablet, odile.tablet.page
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk(until="sign.name")
    field = page.locator("#pin")
    assert field.get_attribute("autocomplete") == "current-password"
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.evaluate("text => navigator.clipboard.writeText(text)", demo.people["odile"].pin)
    field.focus()
    page.keyboard.press("Control+V")
    assert field.input_value() == demo.people["odile"].pin
    for shown in ("text", "password"):
        tablet.tap_here("show-pin")
        assert field.get_attribute("type") == shown
        page.wait_for_timeout(REPEAT_MS)
    tablet.tap("go")
    page.wait_for_selector('[data-signature="verified"]', timeout=60_000)
