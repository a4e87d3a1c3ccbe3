"""The screens that come where something is off at the mill, one after the other in two setups.

For whoever looks at all of them, a person with pictures or a test: `seen` is called with a name at each.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.kit.demo import AXES, Demo
from tests.kit.tablet import Operator, Tablet, operator

Seen = Callable[[str], None]
STOP_NM = 900_000


def all_screens(tablet: Tablet, demo: Demo, seen: Seen) -> None:
    """Odile ends as not usable and leaves it unsigned; Tariq hits something and hands over."""
    tablet.begin("plover", "odile")
    odile = operator(tablet, demo)
    seen("first step, may be left")
    _load_and_copy(odile, seen)
    _hold(odile, seen)
    _stops(odile, demo, seen)
    _not_usable(odile, seen)
    _unsigned(odile, seen)
    _worry_and_hand_over(tablet, demo, seen)


def _load_and_copy(hand: Operator, seen: Seen) -> None:
    tablet = hand.tablet
    hand.walk(until="probe.load")
    tablet.enter("7")
    seen("tool read off, another number")
    hand.walk(until="copy.values")
    rows = tablet.sheet("plover")["slots"]
    other = next(
        row for row in rows if row["label"] != hand.slot and any((row["last_values_nm"] or {}).values())
    )
    for axis in AXES:
        tablet.enter(hand.mill.text(other["last_values_nm"][axis]))
    seen("copied values are another row's, whose label")
    tablet.type(str(other["label"]))
    tablet.tap("label")
    seen("copied values are another row's, back at the slot")
    hand.walk(until="clear.values")
    tablet.tap("another-value")
    seen("clear, another value")
    hand.mill.mill.park_selected()
    hand.close("clear")
    tablet.tap("off")
    tablet.tap("put-back")
    seen("put back, with which lead")
    tablet.tap("lead", "mara")
    seen("put back, which label")
    tablet.tap("back")
    if tablet.screen != "step":
        tablet.tap("back")


def _hold(hand: Operator, seen: Seen) -> None:
    tablet = hand.tablet
    hand.walk(until="z.touch")
    tablet.tap("hold")
    seen("I pressed hold")
    for trouble in ("held", "wrong_way"):
        tablet.tap("trouble", trouble)
        seen(f"hold, {trouble}")
        tablet.tap("back")
        if not tablet.offers("trouble"):
            tablet.tap("hold")
    tablet.tap("trouble", "nothing_found")
    seen("hold, does the ball lean")
    tablet.tap("leans", "nothing_found")
    seen("hold, nothing found")
    tablet.tap("trouble-met")
    hand.walk(until="z.touch")
    tablet.tap("off")
    seen("something is off")
    tablet.tap("trouble")
    seen("off, it stopped")
    tablet.tap("trouble", "alarm")
    seen("off, alarm")
    tablet.page.locator('[data-action="reset"]').check()
    tablet.page.wait_for_timeout(350)
    tablet.tap("trouble-met")
    hand.walk(until="slot.own")
    seen("label again after a reset")


def _type_touch(hand: Operator) -> None:
    axis = hand.tablet.page.locator("[data-entry]").get_attribute("data-entry") or ""
    usual = next(one["usual"] for one in hand.tablet.sheet("plover")["axes"] if one["axis"] == axis)
    hand.typed = hand.mill.text(usual["centre_nm"] + STOP_NM)
    hand.tablet.enter(hand.typed)


def _stops(hand: Operator, demo: Demo, seen: Seen) -> None:
    tablet = hand.tablet
    hand.walk(until="z.touch")
    _type_touch(hand)
    seen("read it again")
    hand.close("compare")
    seen("a stop, touch again once")
    tablet.tap("touch-again")
    hand.walk(until="z.touch")
    _type_touch(hand)
    hand.close("compare")
    seen("a second stop")
    tablet.tap("lift")
    seen("lift, which lead")
    tablet.tap("lead", "mara")
    seen("lift, what the lead decides")
    tablet.tap("decision", "go_on")
    tablet.page.fill("#pin", "935724")
    tablet.tap_here("lift-check")
    tablet.page.get_by_text("The server says that the PIN was wrong").wait_for()
    seen("lift, a wrong PIN")
    for _ in range(3):
        if tablet.screen == "step":
            break
        tablet.tap("back")
    assert demo.people


def _not_usable(hand: Operator, seen: Seen) -> None:
    tablet = hand.tablet
    tablet.tap("give-up")
    seen("given up, at the stow")
    hand.walk(until="stow.row")
    seen("row again, its label")
    tablet.enter("G56")
    for text in ("0", "0", "0"):
        tablet.enter(text)
    seen("row again, another's label")
    hand.walk(until="sign.review")
    seen("review, not usable")


def _unsigned(hand: Operator, seen: Seen) -> None:
    tablet = hand.tablet
    hand.walk(until="sign.name")
    tablet.tap("off")
    seen("off at the signature")
    tablet.tap("leave-unsigned")
    seen("machines, one waits for its signer")
    tablet.tap("sign-waiting")
    hand.close("sign")
    seen("after, not usable")
    tablet.all_sent()
    tablet.tap("another")


def _worry_and_hand_over(tablet: Tablet, demo: Demo, seen: Seen) -> None:
    tablet.begin("plover", "tariq")
    tariq = operator(tablet, demo, person="tariq")
    tariq.walk(until="x.over")
    seen("raised and over")
    tariq.walk(until="x.lower")
    seen("lower")
    tariq.walk(until="y.over")
    tablet.tap("look-again")
    seen("a value that agreed, looked at again")
    tablet.tap("back")
    tablet.tap("off")
    tablet.tap("worry", "hit_something")
    seen("a worry, its words")
    tablet.page.locator('[data-words="worry"]').fill("The ball ran into the jaw while I was lowering.")
    tablet.tap("note")
    seen("a worry, noted")
    tablet.tap("worry-more")
    seen("off, once more")
    tablet.tap("back")
    tablet.tap("off")
    tablet.tap("back")
    tablet.tap("off")
    tablet.tap("hand-over")
    seen("hand over, to whom")
    tablet.tap("hand-to", "odile")
    seen("handed over, at the stow")
    tariq.walk(until="sign.review")
    seen("review, handed over")
    tariq.walk()
    seen("after, handed over")
    tablet.tap("begin-next")
    seen("the next person, before an open worry")
