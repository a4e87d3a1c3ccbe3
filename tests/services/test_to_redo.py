"""A lead's word about a setup that is finished already:
the slot is to be set again, and everybody reads it.
"""

import json
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import PASSPHRASES, PINS
from tests.kit.walk import Walk
from webapp.services.decisions import signing_off
from webapp.services.errors import DecisionUnknown
from webapp.services.setups import answering
from webapp.services.setups.board import board


def finished(house: House, axis: str | None) -> tuple[Walk, str]:
    """A setup that was finished and signed with a question open, and that question."""
    walk = house.walk().start()
    question = walk.question(1, axis)
    walk.until("sign").sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    return walk, question


def told(house: House) -> Any:
    """What the machine's next sheet says is to be done again."""
    return json.loads(house.sheet()[1])["board"]["redo"]


def test_touch_again_after_the_end_marks_the_slot_on_board_and_next_sheet(house: House) -> None:
    walk, question = finished(house, "X")
    answering.answer(house.store, question, "ines", "touch_again", "Wipe the jaw.", house.clock())
    (slot,) = told(house)
    assert (slot["label"], slot["person"], slot["why"], slot["axis"]) == ("G54", "mara", "touch_again", "X")
    assert (slot["reason"], slot["by_name"]) == ("Wipe the jaw.", "Ines Varga")
    (seen,) = board(house.store, house.clock())[0]["to_redo"]
    assert seen.label == "G54"
    assert signing_off.detail(house.store, walk.setup)["state"]["redo"]["axis"] == "X"


def test_whoever_sets_the_slot_anew_takes_the_mark_away(house: House) -> None:
    _, question = finished(house, None)
    answering.answer(house.store, question, "ines", "redo", "Other jaws.", house.clock())
    assert [slot["why"] for slot in told(house)] == ["redo"]
    house.clock.forward(minutes=5)
    house.signed()
    assert told(house) == []


def test_a_setup_that_was_not_accepted_reaches_the_next_sheet_with_its_reason(house: House) -> None:
    walk = house.signed()
    seen = house.seen(walk.setup)
    signing_off.not_accept(
        house.store,
        walk.setup,
        "ines",
        PASSPHRASES["ines"],
        "The moving jaw.",
        house.clock(),
        seen=seen,
    )
    assert [(slot["why"], slot["reason"]) for slot in told(house)] == [("not_accepted", "The moving jaw.")]


def test_a_sign_off_takes_it_back(house: House) -> None:
    walk, question = finished(house, "X")
    answering.answer(house.store, question, "ines", "touch_again", "Wipe the jaw.", house.clock())
    house.sign_off(walk.setup)
    assert told(house) == []


def test_a_question_about_the_whole_setup_has_its_own_answers_and_a_finished_setup_others(
    house: House,
) -> None:
    assert answering.decisions_for("X", "running") == ("go_on", "touch_again", "break_off")
    assert answering.decisions_for(None, "running") == ("go_on", "break_off")
    assert answering.decisions_for("X", "signed") == ("go_on", "touch_again")
    assert answering.decisions_for(None, "finished") == ("go_on", "redo")
    _, question = finished(house, None)
    for decision in ("touch_again", "break_off"):
        with pytest.raises(DecisionUnknown):
            answering.answer(house.store, question, "ines", decision, "No.", house.clock())
