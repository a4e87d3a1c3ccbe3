"""Slots that a setup left half set:
on the register, on the board and on the next sheet, until they are set whole.
"""

import json
from typing import Any

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PINS
from webapp.services.setups.board import board
from webapp.services.setups.half_set import half_set_slots


def half_set(house: House) -> dict[str, tuple[str, ...]]:
    with house.store.reading():
        return half_set_slots(house.store, "mill-1", house.clock())


def on_sheet(house: House, label: str) -> list[str]:
    slots: list[dict[str, Any]] = json.loads(house.sheet()[1])["slots"]
    return next(slot["missing_axes"] for slot in slots if slot["label"] == label)


def broken_off(house: House) -> str:
    """A setup that is broken off after its first axis; its slot."""
    walk = house.walk().start().until("touch", "Y")
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.event("break.explained", {"reason": "out_of_time", "text": ""}, walk.step["id"])
    house.accept(walk.parts)
    slot: str = walk.fold.result()["slot"]
    house.clock.forward(hours=3)
    return slot


def test_a_slot_whose_setup_was_broken_off_is_half_set_everywhere(house: House) -> None:
    slot = broken_off(house)
    assert half_set(house) == {slot: ("Y", "Z")}
    assert on_sheet(house, slot) == ["Y", "Z"]
    assert next(one for one in board(house.store, house.clock()) if one["machine"] == "mill-1")[
        "half_set"
    ] == {slot: ("Y", "Z")}


def test_a_setup_that_was_heard_of_lately_is_setting_its_slot(house: House) -> None:
    walk = house.walk().start().until("touch", "Y")
    house.accept(walk.parts)
    assert half_set(house) == {}
    house.clock.forward(hours=3)
    assert half_set(house) == {walk.fold.result()["slot"]: ("Y", "Z")}, "nothing was heard of it since"


def test_the_next_whole_setup_in_the_slot_takes_the_mark_away(house: House) -> None:
    slot = broken_off(house)
    house.signed()
    assert half_set(house) == {}
    assert on_sheet(house, slot) == []


def test_an_older_whole_setup_that_is_sent_late_from_another_tablet_leaves_the_mark(house: House) -> None:
    other = Device(4711, "Other")
    other.enrol(house.store, house.keyring, house.clock, code="ABCDE23456")
    early = house.walk(device=other).through()
    early.sign(PINS["mara"], house.keyring)
    house.clock.forward(hours=2)
    slot = broken_off(house)
    house.accept(early.parts)
    assert early.fold.result()["slot"] == slot
    assert half_set(house) == {slot: ("Y", "Z")}
    house.clock.forward(minutes=1)
    later = house.walk(device=other).through()
    later.sign(PINS["mara"], house.keyring)
    house.accept(later.parts)
    assert half_set(house) == {}, "its sheet was compiled after the slot was left"
