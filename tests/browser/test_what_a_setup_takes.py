"""What a clean setup of three axes asks of a person: taps, keys, screens, words; on the metric mill of the demo.

Before the vise was prepared first and the ball raised between touches, the same way took 38 taps (41 with the choice of
machine and person and a list of its own), 75 keys, 30 screens and 2,939 words: the words of then are the limit of now.
"""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.chromium import PORTRAIT
from tests.kit.counting import CountingTablet, counted_walk
from tests.kit.demo import Demo
from tests.kit.server import Server
from tests.kit.tablet import Operator

MOST_TAPS, MOST_KEYS = 40, 60
WORDS_BEFORE = 2_939


def ready(new_context: Callable[..., BrowserContext], server: Server, demo: Demo, person: str) -> Operator:
    """Somebody in front of a tablet that stands ready to begin at Plover."""
    tablet = CountingTablet(new_context(PORTRAIT).new_page(), server.address)
    tablet.enrol(demo.code())
    found = [row for row in tablet.rows("sheets") if row["machine"] == "plover"]
    tablet.tap("machine", max(found, key=lambda row: row["got_at_utc"])["hash"])
    tablet.tap("person", person)
    return Operator(tablet, demo.mill("plover"), demo.slot("plover", person), demo.people[person].pin)


def test_a_clean_setup_takes_no_more_than_was_promised(
    new_context: Callable[..., BrowserContext], server: Server, demo: Demo
) -> None:
    hand = ready(new_context, server, demo, "odile")
    assert isinstance(hand.tablet, CountingTablet)
    counted = counted_walk(hand.tablet, hand)
    assert hand.tablet.screen == "after"
    assert counted.taps <= MOST_TAPS, counted
    assert counted.keys <= MOST_KEYS, counted
    assert counted.all_words <= WORDS_BEFORE, counted.words
    kinds = {row["payload"]["type"] for row in hand.tablet.events()}
    assert {"checks.ticked", "touch.kept", "slot.cleared", "setup.signed"} <= kinds
    touches = hand.tablet.events_of("touch.kept")
    assert [one["data"] for one in touches] == [{"axis": axis, "because": "agrees"} for axis in "ZXY"]
