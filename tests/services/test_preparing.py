"""Sheets are compiled from what is stored, kept, and used again while nothing on them changes."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.kept import kept_values
from tests.kit.shop import SHOP
from webapp.domain.plain.json_strict import canonical_text
from webapp.services.errors import NoSuchMachine
from webapp.services.evidence.ledger import change
from webapp.services.numbers import seatings
from webapp.services.people import accounts, rights
from webapp.services.setups.board import board
from webapp.services.sheets import cause_material, preparing
from webapp.services.shop import slots
from webapp.store.repositories.kept_values import WITH_VALUES_AT


def usual(house: House, axis: str = "X", machine: str = "mill-1") -> Any:
    sheet = json.loads(house.sheet(machine)[1])
    return next(one["usual"] for one in sheet["axes"] if one["axis"] == axis)


def test_the_same_sheet_is_handed_out_while_nothing_changes(house: House) -> None:
    first = house.sheet()
    house.clock.forward(hours=5)
    assert house.sheet() == first


def test_a_sheet_past_half_its_life_is_replaced(house: House) -> None:
    first = house.sheet()
    house.clock.forward(hours=6, minutes=1)
    second = house.sheet()
    assert second[0] != first[0]
    assert json.loads(second[1])["expires_at_utc"] > json.loads(first[1])["expires_at_utc"]


def test_a_change_that_is_not_on_the_sheet_keeps_it(house: House) -> None:
    first = house.sheet()
    house.clock.forward(minutes=2)
    rights.authorise(house.store, "tomas", "mill-2", None, "ines", house.clock(), "alone")
    assert house.sheet() == first


def test_a_change_on_the_sheet_makes_another_at_once(house: House) -> None:
    first = house.sheet()
    slots.give_slot(house.store, "mill-1", "G57", "ines", None, "ines", house.clock())
    second = house.sheet()
    assert second[0] != first[0]
    owners = {slot["label"]: slot["owner_id"] for slot in json.loads(second[1])["slots"]}
    assert owners["G57"] == "ines"


def test_every_sheet_handed_out_is_kept(house: House) -> None:
    first = house.sheet()
    slots.give_slot(house.store, "mill-1", "G57", "ines", None, "ines", house.clock())
    second = house.sheet()
    with house.store.reading():
        assert [house.store.sheets.sheet(sheet[0])["text"] for sheet in (first, second)] == [
            first[1],
            second[1],
        ]


def causes(house: House, axis: str = "X") -> dict[str, Any]:
    """The causes of an axis that the sheet carries, the last of each code."""
    sheet = json.loads(house.sheet()[1])
    part = next(one["causes"] for one in sheet["axes"] if one["axis"] == axis)
    return {one["code"]: one for one in part["candidates"]}


def test_a_sheet_carries_what_causes_are_named_from_and_it_is_the_same_while_nothing_changes(
    house: House,
) -> None:
    house.signed_off()
    first = house.sheet()
    found = causes(house, "Y")
    assert {"cause.ball_left_out", "cause.moving_jaw", "cause.axes_exchanged"} <= found.keys()
    assert found["cause.ball_left_out"]["low_nm"] == -152_400_000 - 2_996_000
    house.clock.forward(minutes=2)
    assert house.sheet() == first
    assert len(canonical_text(json.loads(first[1])["axes"][0]["causes"])) < 5_000


def test_without_a_usual_a_sheet_still_names_what_was_not_probed(house: House) -> None:
    assert causes(house).keys() == {"cause.zero_left"}


def test_what_the_shop_states_about_the_vise_reaches_the_sheet(house: House) -> None:
    house.signed_off()
    with house.store.writing():
        value = house.store.shop.item("fixture", "vise-a")
        value |= {"parallels_nm": [12_000_000], "moving_jaw_thickness_nm": 30_000_000}
        house.store.shop.put("fixture", "vise-a", value)
        change(house.store, "fixture.changed", "ines", "vise-a", None, {}, house.clock())
    assert causes(house, "Z")["cause.parallel_on_jaw"]["low_nm"] == -300_050_000 + 12_000_000
    assert "cause.moving_jaw_outside" in causes(house, "Y")


def touch_moved(house: House, person: str) -> None:
    """Somebody touches X on a vise that was pushed by 0.8 mm, and comes no further than the stop."""
    moved = {"X": -380_450_000, "Y": -152_400_000, "Z": -300_050_000}
    house.accept(house.walk(person, values_nm=moved).start().until("compare", "X").parts)


def test_touches_of_two_people_off_to_one_side_tell_that_the_vise_was_moved_before_anything_is_accepted(
    house: House,
) -> None:
    house.signed_off()
    touch_moved(house, "ivo")
    assert "cause.vise_moved" not in causes(house)
    house.clock.forward(hours=1)
    touch_moved(house, "tomas")
    found = causes(house)["cause.vise_moved"]
    assert (found["low_nm"], found["fields"]["people"]) == (-380_450_000, 2)
    assert "shift" not in found["fields"]  # no sentence says a number that would fit
    assert "cause.vise_moved" not in causes(house, "Y")


def test_touches_of_an_earlier_seating_say_nothing_about_this_one_and_its_place_is_known(
    house: House,
) -> None:
    house.signed_off()
    for person in ("ivo", "tomas"):
        touch_moved(house, person)
    house.clock.forward(minutes=1)
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved for a long part.", "ines", house.clock())
    with house.store.reading():
        assert cause_material.recent_touches(house.store, "mill-1", "vise-a") == {}
    found = causes(house)
    assert "cause.vise_moved" not in found
    assert found["cause.other_seating"]["low_nm"] == -381_250_000


def test_accepted_values_become_the_usual_of_the_next_sheet(house: House) -> None:
    assert usual(house)["centre_nm"] is None
    house.signed_off()
    assert (usual(house)["centre_nm"], usual(house)["values"]) == (-381_250_000, 1)


def test_a_value_that_the_lead_leaves_out_no_longer_counts_until_it_is_taken_in(house: House) -> None:
    house.signed_off()
    walk = house.signed_off(values_nm={"X": -381_240_000, "Y": -152_400_000, "Z": -300_050_000})
    assert usual(house)["values"] == 2
    seatings.leave_out(house.store, walk.setup, "X", "A chip lay there.", "ines", house.clock())
    assert (usual(house)["values"], usual(house, "Y")["values"]) == (1, 2)
    seatings.take_in(house.store, walk.setup, "X", "It did not.", "ines", house.clock())
    assert usual(house)["values"] == 2


def test_a_new_seating_starts_the_usual_again(house: House) -> None:
    house.signed_off()
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved for a long part.", "ines", house.clock())
    assert (usual(house)["values"], usual(house)["centre_nm"]) == (0, None)


def test_a_value_measured_before_the_vise_was_moved_stays_with_its_own_seating(house: House) -> None:
    walk = house.signed()
    seatings.start_seating(house.store, "vise-a", "vise-a-2", "Moved.", "ines", house.clock())
    house.sign_off(walk.setup)
    with house.store.reading():
        assert {row["seating"] for row in kept_values(house.store, "vise-a")} == {"vise-a-1"}
    assert usual(house)["values"] == 0


def test_people_whose_authorisation_ended_are_not_on_the_sheet(house: House) -> None:
    def people() -> Any:
        return {person["id"] for person in json.loads(house.sheet()[1])["people"]}

    assert people() == {"mara", "tomas", "ivo"}
    house.clock.forward(hours=13)
    assert people() == {"mara", "tomas"}
    accounts.disable_person(house.store, "mara", "Left.", "ines", house.clock())
    assert people() == {"tomas"}


def test_the_board_says_how_the_last_setup_left_the_machine(house: House) -> None:
    def state() -> Any:
        return next(row["state"] for row in board(house.store, house.clock()) if row["machine"] == "mill-1")

    assert state() == "unknown"
    walk = house.walk().start().until("slot")
    house.accept(walk.parts)
    assert state() == "in_use"
    house.clock.forward(hours=3)
    assert state() == "probe_in_spindle"
    assert json.loads(house.sheet()[1])["board"]["state"] == "probe_in_spindle"
    sent = len(walk.parts)
    walk.until("sign")
    house.accept(walk.parts[sent:])
    assert state() == "clear"


def test_an_unknown_machine_is_said_to_be_unknown(house: House) -> None:
    with pytest.raises(NoSuchMachine):
        preparing.current_sheet(house.store, "mill-9", house.clock())


def test_a_machine_whose_sheet_cannot_be_made_is_listed_with_the_reason(house: House) -> None:
    with house.store.writing():
        house.store.shop.retire("probe", "probe-1")
    found = preparing.current_sheets(house.store, house.clock())
    assert [(row["hash"], row["error"]["code"]) for row in found] == [
        (None, "services.sheet_cannot_be_made")
    ] * 2


def practised(house: House) -> list[str]:
    return [one["id"] for one in json.loads(house.sheet()[1])["people"] if one["practised"]]


def test_who_is_practised_is_the_leads_word_and_a_setup_signed_off_at_this_fixture(tmp_path: Path) -> None:
    rules = replace(SHOP.rules, cautions_once_a_shift=("mara", "tomas"))
    house = House(tmp_path, shop=replace(SHOP, rules=rules))
    assert practised(house) == []
    house.signed("mara")
    assert practised(house) == [], "nobody has looked at it yet"
    house.clock.forward(minutes=1)
    with house.store.reading():
        (row,) = house.store.setups.setups()
    house.sign_off(row["id"])
    assert practised(house) == ["mara"], "the sheet follows the sign-off"
    house.signed_off("ivo")
    assert practised(house) == ["mara"], "the lead counts him as a beginner"
    with house.store.writing():
        for axis in "XYZ":
            house.store.kept.leave_out(row["id"], axis, "The wrong jaw.")
    assert practised(house) == [], "none of their values counts"
    other = json.loads(house.sheet("mill-2")[1])
    assert not any(one["practised"] for one in other["people"]), "the first time at another vise"
    house.store.close()


def test_who_is_practised_is_read_from_each_persons_setups_and_not_from_all_values(house: House) -> None:
    with house.store.reading():
        rows = house.store.setups._among(f"EXPLAIN QUERY PLAN {WITH_VALUES_AT}", ("[]", "vise-a"))
    plan = " / ".join(row[3] for row in rows)
    assert "SEARCH setup USING COVERING INDEX setup_begun_by (person=?)" in plan
    assert "SEARCH kept_value USING PRIMARY KEY (setup=?)" in plan
