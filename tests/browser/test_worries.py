"""A worry holds for the next person: at once on the same tablet, on every other with the next sheet."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now
from tests.kit.looking import faults, look
from tests.kit.tablet import Operator, Tablet
from webapp.services.setups import answering, worrying

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


def test_what_is_seen_at_the_signature_still_holds_for_the_next_person_and_reaches_the_lead(
    odile: Operator, demo: Demo
) -> None:
    """The probe is back in the magazine, and only now somebody sees that its stylus is bent."""
    tablet = odile.tablet
    tablet.tap("off")
    tablet.tap("break-off")
    tablet.tap("break-reason", "practice")
    odile.walk(until="sign.name")
    tablet.tap("off")
    tablet.tap("worry", "probe_looks_wrong")
    assert "Nobody uses this probe again until the lead has looked at it." in tablet.text()
    tablet.tap("put-question")
    tablet.tap("common-question", "unsure")
    tablet.tap("hold")
    assert (tablet.screen, tablet.step) == ("step", "sign.name"), "no way leads back into the moves"
    odile.walk()
    tablet.tap("another")
    assert "Not with this probe before the lead has looked." in ready(tablet, "plover", "tariq")
    assert not tablet.offers("begin")
    tablet.all_sent()
    with demo.opened() as (store, _):
        (worry,) = [one for one in worrying.open_worries(store) if one.row.kind == "probe_looks_wrong"]
        assert (worry.row.about, worry.row.blocks) == ("probe", True)
        asked = [one["text"] for one in answering.questions(store) if one["setup"] == worry.row.setup]
    assert asked == ["I am not sure that I did this step right."]


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
