"""A row that is changed with a note that fits is held against what the events and entries say, both ways."""

from __future__ import annotations

from typing import Any

import pytest

from tests.kit.house import House
from webapp.services.audit.auditing import audit
from webapp.services.people import rights

OTHER_NM = {"X": -111_000_000, "Y": -52_000_000, "Z": -10_000_000}


def found(house: House) -> list[str]:
    return [f"{one.code} {one.record}" for one in audit(house.store)]


def forge(house: House, statement: str, *values: object) -> None:
    """Change a row through the program's own connection, which notes it."""
    with house.store.writing():
        house.store._database.raw(statement, values)


def other_values(house: House) -> Any:
    """A setup that finds other values in its slot than the one before it left there."""
    house.signed_off()
    house.clock.forward(minutes=5)
    walk = house.walk()
    walk.answers.control.row_nm = lambda _: dict(OTHER_NM)  # type: ignore[method-assign]
    walk.start().until("clear")
    house.accept(walk.parts)
    return walk


@pytest.fixture
def used(house: House) -> Any:
    return other_values(house)


def slot_says(house: House) -> str | None:
    with house.store.reading():
        row = house.store.shop.slot("mill-1", "G54")
    assert row
    return row["used_otherwise"]


def test_that_others_used_a_slot_can_be_neither_hidden_nor_invented(house: House, used: Any) -> None:
    assert slot_says(house) == used.setup
    assert found(house) == []
    forge(house, "UPDATE slot SET used_otherwise = NULL WHERE label = 'G54' AND machine = 'mill-1'")
    assert found(house) == ["audit.derived slot mill-1 G54"]
    forge(house, "UPDATE slot SET used_otherwise = ? WHERE label = 'G54' AND machine = 'mill-1'", "another")
    assert found(house) == ["audit.derived slot mill-1 G54"]


def test_a_slot_that_nobody_saw_was_used_by_nobody(house: House) -> None:
    forge(house, "UPDATE slot SET used_otherwise = 'a setup' WHERE label = 'G57' AND machine = 'mill-1'")
    assert found(house) == ["audit.derived slot mill-1 G57"]


def test_who_gave_a_right_is_who_the_ledger_says(house: House) -> None:
    rights.authorise(house.store, "ivo", "mill-2", None, "ines", house.clock(), "alone")
    assert found(house) == []
    for by in ("mara", None):
        for person in ("ivo", "tomas"):
            forge(house, "UPDATE authorisation SET given_by = ? WHERE person = ?", by, person)
        assert len(found(house)) >= 3, by
        assert {one.split(" ")[1] for one in found(house)} == {"authorisation"}


def test_a_name_in_the_account_itself_could_not_be_erased_and_is_found(house: House) -> None:
    forge(house, "UPDATE person SET name = 'Somebody' WHERE id = 'mara'")
    assert found(house) == ["audit.not_as_said person mara"]


def test_both_kinds_of_rights_are_as_the_ledger_says(house: House) -> None:
    rights.authorise(house.store, "ivo", "mill-2", None, "ines", house.clock(), "beside", "Course 4")
    rights.withdraw(house.store, "ivo", "mill-1", "Moved away.", "ines", house.clock())
    assert found(house) == []
