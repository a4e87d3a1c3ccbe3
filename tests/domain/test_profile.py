"""A machine gets its own words: what its profile says changes the steps of its sheet.
Common practice, no source.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from tests.rules.example_shop import MILL_MM, PARKED_MILL, VISE, example_sheet
from webapp.domain.procedure.profile import CONDITIONS, PRACTISED, MachineProfile
from webapp.domain.procedure.rules import MOST_WORDS_TO_DO
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.shop.fields import ShopFieldError, as_plain, from_plain
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.shop_file import ShopFileError, read_shop


def steps(fixture: Any = VISE, **profile: Any) -> dict[str, dict[str, Any]]:
    """The steps of the sheet of a mill with this profile, by id."""
    sheet = example_sheet(machine=replace(MILL_MM, **profile), fixture=fixture)
    stages = json.loads(sheet.text)["procedure"]["stages"]
    return {step["id"]: step for stage in stages for step in stage["steps"]}


def texts(found: dict[str, dict[str, Any]]) -> str:
    return json.dumps(found, ensure_ascii=False)


def test_a_machine_that_says_nothing_has_a_door_an_arm_and_a_wheel() -> None:
    found = steps()
    assert len(found) == 34
    assert found["probe.load"]["do"] == "Call the probe; type the tool number that the control shows."
    assert "wheel" in found["x.lower"]["do"]
    assert found["probe.modes"]["machine_state"] == "Door closed, no hand inside. Axes still."


def test_a_machine_without_a_changer_gets_a_hand_and_a_board_under_it() -> None:
    found = steps(changer="by_hand")
    assert found["probe.load"]["do"].startswith("Put the probe in by hand")
    assert found["probe.load"]["look_for"].startswith("A board under it.")
    assert found["probe.load"]["hands"]
    assert found["stow.away"]["hands"]
    assert "magazine" not in texts(
        {name: found[name] for name in ("stow.away", "stow.gone")} | {"why": {}}
    ).replace(found["stow.away"]["why"], "")
    assert "Changer" not in found["vise.bare"]["look_for"]


def test_a_machine_without_a_door_is_never_told_to_close_one() -> None:
    found = steps(door="none")
    for step in found.values():
        own = [step[name] for name in ("do", "look_for", "if_not", "machine_state")]
        assert "door closed" not in " ".join(own).lower(), step["id"]
    assert found["x.touch"]["machine_state"].startswith("No door here: stand back, hands off the table.")
    row_again = json.loads(example_sheet(machine=replace(MILL_MM, door="none")).text)["row_to_zero"]
    assert row_again["machine_state"].startswith("No door here: stand back, hands off the table.")


def test_a_machine_with_stepped_keys_only_hears_of_no_wheel() -> None:
    assert "wheel" not in texts(steps(hand_wheel=False))
    assert "in single steps" in steps(hand_wheel=False)["x.lower"]["do"]


@pytest.mark.parametrize("profile", [{"fixed_search_nm": 5_000_000}, {"feeds_typed": False}])
def test_a_control_with_its_own_range_and_feed_is_not_told_to_set_them(profile: dict[str, Any]) -> None:
    found = steps(**profile)
    assert found["x.search"]["do"] == "Set search X+; the control has range and feed."
    assert "range" not in found["z.search"]["look_for"].lower()


def test_other_options_of_a_profile_change_what_they_are_about() -> None:
    assert "A hand at reset." in steps(probing_stop="reset")["x.touch"]["machine_state"]
    assert steps(guarded_lowering=True)["x.lower"]["do"].endswith("lower by the guarded move.")
    assert "cannot see this face" in steps(clamping_face_hidden=True)["y.lower"]["look_for"]
    assert "cannot see this face" not in steps(clamping_face_hidden=True)["x.lower"]["look_for"]
    lines = [check["id"] for check in steps(single_block=True, warm_up=True)["ready.state"]["checks"]]
    assert lines == ["homed", "coolant", "overrides", "single_block", "warm_up"]
    assert "length" not in [one["id"] for one in steps(probe_length_repeats=False)["probe.modes"]["checks"]]
    assert "by a slow turn" in steps(probe_switching="slow_turn")["ready.probe"]["look_for"]
    assert "never turns" not in steps(probe_switching="slow_turn")["ready.probe"]["look_for"]


def test_the_shops_own_sentences_stand_where_they_belong() -> None:
    found = steps(
        kept_from_starting="The key hangs at your belt.",
        probe_rule="Ours is switched on by M19 S50.",
        input_shown="It is the lamp P on the page of signals.",
        slot_shown="It stands at the top left.",
    )
    assert "The key hangs at your belt." in found["vise.wipe"]["machine_state"]
    assert found["ready.probe"]["look_for"].endswith("Ours is switched on by M19 S50.")
    assert found["probe.input"]["look_for"].endswith("It is the lamp P on the page of signals.")
    assert found["slot.own"]["look_for"].endswith("It stands at the top left.")


@pytest.mark.parametrize(
    ("axis", "direction", "side"),
    [("Y", -1, "back"), ("Y", 1, "front"), ("X", 1, "left"), ("X", -1, "right")],
)
def test_the_jaw_that_stands_still_is_the_fixtures_fixed_one(axis: str, direction: int, side: str) -> None:
    """A clamping face looks at the moving jaw:
    facing -Y, towards the operator, it belongs to the jaw at the back.
    """
    faces = (replace(VISE.faces[2]),)
    fixture = replace(VISE, clamping_axis=axis, clamping_direction=direction, faces=faces, sides_first=False)
    choices = steps(fixture)["vise.open"]["choices"]
    assert [choice["id"] for choice in choices if choice["closes"]] == [side]
    assert {choice["id"] for choice in choices} == {"back", "front", "left", "right", "both"}


def test_a_self_centring_vise_has_no_fixed_jaw_and_is_refused() -> None:
    with pytest.raises(ShopFieldError) as refused:
        replace(VISE, self_centring=True)
    assert refused.value.fields["expected_code"] == "expected.fixed_jaw"


@pytest.mark.parametrize(
    "wrong",
    [
        {"door": "curtain"},
        {"changer": "robot"},
        {"slot_written": "luck"},
        {"probing_stop": "shouting"},
        {"probe_switching": "prayer"},
        {"reset_drops": ("tool",)},
        {"input_age_minutes": 0},
        {"input_age_minutes": 61},
        {"fixed_search_nm": 0},
        {"hand_wheel": 1},
        {"kept_from_starting": "{lead}"},
        {"slot_shown": "x" * 201},
    ],
)
def test_a_profile_that_cannot_be_is_refused_by_its_field(wrong: dict[str, Any]) -> None:
    with pytest.raises(ShopFieldError) as refused:
        replace(MILL_MM, **wrong)
    assert refused.value.fields["field"] == next(iter(wrong))


def test_a_machine_from_before_profiles_is_read_with_what_is_common() -> None:
    plain = as_plain(MILL_MM)
    for name in MachineProfile.__dataclass_fields__:
        del plain[name]
    assert from_plain(Machine, plain) == MILL_MM


def test_whoever_may_acknowledge_once_a_shift_has_to_be_somebody_of_the_shop() -> None:
    text = '[shop]\nname = "A"\nlead = "B"\ncautions_once_a_shift = ["nobody"]\n'
    with pytest.raises(ShopFileError) as refused:
        read_shop(text)
    assert "shop_file.unknown_name" in [fault.code for fault in refused.value.faults]


def test_every_condition_of_the_shipped_procedure_is_one_that_some_machine_meets() -> None:
    used = {one.when for step in SHIPPED.steps for one in (*step.variants, *step.checks)}
    used |= {step.when for step in SHIPPED.steps}
    assert used - {"", PRACTISED} <= CONDITIONS


def test_no_words_of_another_machine_are_longer_than_a_step_may_be() -> None:
    for profile in (
        {"changer": "by_hand"},
        {"door": "none"},
        {"hand_wheel": False},
        {"guarded_lowering": True},
    ):
        for step in steps(**profile).values():
            assert len(step["do"].split()) <= MOST_WORDS_TO_DO, step["id"]


def test_where_rows_are_parked_the_words_say_the_value_and_not_zero() -> None:
    found = steps(z_zero_at_top=False, parked_z_nm=-50_000_000)
    assert found["clear.values"]["do"] == "Set X and Y of this row to zero, Z to \u221250.000 mm."
    assert found["clear.values"]["action"] == "All three read so"
    sheet = json.loads(example_sheet(machine=PARKED_MILL).text)
    assert sheet["machine"]["parked_nm"] == {"X": 0, "Y": 0, "Z": -50_000_000}
    assert sheet["row_to_zero"]["do"] == "Select your own slot; X and Y to zero, Z to \u221250.000 mm."
    assert "zeros" not in sheet["row_to_zero"]["look_for"] + sheet["row_to_zero"]["why"]
    assert steps()["clear.values"]["do"] == "Set X, Y and Z of this row alone to zero."
