"""What the tablet asks before it takes an odd value,
and what it names as likely once one is taken; offline too.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now
from tests.kit.looking import faults, look
from tests.kit.tablet import Operator, Tablet
from webapp.demo.mill import Mistake
from webapp.services.numbers import seatings

# As the demo's shop file states it for the probe in Plover.
EFFECTIVE_RADIUS_NM = 2_996_000


def usual_of(hand: Operator, axis: str) -> dict[str, int]:
    return next(one["usual"] for one in hand.tablet.sheet("plover")["axes"] if one["axis"] == axis)


def named(tablet: Tablet) -> list[str]:
    """The causes that are named, in order."""
    return [one.get_attribute("data-cause") or "" for one in tablet.page.locator("[data-cause]").all()]


def touched(tablet: Tablet) -> list[dict[str, Any]]:
    return [one["data"] for one in tablet.events_of("touch.entered")]


def with_digits_swapped(hand: Operator, axis: str) -> tuple[str, str]:
    """The usual's centre of an axis, and the same with its first two digits swapped."""
    right = hand.mill.text(usual_of(hand, axis)["centre_nm"])
    return right, f"-{right[2]}{right[1]}{right[3:]}"


def test_a_value_one_slip_away_is_read_again_and_no_screen_shows_the_one_that_fits(odile: Operator) -> None:
    odile.walk(until="x.touch")
    tablet, (right, swapped) = odile.tablet, with_digits_swapped(odile, "X")
    odile.typed = swapped
    tablet.enter(swapped)
    assert (tablet.step, tablet.kind) == ("x.compare", "compare")
    assert tablet.page.locator("[data-entry]").input_value() == ""
    assert right.lstrip("-") not in tablet.text()
    odile.read_again()
    taken = next(one for one in touched(tablet) if one["axis"] == "X")
    assert (taken["typed"].replace("−", "-"), taken["verdict"]) == (swapped, "stop")
    assert "cause.swapped" in named(tablet)
    assert right.lstrip("-") not in tablet.text()


def test_a_value_that_agrees_is_taken_without_a_question(odile: Operator) -> None:
    odile.walk(until="x.touch")
    odile.tablet.enter(odile.mill.text(usual_of(odile, "X")["centre_nm"]))
    assert odile.tablet.step == "y.over", "what agrees has no screen of its own"
    assert touched(odile.tablet)[-1]["verdict"] == "agrees"


def test_a_ball_left_out_is_named_first_with_what_to_check_and_without_the_number_that_would_fit_also_offline(
    odile: Operator,
) -> None:
    odile.mill.mistakes["X"] = [Mistake(ball_left_out=True)]
    odile.walk(until="x.search")
    tablet = odile.tablet
    tablet.page.context.set_offline(True)
    odile.walk(until="x.compare")
    odile.read_again()
    assert named(tablet)[0] == "cause.ball_left_out"
    first = tablet.page.locator("[data-cause]").first.inner_text()
    centre_nm = usual_of(odile, "X")["centre_nm"]
    shown = tablet.page.locator(".causes").first.inner_text()
    for nm in (centre_nm, centre_nm - EFFECTIVE_RADIUS_NM):
        assert odile.mill.text(nm).strip("-") not in shown
    assert "Look at whether the probing cycle added the ball's radius" in first


def test_the_moving_jaw_is_named_on_y_and_both_touches_are_kept(odile: Operator) -> None:
    odile.mill.mistakes["Y"] = [Mistake(moving_jaw=True)]
    odile.walk(until="y.compare")
    odile.read_again()
    tablet = odile.tablet
    assert named(tablet)[0] == "cause.moving_jaw"
    tablet.tap("touch-again")
    odile.walk(until="stow.up")
    assert [(one["axis"], one["verdict"]) for one in touched(tablet)] == [
        ("Z", "agrees"),
        ("X", "agrees"),
        ("Y", "stop"),
        ("Y", "agrees"),
    ]


def test_two_causes_that_give_the_same_are_both_named_and_told_to_be_alike(odile: Operator) -> None:
    odile.walk(until="copy.values")
    shown, tablet = odile.mill.shown(), odile.tablet
    for text in ("0", shown["Y"], shown["Z"]):
        tablet.enter(text)
    tablet.tap("go")  # the register saw something else there
    odile.walk(until="x.touch")
    odile.enter_value("0")
    assert set(named(tablet)) == {"cause.zero_left", "cause.old_value", "cause.work_coordinates"}
    assert "These give the same value." in tablet.text()


def test_without_a_usual_what_was_not_probed_is_still_named(
    demo: Demo, new_tablet: Callable[..., Tablet]
) -> None:
    with demo.opened() as (store, _):
        seatings.start_seating(
            store, "plover-vise", "plover-vise-9", "Moved for a long plate.", "mara", now()
        )
    tablet = new_tablet()
    tablet.begin("plover", "odile")
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    hand.walk(until="x.touch")
    hand.enter_value("0")
    assert "cause.zero_left" in named(tablet)
    tablet.tap("touch-again")
    hand.walk(until="x.compare")
    hand.read_again()
    expected = {"cause.other_seating", "cause.other_slot"}
    assert set(named(tablet)) == expected, (
        "the vise was not moved at all, and other rows hold its old place too"
    )


def test_the_question_and_the_causes_fit_and_can_be_read(tablet: Tablet, demo: Demo) -> None:
    tablet.begin("plover", "odile")
    hand = Operator(tablet, demo.mill("plover"), demo.slot("plover", "odile"), "")
    hand.walk(until="copy.values")
    for text in ("0", hand.mill.shown()["Y"], hand.mill.shown()["Z"]):
        tablet.enter(text)
    tablet.tap("go")
    hand.walk(until="x.touch")
    tablet.page.context.set_offline(True)  # the quiet line is at its longest then
    tablet.enter(with_digits_swapped(hand, "X")[1])
    wrong = look(tablet.page, "a second reading", SIZES) + faults(tablet.page, "a second reading")
    hand.typed = "0"
    hand.read_again()
    assert len(named(tablet)) == 3
    wrong += look(tablet.page, "causes", SIZES) + faults(tablet.page, "causes")
    for size in ("phone", "landscape"):
        wrong += look(tablet.page, f"causes on {size}", {size: SIZES[size]})
        if size == "phone":
            tablet.page.locator("[data-cause] summary").first.click()
            wrong += look(tablet.page, "a cause unfolded", {size: SIZES[size]})
    assert wrong == [], "\n".join(map(str, wrong))
