"""What a clean setup of three axes asks of a person:
taps, keys, screens, words; on the metric mill of the demo.

Before the vise was prepared first and the ball raised between touches, the same way took 38 taps (41 with the
choice of machine and person and a list of its own), 75 keys, 30 screens and 2,939 words: the words of then
are the limit of now.
"""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.chromium import PORTRAIT
from tests.kit.counting import CountingTablet, counted_walk
from tests.kit.demo import Demo
from tests.kit.server import Server
from tests.kit.tablet import Operator

MOST_TAPS, MOST_TAPS_THIS_SHIFT, MOST_KEYS = 40, 35, 60
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


def test_where_the_cautions_were_acknowledged_this_shift_it_takes_fewer_taps(
    new_context: Callable[..., BrowserContext], server: Server, demo: Demo
) -> None:
    hand = ready(new_context, server, demo, "tariq")
    tablet = hand.tablet
    assert isinstance(tablet, CountingTablet)
    tablet.tap("begin")
    hand.walk(until="ready.board")
    read = [one["data"]["caution"] for one in tablet.events_of("caution.read")]
    assert read == ["machine", "stop", "probe"]
    hand.walk()
    tablet.tap("another")
    tablet.begin("plover", "tariq", begin=False)
    counted = counted_walk(tablet, hand)
    carried = tablet.events_of("caution.carried")
    assert [one["data"]["caution"] for one in carried] == read
    assert len(tablet.events_of("caution.read")) == len(read), "nothing was acknowledged a second time"
    assert counted.taps <= MOST_TAPS_THIS_SHIFT, counted
    assert counted.keys <= MOST_KEYS, counted


def test_whom_the_lead_does_not_allow_it_acknowledges_every_caution_again(
    new_context: Callable[..., BrowserContext], server: Server, demo: Demo
) -> None:
    hand = ready(new_context, server, demo, "odile")
    tablet = hand.tablet
    for _ in range(2):
        tablet.tap("begin")
        assert tablet.step == "ready.machine"
        hand.walk(until="ready.board")
        hand.end_for_practice()
        tablet.tap("another")
        tablet.begin("plover", "odile", begin=False)
    assert len(tablet.events_of("caution.read")) == 6
