"""A value past a line: read again without being told what would fit;
touched again once; then the lead alone.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator

STOP_NM = 900_000


def usual(hand: Operator, axis: str) -> dict[str, int]:
    sheet = hand.tablet.sheet("plover")
    return next(one["usual"] for one in sheet["axes"] if one["axis"] == axis)


def first_axis(hand: Operator) -> str:
    """The axis that this vise is touched on first."""
    return str(hand.tablet.sheet("plover")["axes"][0]["axis"])


def type_touch(hand: Operator, off_nm: int) -> str:
    """Walk to the touch that is due and type a value this far from the usual; the axis."""
    axis = hand.tablet.page.locator("[data-entry]").get_attribute("data-entry") or ""
    hand.typed = hand.mill.text(usual(hand, axis)["centre_nm"] + off_nm)
    hand.tablet.enter(hand.typed)
    return axis


def to_touch(hand: Operator) -> str:
    """Walk to the first touch; its axis."""
    for _, kind in hand.steps():
        if kind == "touch":
            break
    return hand.tablet.page.locator("[data-entry]").get_attribute("data-entry") or ""


def stopped_twice(hand: Operator) -> str:
    axis = to_touch(hand)
    type_touch(hand, STOP_NM)
    hand.close("compare")
    hand.tablet.tap("touch-again")
    for _, kind in hand.steps():
        if kind == "touch":
            break
    type_touch(hand, STOP_NM)
    hand.close("compare")
    return axis


def test_a_value_past_a_line_is_read_again_in_an_empty_field_that_tells_nothing(odile: Operator) -> None:
    axis = to_touch(odile)
    centre = odile.mill.text(usual(odile, axis)["centre_nm"]).lstrip("-")
    type_touch(odile, STOP_NM)
    tablet = odile.tablet
    assert tablet.kind == "compare"
    assert tablet.page.locator("[data-entry]").input_value() == ""
    assert centre not in tablet.text()
    assert odile.typed.lstrip("-") not in tablet.text()
    tablet.reload()
    assert tablet.offers("read-again"), "the question is still there after a reload"
    odile.close("compare")
    assert tablet.page.locator("[data-verdict]").get_attribute("data-verdict") == "stop"
    assert centre not in tablet.text(), "no screen shows the number that would fit"
    kinds = [row["payload"]["type"] for row in tablet.events()]
    assert [kind for kind in kinds if kind.startswith("touch.")] == ["touch.entered", "touch.read_again"]


def test_two_readings_that_differ_are_both_kept_and_stay_a_question_for_the_lead(
    odile: Operator, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    axis = to_touch(odile)
    type_touch(odile, STOP_NM)
    tablet, first = odile.tablet, odile.typed
    odile.typed = odile.mill.text(usual(odile, axis)["centre_nm"])
    odile.close("compare")
    assert not tablet.offers("keep")
    tablet.tap("ask-both")
    kept = [row["payload"] for row in tablet.events() if row["payload"]["type"].startswith("touch.")]
    typed = [one["data"]["typed"].replace("−", "-") for one in kept if "typed" in one["data"]]
    assert typed == [first, odile.typed], "both entries are events"
    assert tablet.events_of("touch.kept")[-1]["data"]["because"] == "question"
    asked = f"I read {first} first and {odile.typed} then"
    odile.walk()
    tablet.all_sent()
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    assert asked in desk.open("/desk").replace("−", "-")
    setup = demo.newest_setup("odile")["id"]
    said = desk.open(f"/desk/setups/{setup}")
    assert "was read twice, as two values" in said


def test_after_a_stop_a_new_touch_that_agrees_goes_on(odile: Operator) -> None:
    to_touch(odile)
    type_touch(odile, STOP_NM)
    odile.close("compare")
    tablet = odile.tablet
    assert tablet.offers("give-up")
    tablet.tap("touch-again")
    assert tablet.kind == "over", "raised and moved over before the new touch"
    for _, kind in odile.steps():
        if kind == "touch":
            break
    axis = type_touch(odile, 0)
    assert tablet.kind != "compare", "a value that agrees is kept with its touch, without a screen"
    assert tablet.events_of("touch.kept")[-1]["data"] == {"axis": axis, "because": "agrees"}


def test_a_second_stop_is_the_leads_whatever_it_agrees_with(odile: Operator) -> None:
    stopped_twice(odile)
    tablet = odile.tablet
    assert not tablet.offers("keep")
    assert not tablet.offers("touch-again")
    tablet.tap("put-question")
    tablet.tap("common-question")
    assert not tablet.offers("keep")
    assert tablet.offers("lift")
    assert tablet.offers("give-up")


def test_the_leads_own_pin_lifts_a_second_stop_once_the_server_has_checked_it(
    odile: Operator, demo: Demo
) -> None:
    stopped_twice(odile)
    tablet = odile.tablet
    tablet.tap("lift")
    tablet.tap("lead", "mara")
    tablet.tap("decision", "go_on")
    tablet.page.fill("#pin", "935724")
    tablet.tap_here("lift-check")
    tablet.page.get_by_text("The server says that the PIN was wrong").wait_for()
    assert "3 tries are left" in tablet.text()
    tablet.settled()
    tablet.page.fill("#pin", demo.people["mara"].pin)
    tablet.tap_here("lift-check")
    tablet.page.wait_for_selector('[data-action="keep"]')
    tablet.tap("keep")
    assert tablet.events_of("touch.kept")[-1]["data"]["because"] == "lead"
    assert all(row["pin"] is None for row in tablet.events() if row["payload"]["type"] == "stop.lifted")


def test_without_the_server_no_pin_lifts_anything_and_nothing_is_kept(
    odile: Operator, server: Server
) -> None:
    stopped_twice(odile)
    tablet = odile.tablet
    server.kill()
    tablet.tap("lift")
    tablet.tap("lead", "mara")
    tablet.tap("decision", "go_on")
    tablet.page.fill("#pin", "123456")
    tablet.tap_here("lift-check")
    tablet.page.get_by_text("The server was not reached").wait_for(timeout=60_000)
    assert tablet.events_of("stop.lifted") == []


def test_without_the_lead_the_row_goes_to_zero_and_the_next_person_reads_not_usable(
    odile: Operator, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    axis = stopped_twice(odile)
    tablet = odile.tablet
    tablet.tap("give-up")
    assert tablet.step == "stow.up"
    odile.walk(until="stow.row")
    tablet.enter("G56")
    for text in ("0", "0", "0"):
        tablet.enter(text)
    assert tablet.step == "stow.row"
    assert "You typed G56." in tablet.text()
    odile.walk(until="sign.review")
    assert f"G55 is not usable: {axis}. Its row stands at zero." in tablet.text()
    odile.walk()
    tablet.all_sent()
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    assert f"not usable: {axis}" in desk.open("/").lower().replace(axis.lower(), axis)
    tablet.tap("another")
    tablet.sync()
    for _ in range(100):
        row = next(one for one in tablet.sheet("plover")["slots"] if one["label"] == "G55")
        if row["not_usable_axes"] == [axis]:
            break
        tablet.page.wait_for_timeout(200)
    tablet.begin("plover", "odile")
    odile.walk(until="probe.modes")
    assert f"G55 is not usable: {axis}" in tablet.text(), "said beside what to select, before it is selected"


@pytest.mark.parametrize("offline", [False, True])
def test_the_way_of_a_stop_is_the_same_without_the_network(
    offline: bool, odile: Operator, server: Server
) -> None:
    if offline:
        server.kill()
    stopped_twice(odile)
    odile.tablet.tap("give-up")
    odile.walk()
    kinds = {row["payload"]["type"] for row in odile.tablet.events()}
    assert kinds >= {"touch.read_again", "touch.repeated", "axis.given_up", "slot.zeroed", "setup.signed"}
