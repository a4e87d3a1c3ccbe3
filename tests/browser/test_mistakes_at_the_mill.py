"""What goes wrong at the machine, and what the tablet says and lets be done then."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator
from webapp.demo.mill import Mistake


def usual(hand: Operator, axis: str) -> dict[str, int]:
    sheet = hand.tablet.sheet("plover")
    return next(one["usual"] for one in sheet["axes"] if one["axis"] == axis)


def test_another_slot_than_ones_own_stops_and_says_whose_it_is(odile: Operator) -> None:
    odile.walk(until="slot.own")
    said = {}
    for typed in ("G56", "G54", "G58", "G99"):
        odile.tablet.enter(typed)
        assert odile.tablet.step == "slot.own"
        said[typed] = odile.tablet.page.locator(".notice.stop").inner_text()
    assert said["G56"].startswith("G56 belongs to Tariq Menzel.")
    assert "G55" not in "".join(said.values()), "the step gives nothing away"
    assert "kept for the shop" in said["G54"]
    assert "Bram Keskin" in said["G58"]
    assert "no slot of this machine" in said["G99"]
    odile.tablet.enter("g55")
    assert odile.tablet.step == "copy.values"
    outcomes = [one["data"]["outcome"] for one in odile.tablet.events_of("slot.read")]
    assert outcomes == ["somebody_elses", "shop", "somebody_elses", "unknown", "own"]


def test_a_moving_jaw_touched_is_a_stop_and_the_fixed_one_touched_again_agrees(odile: Operator) -> None:
    odile.mill.mistakes["Y"] = [Mistake(moving_jaw=True)]
    odile.walk(until="y.compare")
    odile.read_again()
    tablet = odile.tablet
    assert tablet.page.locator("[data-verdict]").get_attribute("data-verdict") == "stop"
    assert not tablet.offers("keep")
    assert "moving jaw" in tablet.page.locator(".causes li").first.inner_text()
    tablet.tap("touch-again")
    assert tablet.step == "y.over", "a touch that is done again is reached from above again"
    odile.walk(until="stow.up")
    assert [one["data"]["verdict"] for one in tablet.events_of("touch.entered")] == [
        "agrees",
        "agrees",
        "stop",
        "agrees",
    ]
    kept = tablet.events_of("touch.kept")[-1]["data"]
    assert kept == {"axis": "Y", "because": "agrees"}


def test_a_chip_that_was_wiped_off_is_said_in_one_tap_and_the_axis_is_touched_again(odile: Operator) -> None:
    odile.mill.mistakes["X"] = [Mistake(chip_nm=400_000)]
    odile.walk(until="x.compare")
    odile.read_again()
    tablet = odile.tablet
    first_nm = tablet.events_of("touch.entered")[-1]["data"]["value_nm"]
    tablet.tap("chip-wiped")
    assert tablet.step == "x.over"
    assert tablet.events_of("chip.wiped")[-1]["data"] == {"axis": "X"}
    odile.walk(until="y.over")
    stands = tablet.events_of("touch.entered")[-1]["data"]
    assert (stands["verdict"], stands["value_nm"] == first_nm) == ("agrees", False)
    assert not tablet.events_of("touch.repeated")


def test_a_ball_left_out_is_a_stop_one_radius_out_and_among_the_causes_named(odile: Operator) -> None:
    odile.mill.mistakes["X"] = [Mistake(ball_left_out=True)]
    odile.walk(until="x.compare")
    odile.read_again()
    assert odile.tablet.page.locator("[data-verdict]").get_attribute("data-verdict") == "stop"
    assert "ball" in odile.tablet.page.locator(".causes").inner_text()
    radius_mm = odile.mill.mill.ball_radius_nm / 1e6
    shown = odile.tablet.page.locator(".sums .total .figures").inner_text()
    assert float(shown.split()[0].replace("−", "-").removesuffix("mm")) == pytest.approx(-radius_mm, abs=0.1)
    assert not odile.tablet.offers("keep")


def test_a_value_past_the_ask_line_is_kept_once_a_question_is_put_and_the_lead_sees_it(
    odile: Operator, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    lines = usual(odile, "X")
    odile.walk(until="x.touch")
    between_nm = (lines["ask_nm"] + lines["stop_nm"]) // 2
    odile.enter_value(odile.mill.text(lines["centre_nm"] - between_nm))
    tablet = odile.tablet
    assert tablet.page.locator("[data-verdict]").get_attribute("data-verdict") == "ask"
    assert not tablet.offers("keep")
    tablet.tap("put-question")
    tablet.page.fill("#question", "Colder than ever in here. Is that why?")
    tablet.tap("put-question")
    tablet.tap("keep")
    assert tablet.step == "y.over"
    assert tablet.events_of("touch.kept")[-1]["data"] == {"axis": "X", "because": "question"}
    tablet.all_sent()
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    assert "Colder than ever in here. Is that why?" in desk.open("/desk")


@pytest.mark.parametrize(("decision", "offered"), [("go_on", "keep"), ("break_off", "break-off")])
def test_a_stop_goes_on_only_with_the_leads_answer_which_arrives_by_itself(
    decision: str,
    offered: str,
    odile: Operator,
    demo: Demo,
    server: Server,
    new_context: Callable[..., BrowserContext],
) -> None:
    odile.mill.mistakes["X"] = [Mistake(chip_nm=900_000)]
    odile.walk(until="x.compare")
    odile.read_again()
    tablet = odile.tablet
    tablet.tap("put-question")
    tablet.tap("common-question")
    assert tablet.step == "x.compare"
    assert not tablet.offers("keep")
    tablet.all_sent()
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    desk.answer("Odile Farrow", decision, "A plate was left on the jaw; I have seen it.")
    assert not tablet.offers("keep")
    tablet.sync()
    tablet.page.locator(".bottom .go").and_(tablet.page.locator(f'[data-action="{offered}"]')).wait_for()
    assert "A plate was left on the jaw; I have seen it." in tablet.text()
    tablet.tap(offered)
    assert tablet.step == ("y.over" if decision == "go_on" else "stow.up")


def test_breaking_off_with_the_probe_in_the_spindle_takes_one_press_and_ends_with_the_probe_stowed(
    odile: Operator, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    odile.walk(until="z.over")
    tablet = odile.tablet
    tablet.tap("break-off")
    assert tablet.step == "stow.up"
    assert tablet.offers("break-undo")
    odile.walk(until="sign.review")
    tablet.tap("break-reason", "vise")
    odile.walk()
    tablet.all_sent()
    tablet.page.wait_for_selector('[data-signature="verified"]')
    row = demo.newest_setup("odile")
    assert (row["outcome"], row["status"], row["probe_in_spindle"]) == ("broken_off", "signed", False)
    desk = Desk(new_context(java_script_enabled=False).new_page(), server.address)
    desk.sign_in("mara", demo.people["mara"])
    said = desk.open(f"/desk/setups/{row['id']}")
    assert "At “Z at the top: wheel over the mark on the jaw”" in said
    assert "Something about the vise".lower() in said.lower()


def test_a_break_pressed_by_mistake_is_taken_back(odile: Operator) -> None:
    odile.walk(until="z.over")
    odile.tablet.tap("break-off")
    odile.tablet.tap("break-undo")
    assert odile.tablet.step == "z.over"


def test_a_value_that_is_no_length_is_refused_beside_the_field_with_what_was_typed(odile: Operator) -> None:
    odile.walk(until="x.touch")
    tablet = odile.tablet
    field = tablet.page.locator('[data-entry="X"]')
    said = {}
    for typed in ("", "abc", "1.2.3", "1,2.3", "--5", "1e5", "-413.33112", "-2000", "-16.2737", "413.331"):
        field.fill(typed)
        tablet.settled()
        tablet.page.wait_for_timeout(350)
        tablet.find("go").click()
        said[typed] = tablet.page.locator("#refused .notice").inner_text()
        assert tablet.step == "x.touch"
        assert field.input_value() == typed
    assert all(said.values())
    assert len(set(said.values())) >= 6
    assert [one["data"]["axis"] for one in tablet.events_of("touch.entered")] == ["Z"]


def test_a_wrong_tool_number_and_a_slot_that_changed_are_asked_about(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="probe.load")
    tablet.enter("7")
    assert tablet.step == "probe.load"
    assert "You typed 7. That is not the tool asked for." in tablet.text()
    assert "30" not in tablet.text(), "the step gives nothing away"
    odile.walk(until="copy.values")
    shown = odile.mill.shown()
    for text in (shown["X"], shown["Y"], "-12.345"):
        tablet.enter(text)
    assert tablet.step == "copy.values"
    assert "These are not the values that were last seen in G55." in tablet.text()
    tablet.tap("go")
    assert tablet.step == "clear.values"
    assert tablet.events_of("values.copied")[-1]["data"]["compared"]["Z"] == "changed"
    tablet.tap("another-value")
    for text in ("0", "0", "-0.5"):
        tablet.enter(text)
    assert tablet.step == "clear.values"
    assert "Not zero yet: Z." in tablet.text()


def test_the_next_setup_in_a_slot_that_was_left_half_set_says_so(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="y.touch")
    tablet.tap("break-off")
    odile.walk(until="sign.review")
    tablet.tap("break-reason", "vise")
    odile.walk()
    tablet.all_sent()
    tablet.tap("another")
    tablet.sync()
    for _ in range(100):
        if next(one for one in tablet.sheet("plover")["slots"] if one["label"] == "G55")["missing_axes"]:
            break
        tablet.page.wait_for_timeout(200)
    tablet.begin("plover", "odile")
    odile.walk(until="ready.board")
    assert "G55: not all values set. Run no program with it." in tablet.text()
    odile.walk(until="probe.modes")
    assert "G55 has no value for X, Y, Z." in tablet.text()
    assert tablet.page.locator(".half-mark").first.is_visible()
