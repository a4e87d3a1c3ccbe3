"""What is compared with the sheet's plain data gives what the arithmetic gives with its own values."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.rules.example_shop import MILL_MM, SLOTS, sheet_value, usual_of
from webapp.domain.plain.axes import Axis
from webapp.domain.plain.length_errors import LengthBeyondTravelError
from webapp.domain.touch.compare import (
    compared_on_sheet,
    rows_with_values,
    same_tool,
    slot_length_nm,
    slot_on_sheet,
    touch_length_nm,
    verdict_on,
)
from webapp.domain.usual.usual import verdict

sheet_of = cache(sheet_value)


@given(st.integers(-120, 120), st.booleans())
def test_the_verdict_on_a_sheet_is_the_verdict_on_the_usual(steps: int, known: bool) -> None:
    usual = usual_of(MILL_MM, "X", known=known)
    on_sheet = sheet_of("mm" if known else "no_usual")["axes"][0]["usual"]
    value = -381_250_000 + steps * 1_000
    found, difference = verdict_on(value, on_sheet)
    assert found == verdict(value, usual)
    assert difference == (steps * 1_000 if known else None)


@example(500)
@example(-500)
@example(501)
@given(st.integers(-3_000, 3_000))
def test_a_copied_value_is_the_same_up_to_half_a_step_of_the_display(off: int) -> None:
    last = SLOTS[0].last_values_nm
    assert last is not None
    values = {axis.value: value + off for axis, value in last.items()}
    on_sheet = compared_on_sheet(values, "G54", sheet_of("mm"))
    is_same = 2 * abs(off) <= MILL_MM.display.resolution_nm  # half a step of the display is still the same
    assert on_sheet == dict.fromkeys(values, "same" if is_same else "changed")


@pytest.mark.parametrize(("off", "found"), [(500, ["G54"]), (-500, ["G54"]), (501, []), (-501, [])])
def test_a_row_is_another_ones_up_to_half_a_step_of_the_display(off: int, found: list[str]) -> None:
    last = SLOTS[0].last_values_nm
    assert last is not None
    values = {axis.value: value + off for axis, value in last.items()}
    assert rows_with_values(values, "G59", sheet_of("mm")) == found
    assert rows_with_values(values, "G54", sheet_of("mm")) == []


def test_values_of_a_slot_without_a_row_were_not_seen_before() -> None:
    found = compared_on_sheet(dict.fromkeys(Axis, 0), "G59.3", sheet_of("mm"))
    assert set(found.values()) == {"not_seen_before"}


@pytest.mark.parametrize(
    ("typed", "expected", "same"),
    [
        ("30", "30", True),
        ("030", "30", True),
        ("T30", "30", True),
        ("t 30", "30", True),
        (" 30\t", "030", True),
        ("3", "30", False),
        ("", "30", False),
        ("T", "30", False),
        ("30.0", "30", False),
        ("-30", "30", False),
        ("٣٠", "30", False),
        ("0", "00", True),
    ],
)
def test_tool_numbers_are_compared_as_whole_numbers(typed: str, expected: str, same: bool) -> None:
    assert same_tool(typed, expected) is same


def test_a_slots_value_may_be_zero_where_the_travel_excludes_it() -> None:
    machine: dict[str, Any] = sheet_of("mm")["machine"] | {"travel_nm": {"X": [-762_000_000, -1_000_000]}}
    assert slot_length_nm("0", machine, "X") == 0
    with pytest.raises(LengthBeyondTravelError):
        touch_length_nm("0", machine, "X")


def test_a_label_that_fits_two_slots_or_none_is_unknown() -> None:
    sheet: dict[str, Any] = sheet_of("mm") | {"slots": []}
    sheet["machine"] = sheet["machine"] | {"slot_family": ["A1", "B1"]}
    for typed in ("1", "", "C1"):
        assert slot_on_sheet(typed, sheet, "mara", "2026-11-25T08:00:00.000Z").outcome == "unknown"
    assert slot_on_sheet("b1", sheet, "mara", "2026-11-25T08:00:00.000Z").outcome == "free"
