"""A past value beside where its seating lies: refused, asked about, or neither."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.history_doubts import Whereabouts, doubt_of_unit, doubt_of_value, middle_nm
from webapp.words import say

MM, INCH = Display(Unit.MM, 3), Display(Unit.INCH, 4)
ABOUT = Whereabouts(-381_250_000, 30_000, kept=True)
TRAVEL = {"X": (-762_000_000, 0), "Y": (-406_000_000, 0), "Z": (-508_000_000, 0)}


@pytest.mark.parametrize(
    ("value_nm", "code", "refused"),
    [
        (-381_250_000, None, None),
        (-381_280_000, None, None),
        (-381_281_000, "history.far_kept", False),
        (381_250_000, "history.far_kept", False),
        # -381.250 mm is -15.0098 in, written as mm with three decimals.
        (-15_010_000, "history.other_unit_kept", True),
        (-9_683_750_000, "history.other_unit_kept", True),
        (-15_100_000, "history.far_kept", False),
    ],
)
def test_a_value_is_held_against_its_seating(value_nm: int, code: str | None, refused: bool | None) -> None:
    found = doubt_of_value("X", value_nm, ABOUT, MM)
    assert (found and found.reason.code, found and found.refused) == (code, refused)
    if found is not None:
        assert "−381.250 mm" in say(found.reason.code, found.reason.fields)


def test_what_stands_on_the_table_alone_says_so() -> None:
    about = Whereabouts(-381_250_000, 500_000, kept=False)
    codes = [doubt_of_value("X", value, about, MM) for value in (-15_010_000, -390_000_000)]
    assert [one.reason.code for one in codes if one] == ["history.other_unit_table", "history.far_table"]
    assert all(say(one.reason.code, one.reason.fields) for one in codes if one)


@given(st.integers(-700_000, -30_000), st.sampled_from([MM, INCH]))
def test_a_rounded_number_of_the_other_unit_is_seen_wherever_the_seating_lies(
    steps: int, display: Display
) -> None:
    centre_nm = steps * 1_000 // display.resolution_nm * display.resolution_nm
    other = display.other
    typed = round(centre_nm / other.resolution_nm)
    about = Whereabouts(centre_nm, 20_000, kept=True)
    value_nm = typed * other.resolution_nm * display.unit.nm // other.unit.nm
    found = doubt_of_value("X", value_nm, about, display)
    assert found is not None
    assert found.refused


@pytest.mark.parametrize(
    ("values_nm", "is_asked"),
    [
        ({"X": -15_010_000, "Y": -6_000_000, "Z": -11_813_000}, True),
        ({"X": -15_010_000, "Y": -152_400_000}, False),
        ({"X": -15_010_000}, False),
        ({"X": -15_010_000, "Y": 0}, False),
        ({"X": -381_250_000, "Y": -152_400_000}, False),
    ],
)
def test_a_seating_without_a_past_is_asked_about_its_unit(values_nm: dict[str, int], is_asked: bool) -> None:
    found = doubt_of_unit(values_nm, TRAVEL, MM)
    assert (found is not None) == is_asked
    if found is not None:
        assert not found.refused
        assert "inches" in say(found.reason.code, found.reason.fields)


def test_the_middle_stays_with_the_greater_half() -> None:
    assert middle_nm([-381_250_000, -15_010_000, -381_251_000]) == -381_250_000
    assert middle_nm([5]) == 5
