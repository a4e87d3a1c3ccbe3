"""Wrong person, wrong PIN, the shift's end: a tablet is never stuck on somebody's setup."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.demo import Demo
from tests.kit.desk import Desk
from tests.kit.server import Server
from tests.kit.tablet import Operator, Tablet, operator


def desk_board(server: Server, new_context: Callable[..., BrowserContext]) -> str:
    """What everybody on the shop's network can read of how the machines were left."""
    return Desk(new_context(java_script_enabled=False).new_page(), server.address).open("/")


def test_before_anything_was_done_a_setup_is_left_and_leaves_nothing_on_the_board(
    tablet: Tablet, demo: Demo, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    tablet.begin("plover", "odile")
    tablet.tap("leave")
    assert tablet.screen == "machines"
    assert tablet.events_of("setup.left")
    tablet.all_sent()
    assert demo.newest_setup("odile")["status"] == "left"
    assert "In use by Odile" not in desk_board(server, new_context)
    tablet.begin("plover", "tariq")
    assert tablet.step == "ready.machine"


def test_an_unsigned_setup_waits_on_its_tablet_for_its_signer_and_the_board_says_where(
    odile: Operator, server: Server, new_context: Callable[..., BrowserContext]
) -> None:
    tablet = odile.tablet
    odile.walk(until="sign.name")
    tablet.tap("off")
    assert not tablet.offers("break-off")
    tablet.tap("leave-unsigned")
    assert tablet.screen == "machines"
    tablet.all_sent()
    said = desk_board(server, new_context)
    assert "Odile Farrow has not signed a setup yet. It waits on the tablet “Tablet under test”" in said
    tablet.page.context.set_offline(True)
    tablet.begin("plover", "tariq")
    tablet.tap("leave")
    tablet.reload()
    tablet.tap("sign-waiting")
    assert tablet.step == "sign.name"
    odile.close("sign")
    tablet.page.context.set_offline(False)
    tablet.all_sent()
    tablet.page.wait_for_selector('[data-signature="verified"]')
    tablet.tap("another")
    assert not tablet.offers("sign-waiting")


def test_a_wrong_pin_says_how_many_tries_are_left(odile: Operator) -> None:
    tablet = odile.tablet
    odile.walk(until="sign.name")
    tablet.page.fill("#pin", "935724")
    tablet.tap("go")
    tablet.sync()
    tablet.page.get_by_text("3 tries are left before it has to wait.").wait_for(timeout=60_000)


def test_handing_over_in_the_middle_ends_at_a_stow_and_the_next_person_begins_anew_also_offline(
    odile: Operator, demo: Demo
) -> None:
    """With the network it is walked where every screen is looked at (test_every_screen_fits)."""
    tablet = odile.tablet
    tablet.page.context.set_offline(True)
    for _, kind in odile.steps():
        if kind == "touch":
            break
    tablet.tap("off")
    tablet.tap("hand-over")
    tablet.tap("hand-to", "tariq")
    assert tablet.step == "stow.up"
    odile.walk()
    tablet.tap("begin-next")
    assert "Tariq" in tablet.text()
    tablet.tap("begin")
    taken = tablet.events_of("setup.taken_over")[-1]
    assert taken["data"]["from_person"] == "odile"
    assert taken["person"] == "tariq"
    operator(tablet, demo, person="tariq").walk(until="slot.own")
    assert tablet.events_of("setup.handed_over")[-1]["data"] == {"to": "tariq"}
    tablet.page.context.set_offline(False)
    tablet.all_sent()
    assert demo.newest_setup("odile")["status"] == "signed"
