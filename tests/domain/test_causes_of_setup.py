"""What is named for the touches of a whole setup:
with what was touched before, the own slot, and the old value.
"""

from __future__ import annotations

from typing import Any

from tests.record.made_up import USUAL_NM, made_sheet
from webapp.domain.causes.facts import Candidate
from webapp.domain.causes.of_setup import causes_of_touch

FAR_NM = -90_002_000


def touch(axis: str, value_nm: int, verdict: str = "stop", *, kept: bool = False) -> dict[str, Any]:
    difference_nm = value_nm - USUAL_NM[axis]
    return {
        "axis": axis,
        "value_nm": value_nm,
        "verdict": verdict,
        "difference_nm": difference_nm,
        "kept": kept,
    }


def state_of(
    *touches: dict[str, Any], slot: str = "G56", copied: dict[str, int] | None = None
) -> dict[str, Any]:
    return {"touches": touches, "slot": slot, "copied": None if copied is None else {"values_nm": copied}}


def sheet_with(axis: str, *more: Candidate) -> dict[str, Any]:
    sheet = made_sheet()
    part = next(one for one in sheet["axes"] if one["axis"] == axis)["causes"]
    part["candidates"] = [*part["candidates"], *(one.as_dict() for one in more)]
    return sheet


def codes(sheet: dict[str, Any], state: dict[str, Any], place: int = 0) -> list[str] | None:
    found = causes_of_touch(sheet, state, place)
    return None if found is None else [one.code for one in found]


def test_a_touch_that_agrees_has_nothing_to_be_explained() -> None:
    assert codes(made_sheet(), state_of(touch("X", USUAL_NM["X"], "agrees"))) is None


def test_an_earlier_axis_counts_with_its_last_touch_though_it_was_not_kept() -> None:
    exchanged = Candidate(
        "cause.axes_exchanged",
        USUAL_NM["X"],
        USUAL_NM["X"],
        12_000,
        {"axis": "Y", "other": "X"},
        beside=(("X", USUAL_NM["Y"], 12_000),),
    )
    sheet = sheet_with("Y", exchanged)
    first, last = touch("X", USUAL_NM["X"], "agrees"), touch("X", USUAL_NM["Y"])
    y = touch("Y", USUAL_NM["X"])
    assert codes(sheet, state_of(first, last, y), 2) == ["cause.axes_exchanged"]
    assert codes(sheet, state_of(last, first, y), 2) == []
    assert codes(sheet, state_of(first, y, last), 1) == [], "what came later says nothing"


def test_the_own_slot_is_no_other_slot_and_its_old_value_is_known() -> None:
    others = [Candidate("cause.other_slot", FAR_NM, FAR_NM, 289, {"slot": label}) for label in ("G55", "G56")]
    sheet = sheet_with("X", *others)
    odd = touch("X", FAR_NM)
    found = causes_of_touch(sheet, state_of(odd), 0)
    assert found is not None
    assert [one.says["fields"] for one in found] == [{"slot": "G55"}]
    copied = {"X": FAR_NM, "Y": 0, "Z": 0}
    assert set(codes(sheet, state_of(odd, copied=copied)) or ()) == {"cause.other_slot", "cause.old_value"}


def test_each_cause_carries_its_arithmetic() -> None:
    odd = touch("X", USUAL_NM["X"] - 3_000_000 + 7_000)
    found = causes_of_touch(made_sheet(), state_of(odd), 0)
    assert found is not None
    ball = found[0]
    assert (ball.code, ball.off_nm, ball.uncertainty_nm) == ("cause.ball_left_out", 7_000, 12_000)
    assert ball.gives["fields"]["low"] == "−416.331"
    slips = [one for one in found if one.code == "cause.digit"]
    assert [one.uncertainty_nm for one in slips] == [None]


def test_a_first_value_without_a_usual_names_only_what_was_not_probed() -> None:
    sheet = made_sheet()
    sheet["axes"][0]["usual"] |= {"centre_nm": None, "ask_nm": None, "stop_nm": None}
    sheet["axes"][0]["causes"] |= {"chance_nm": None}
    first = touch("X", 0, "ask") | {"difference_nm": None}
    assert codes(sheet, state_of(first)) == ["cause.zero_left"]
    assert codes(sheet, state_of(first | {"value_nm": -5_000_000})) is None


def test_a_sheet_from_before_causes_explains_nothing() -> None:
    sheet = made_sheet()
    del sheet["axes"][0]["causes"]
    assert codes(sheet, state_of(touch("X", FAR_NM))) is None
