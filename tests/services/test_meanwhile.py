"""A tablet that was out of reach during a change: what was done is kept, and a lead sees both sides."""

from __future__ import annotations

import pytest

from tests.kit.house import House
from tests.kit.shop import PINS
from tests.kit.walk import Walk
from webapp.services.decisions import signing_off
from webapp.services.decisions.meanwhile import Difference
from webapp.services.people import accounts, rights


def begun(house: House) -> Walk:
    """A setup on a tablet that is out of reach from here on."""
    walk = house.walk().start()
    house.clock.forward(minutes=2)
    return walk


def came(house: House, walk: Walk) -> tuple[Difference, ...]:
    """It is done to its end, and then all of it comes."""
    walk.until("sign").sign(PINS["mara"], house.keyring)
    receipts = house.accept(walk.parts)
    assert {one["outcome"] for one in receipts} == {"accepted"}, "what was done meanwhile is kept"
    found = signing_off.detail(house.store, walk.setup)["meanwhile"]
    (queued,) = signing_off.queue(house.store)
    marked = [one.fields["count"] for one in queued["oddities"] if one.code == "oddity.changed_meanwhile"]
    assert marked == ([len(found)] if found else [])
    return found


def sides(found: tuple[Difference, ...]) -> list[tuple[str, str, str]]:
    return [(one.about, one.then.code.partition(".")[2], one.now.code.partition(".")[2]) for one in found]


def withdraw(house: House) -> None:
    rights.withdraw(house.store, "mara", "mill-1", "The course is over.", "ines", house.clock())


def bolt_anew(house: House) -> None:
    with house.store.writing():
        house.store.shop.start_seating("vise-a-2", "vise-a", house.clock.text, "Bolted down anew.")


def give_to_tomas(house: House) -> None:
    with house.store.writing():
        house.store.shop.put_slot("mill-1", "G54", "person", "tomas", None)


def test_nothing_stands_there_where_nothing_changed(house: House) -> None:
    assert came(house, begun(house)) == ()


def test_a_slot_that_was_given_to_somebody_else_meanwhile(house: House) -> None:
    walk = begun(house)
    give_to_tomas(house)
    (one,) = came(house, walk)
    assert (one.about, one.then.who, one.now.who) == ("slot", "mara", "tomas")


def test_a_right_that_was_withdrawn_meanwhile(house: House) -> None:
    walk = begun(house)
    withdraw(house)
    at_utc = house.clock.text
    (one,) = came(house, walk)
    assert sides((one,)) == [("right", "right_alone", "right_withdrawn")]
    assert one.now.at_utc == at_utc


def test_a_person_who_was_taken_out_of_use_meanwhile(house: House) -> None:
    walk = begun(house)
    accounts.disable_person(house.store, "mara", "Left the shop.", "ines", house.clock())
    assert ("account", "in_use", "disabled") in sides(came(house, walk))


def test_a_vise_that_was_moved_meanwhile(house: House) -> None:
    walk = begun(house)
    bolt_anew(house)
    (one,) = came(house, walk)
    assert sides((one,)) == [("seating", "seated", "moved")]
    assert one.now.fields == {"reason": "Bolted down anew."}


@pytest.mark.parametrize("change", [withdraw, bolt_anew])
def test_what_changed_after_a_setup_was_over_is_not_held_against_it(house: House, change: object) -> None:
    walk = house.signed()
    house.clock.forward(minutes=30)
    assert callable(change)
    change(house)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()


def test_a_setup_that_is_decided_about_says_nothing_of_what_came_later(house: House) -> None:
    walk = house.signed_off()
    give_to_tomas(house)
    assert signing_off.detail(house.store, walk.setup)["meanwhile"] == ()
