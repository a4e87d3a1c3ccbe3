"""Slots written by hand: where the probe answered is typed, the surface entered, the row read back.

Its cleared rows are parked: a row of zeros could send the tool down there.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.by_hand import BY_HAND, PARKED, say_of_machine
from tests.kit.chromium import SIZES, viewport
from tests.kit.demo import AXES, Demo
from tests.kit.desk import Desk
from tests.kit.following import Following
from tests.kit.looking import faults, look, look_twice
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet, operator


@pytest.fixture
def demo(demo_shop: Path, tmp_path: Path) -> Demo:
    """A copy of the demo shop whose mill Plover writes no touch into a slot, and parks its rows."""
    demo = Demo.copy(demo_shop, tmp_path / "shop")
    say_of_machine(demo, "plover", BY_HAND | PARKED)
    return demo


@pytest.fixture
def odile(tablet: Tablet, demo: Demo) -> Operator:
    tablet.begin("plover", "odile")
    return operator(tablet, demo)


def test_a_whole_setup_is_entered_by_hand_and_read_back_also_offline(
    odile: Operator, server: Server, demo: Demo, new_context: Callable[..., BrowserContext]
) -> None:
    tablet = odile.tablet
    odile.walk(until="x.touch")
    tablet.page.context.set_offline(True)
    odile.answer_read()
    to_enter = tablet.page.locator("main .plate-value").inner_text()
    assert tablet.page.locator("[data-entry]").count() == 0, "nothing is typed where the surface stands"
    odile.surface_entered()
    assert to_enter not in tablet.text(), "what is read back is read off the control"
    tablet.reload()
    assert to_enter not in tablet.text()
    tablet.enter(odile.typed)
    assert tablet.step == "y.over"
    tablet.tap("look-again")
    read, answered = odile.typed.replace("-", "−"), tablet.events_of("trigger.read")[-1]["data"]["typed"]
    assert f"X {read}; the probe answered at {answered}, {read} to enter" in tablet.text()
    tablet.tap("back")
    odile.walk()
    assert tablet.screen == "after"
    tablet.page.context.set_offline(False)
    tablet.all_sent()
    given = {one["data"]["axis"]: one["data"]["surface_nm"] for one in tablet.events_of("trigger.read")}
    held = {one["data"]["axis"]: one["data"]["value_nm"] for one in tablet.events_of("touch.entered")}
    assert given == held == odile.mill.mill.shown_nm()
    assert {one["data"]["because"] for one in tablet.events_of("touch.kept")} == {"agrees"}
    desk = Desk(new_context((1280, 800)).new_page(), server.address)
    desk.sign_in("henk", demo.people["henk"])
    page = desk.open(f"/desk/setups/{tablet.events_of('setup.signed')[0]['setup']}")
    assert [axis for axis in AXES if f"The probe answered at {axis}" in page] == list(AXES)


def test_the_list_followed_by_hand_and_eye_ends_with_the_truth_in_the_row(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    following = Following(tablet, demo, "plover", "odile")
    following.walk()
    mill = following.mill.mill
    assert mill.crashes == []
    assert mill.hanging.ball is None
    assert [one["data"]["values_nm"]["Z"] for one in tablet.events_of("slot.cleared")] == [-20_000_000]
    kept = {one["data"]["axis"]: one["data"]["value_nm"] for one in tablet.events_of("touch.entered")}
    row, truth = mill.slots_nm[following.slot], mill.vise.surface_nm
    assert kept == row
    assert all(abs(row[axis] - truth[axis]) < 20_000 for axis in AXES)


def test_zeros_where_the_row_has_to_be_parked_keep_the_step_open_and_the_stow_parks_it_again(
    odile: Operator,
) -> None:
    tablet, mill = odile.tablet, odile.mill
    odile.walk(until="clear.values")
    assert "Z to −20.000 mm" in tablet.text()
    mill.mill.clear_selected()
    tablet.tap("another-value")
    for axis in AXES:
        tablet.enter(mill.shown()[axis])
    assert tablet.step == "clear.values"
    assert tablet.page.locator('[role="alert"], .notice').first.is_visible()
    mill.mill.park_selected()
    tablet.reload()
    odile.close("clear")
    odile.walk(until="z.touch")
    tablet.tap("break-off")
    odile.walk(until="sign.review")
    assert tablet.events_of("slot.zeroed")[-1]["data"]["values_nm"]["Z"] == -20_000_000
    assert mill.mill.slots_nm[odile.slot] == {"X": 0, "Y": 0, "Z": -20_000_000}


def test_a_row_that_holds_another_value_than_was_to_be_entered_is_read_again_and_asked_about(
    odile: Operator,
) -> None:
    tablet = odile.tablet
    odile.walk(until="x.touch")
    odile.answer_read()
    odile.surface_entered(off_by_nm=1_000)
    tablet.enter(odile.typed)
    assert tablet.step == "x.compare"
    assert "is not the value to enter" in tablet.text()
    odile.read_again()
    (touch,) = tablet.events_of("touch.entered")[-1:]
    assert touch["data"]["verdict"] == "agrees", "by the usual alone nobody would have seen it"
    assert not tablet.offers("keep")
    assert tablet.page.get_attribute("[data-verdict]", "data-verdict") == "ask"
    to_enter = tablet.events_of("trigger.read")[-1]["data"]["surface_nm"]
    assert odile.mill.text(to_enter).replace("-", "−") in tablet.page.locator(".sums").inner_text()
    tablet.tap("touch-again")
    odile.walk(until="y.over")
    kept = tablet.events_of("touch.kept")[-1]["data"]
    assert kept == {"axis": "X", "because": "agrees"}
    assert odile.mill.mill.shown_nm()["X"] == tablet.events_of("touch.entered")[-1]["data"]["value_nm"]


def test_a_position_that_was_mistyped_is_typed_once_more_and_the_last_one_counts(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="x.touch")
    tablet.enter("-1.000")
    tablet.tap("trigger-again")
    odile.close("touch")
    assert tablet.step == "y.over"
    assert [one["data"]["value_nm"] for one in tablet.events_of("trigger.read")][-2] == -1_000_000


def test_its_screens_fit(tablet: Tablet, demo: Demo) -> None:
    page, wrong = tablet.page, []
    tablet.begin("plover", "odile")
    hand = operator(tablet, demo)

    def seen(name: str) -> None:
        wrong.extend(look(page, name, SIZES) + look_twice(page, name, SIZES) + faults(page, name))
        page.set_viewport_size(viewport(SIZES["portrait"]))

    hand.walk(until="clear.values")
    seen("a row to be parked")
    tablet.tap("another-value")
    seen("a row to be parked, its values")
    for step in ("z.touch", "x.touch"):
        hand.walk(until=step)
        seen(f"{step}, where it answered")
        hand.answer_read()
        seen(f"{step}, the surface to enter")
        hand.surface_entered(off_by_nm=1_000)
        seen(f"{step}, to read back")
        tablet.enter(hand.typed)
        seen(f"{step}, to read again")
        hand.read_again()
        seen(f"{step}, not the value to enter")
        tablet.tap("touch-again")
        hand.walk(until={"z.touch": "x.over", "x.touch": "y.over"}[step])
    tablet.tap("look-again")
    seen("what was recorded")
    tablet.tap("back")
    tablet.tap("break-off")
    hand.walk(until="stow.row")
    seen("the row parked again, its label")
    tablet.enter(hand.slot)
    seen("the row parked again, its values")
    assert wrong == [], "\n".join(wrong)
