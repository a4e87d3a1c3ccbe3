"""What setups are found by follows from what was signed and decided, in both databases."""

from __future__ import annotations

import pytest

from tests.kit.house import House
from tests.kit.walk import CENTRES
from tests.services.test_worrying import raised
from webapp.services.audit import derived
from webapp.services.setups import answering, finding
from webapp.services.setups.listing import Wanted, setups


def found(house: House, **asked: str) -> set[str]:
    return {one.row["id"] for one in setups(house.store, Wanted(**asked)).rows}


def listed(house: House) -> dict[str, list[tuple[object, ...]]]:
    """All rows of what setups are found by."""
    with house.store.reading():
        return {
            table: house.store._database.raw(f"SELECT * FROM {table} ORDER BY setup")  # noqa: S608
            for table in ("setup_term", "setup_words", "setup_to_find")
        }


def forget(house: House) -> None:
    """As a shop is right after the step that made the lists."""
    with house.store.writing():
        for table in ("setup_term", "setup_words"):
            house.store._database.raw(f"DELETE FROM {table}")  # noqa: S608
        house.store._database.raw("INSERT INTO setup_to_find SELECT id FROM setup")


def test_a_setup_is_found_by_its_slot_its_verdicts_its_worries_and_every_word_that_was_said(
    house: House,
) -> None:
    plain, fell = house.signed(), raised(house, "fell", "probe", "Über den Boden gerollt")
    house.clock.forward(minutes=1)
    house.sign_off(plain.setup, note="Looked at the Nut myself.")
    (row,) = setups(house.store, Wanted(worry="fell")).rows
    assert row.row["id"] == fell.setup
    for asked, wanted in (
        ({"worry": "fell"}, {fell.setup}),
        ({"words": "boden"}, {fell.setup}),
        ({"words": "UBER DEN"}, {fell.setup}),
        ({"words": "the nut"}, {plain.setup}),
        ({"slot": (row.slot or "").lower()}, {plain.setup, fell.setup}),
        ({"slot": "G59.3"}, set()),
        ({"verdict": "ask"}, {plain.setup}),
        ({"verdict": "stop"}, set()),
        ({"words": "boden", "verdict": "stop"}, set()),
    ):
        assert found(house, **asked) == wanted, asked


def test_a_cause_that_was_named_finds_its_setup(house: House) -> None:
    for _ in range(4):
        house.signed_off()
        house.clock.forward(minutes=30)
    wrong = house.walk().start().until("touch", "X")
    assert CENTRES["X"] == -381_250_000
    wrong.touch(-318_250_000)
    house.accept(wrong.parts)
    assert found(house, cause="swapped") == {wrong.setup}
    assert found(house, verdict="stop") == {wrong.setup}
    assert wrong.setup not in found(house, verdict="agrees")


def test_setups_from_before_the_list_are_looked_at_and_give_the_same_rows(house: House) -> None:
    house.signed_off()
    raised(house, "fell", "probe", "On the floor.")
    before = listed(house)
    forget(house)
    assert list(derived.misfits(house.store)) == [], "what waits to be looked at is no fault"
    assert finding.look_at_earlier_setups(house.store) == 2
    assert listed(house) == before
    assert finding.look_at_earlier_setups(house.store) == 0


@pytest.mark.parametrize(
    "edit",
    [
        "DELETE FROM setup_term WHERE term LIKE 'slot:%'",
        "UPDATE setup_term SET term = 'slot:G99' WHERE term LIKE 'slot:%'",
        "UPDATE setup_words SET words = 'nothing was said'",
        "UPDATE setup_term SET started_at_utc = '2020-01-01T00:00:00.000Z'",
        "DELETE FROM setup_words",
    ],
)
def test_the_audit_names_a_setup_that_is_found_by_something_else(house: House, edit: str) -> None:
    walk = house.signed_off(note="Looked at.")
    with house.store.writing():
        house.store._database.raw(edit)
    assert [one.record for one in derived.misfits(house.store)] == [
        f"setup {walk.setup}, what it is found by"
    ]


def test_an_answer_adds_its_words_and_a_setup_that_goes_on_moves_nothing(house: House) -> None:
    asked = house.walk().start()
    asked.question(1, None, "Is this vise the right one?")
    house.accept(asked.parts)
    (question,) = answering.questions(house.store)
    answering.answer(house.store, question["id"], "ines", "go_on", "It is the left-hand one.", house.clock())
    assert found(house, words="left-hand") == found(house, words="right one") == {asked.setup}
