"""A worry holds for the next person: at once on the same tablet, on every other with the next sheet."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now
from tests.kit.looking import faults, look
from tests.kit.tablet import Operator, Tablet
from webapp.services.setups import worrying

WORDS = "The ball ran into the jaw."


def hit(odile: Operator) -> None:
    """Something was hit on the way to the jaw: said in words, broken off, stowed, signed."""
    tablet = odile.tablet
    odile.walk(until="x.search")
    tablet.tap("off")
    tablet.tap("worry", "hit_something")
    tablet.page.locator('[data-words="worry"]').fill(WORDS)
    tablet.tap("note")
    assert "Nobody uses this probe again" in tablet.text()
    tablet.tap("break-off")
    odile.walk(until="sign.review")
    tablet.tap("break-reason", "probe")
    odile.walk()


def ready(tablet: Tablet, machine: str, person: str) -> str:
    """What stands before this person begins at this machine."""
    found = [row for row in tablet.rows("sheets") if row["machine"] == machine]
    tablet.tap("machine", max(found, key=lambda row: row["got_at_utc"])["hash"])
    tablet.tap("person", person)
    return tablet.text()


def test_without_a_network_the_next_person_at_this_tablet_reads_it_and_cannot_begin(odile: Operator) -> None:
    tablet = odile.tablet
    tablet.page.context.set_offline(True)
    hit(odile)
    tablet.tap("another")
    text = ready(tablet, "plover", "tariq")
    assert WORDS in text
    assert not tablet.offers("begin")
    tablet.reload()
    assert WORDS in ready(tablet, "plover", "tariq")
    assert not tablet.offers("begin")


def test_another_tablet_reads_it_on_its_next_sheet_until_the_lead_closes_it(
    odile: Operator, new_context: Callable[..., BrowserContext], demo: Demo
) -> None:
    hit(odile)
    odile.tablet.all_sent()
    other = Tablet(new_context().new_page(), odile.tablet.address)
    other.enrol(demo.code(code="ANOTHERONE"))
    text = ready(other, "plover", "tariq")
    assert WORDS in text
    assert "Something was off" in text
    assert "Not with this probe before" in text
    assert not other.offers("begin")
    assert look(other.page, "worry", SIZES) + faults(other.page, "worry") == []
    with demo.opened() as (store, _):
        (one,) = worrying.open_worries(store)
        worrying.close(store, one.row.event, "mara", "checked", "Runs true on the ring.", now())
    for tablet in (other, odile.tablet):
        tablet.tap("back" if tablet is other else "another")
        if tablet is other:
            tablet.tap("back")
        tablet.tap("holds")
        tablet.tap("fetch")
        tablet.tap("back")
        assert WORDS not in ready(tablet, "plover", "tariq")
        assert tablet.offers("begin")
