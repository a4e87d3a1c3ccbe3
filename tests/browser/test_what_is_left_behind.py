"""What the tablet says of depth, of a slot that changed, and of a slot that is left half set."""

from __future__ import annotations

from collections.abc import Callable

from tests.kit.chromium import SIZES
from tests.kit.demo import AXES, Demo
from tests.kit.looking import look
from tests.kit.tablet import Operator, Tablet


def operator(new_tablet: Callable[..., Tablet], demo: Demo, machine: str, person: str) -> Operator:
    tablet = new_tablet()
    tablet.begin(machine, person)
    return Operator(tablet, demo.mill(machine), demo.slot(machine, person), demo.people[person].pin)


def test_a_search_says_how_deep_the_ball_goes_in_the_machines_own_unit(
    new_tablet: Callable[..., Tablet], demo: Demo
) -> None:
    hand = operator(new_tablet, demo, "plover", "odile")
    hand.walk(until="z.search")
    assert "above the top, ≥ 4.0 mm from its edges." in hand.tablet.text()
    assert "below the top" not in hand.tablet.text()
    assert look(hand.tablet.page, "a search", SIZES) == []
    hand.walk(until="x.over")
    assert "machine X from" in hand.tablet.text()
    hand.walk(until="x.lower")
    # By hand: edge break 0.5 + radius 3 + 3 below the edge, give or take 1;
    # radius 3 + 1 from the other edges.
    assert "5.5 to 7.5 mm below the top, ≥ 4.0 mm from other edges" in hand.tablet.text()
    hand.walk(until="y.over")
    hand.tablet.tap("look-again")
    assert hand.tablet.offers("correct"), "a value that agrees may be touched again"
    hand.tablet.tap("back")
    hand.tablet.tap("off")
    assert hand.tablet.offers("put-question"), "and may be asked about"


def test_three_values_that_changed_since_fit_above_the_keys(
    new_tablet: Callable[..., Tablet], demo: Demo
) -> None:
    hand = operator(new_tablet, demo, "dunlin", "ilse")
    hand.walk(until="copy.values")
    seen = hand.mill.shown()
    for axis in AXES:
        hand.tablet.enter(f"-{abs(float(seen[axis])) - 1:.4f}")
    said = hand.tablet.page.locator(".notice.ask").inner_text()
    assert "These are not the values that were last seen in W4." in said
    assert look(hand.tablet.page, "three that changed", SIZES) == []


def test_a_setup_broken_off_after_the_copy_says_that_the_slot_may_be_half_set(
    new_tablet: Callable[..., Tablet], demo: Demo
) -> None:
    hand = operator(new_tablet, demo, "plover", "odile")
    hand.walk(until="y.search")
    hand.tablet.tap("break-off")
    hand.walk(until="sign.review")
    hand.tablet.tap("break-reason", "vise")
    said = hand.tablet.page.locator(".notice.stop").inner_text()
    assert "G55 stands at zero. Run no program with it until somebody sets it up again." in said
    assert look(hand.tablet.page, "a slot half set", SIZES) == []
    hand.walk()
    assert hand.tablet.screen == "after"
    assert "G55 stands at zero." in hand.tablet.text()


def test_a_setup_broken_off_before_anything_was_copied_warns_of_no_slot(
    new_tablet: Callable[..., Tablet], demo: Demo
) -> None:
    hand = operator(new_tablet, demo, "plover", "odile")
    hand.walk(until="copy.values")
    hand.tablet.tap("break-off")
    hand.walk(until="sign.review")
    hand.tablet.tap("break-reason", "vise")
    assert "whole setup" not in hand.tablet.text()
