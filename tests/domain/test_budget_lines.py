"""The budget starts from the shop's file, takes what the lead types, and feeds the floor of the usual."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.rules.example_shop import MILL_INCH, MILL_MM, PROBE, RULES, VISE
from webapp.domain.budget.lines import BudgetStoredWrongError, LeadLine, axis_lines, floor_of, lead_lines
from webapp.domain.budget.typed import (
    BudgetDistributionUnknownError,
    BudgetNumberNotReadError,
    BudgetValueOutsideError,
    BudgetWordsMissingError,
    read_confidence,
    read_line,
    read_number,
    read_thermal,
    read_value_nm,
)
from webapp.domain.budget.uncertainty import ConfidenceNotBetweenError, budget
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.length_errors import LengthError, NumberAmbiguousCommaError
from webapp.domain.sheet.lines_here import floor_inputs
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.usual.usual import LinesChoice, SeatingValues, combined_uncertainty_nm, usual
from webapp.words import say

CHIP = LeadLine("own-1", "Chips under the vise", None, 3_000, "rectangular", "12", "Looked at for a month")


def lines(*changes: LeadLine, factor: float = 1.0, axis: str = "X"):  # type: ignore[no-untyped-def]  # noqa: ANN201
    return axis_lines(FittedMachine(RULES, MILL_MM, VISE, PROBE), axis, changes, factor)


def typed(**changes: str) -> LeadLine:
    fields = {
        "line_id": "own-1", "name": "Chips", "axis": "", "value": "0.003", "distribution": "rectangular",
        "degrees": "", "source": "Looked at", "unit": "mm",
    }  # fmt: skip
    return read_line(**{**fields, **changes})


@pytest.mark.parametrize("axis", ["X", "Y", "Z"])
def test_without_a_leads_word_the_floor_is_what_the_shop_file_says(axis: str) -> None:
    from_file = combined_uncertainty_nm(
        floor_inputs(FittedMachine(RULES, MILL_MM, VISE, PROBE), axis), MILL_MM.display
    )
    floor = floor_of(lines(axis=axis))
    assert math.isclose(combined_uncertainty_nm(floor, MILL_MM.display), from_file, rel_tol=1e-12)
    assert floor.degrees_of_freedom is None


def test_the_budget_and_the_floor_come_to_the_same() -> None:
    found = lines(CHIP, replace(CHIP, id="probe", value_nm=2_500, distribution="standard"))
    total = budget([one.line for one in found])
    floor = floor_of(found)
    assert math.isclose(combined_uncertainty_nm(floor, MILL_MM.display), total.combined_nm, rel_tol=1e-12)
    assert math.isclose(math.fsum(total.shares), 1, rel_tol=1e-12)
    assert floor.degrees_of_freedom == total.degrees_of_freedom


def test_a_line_for_one_axis_comes_before_one_for_all() -> None:
    for_all = replace(CHIP, id="axis", value_nm=9_000, distribution="standard")
    for_x = replace(for_all, axis="X", value_nm=1_000)
    assert [one.line.value for one in lines(for_all, for_x) if one.id == "axis"] == [1_000]
    assert [one.line.value for one in lines(for_all, for_x, axis="Y") if one.id == "axis"] == [9_000]


def test_an_overdue_check_widens_the_probe_and_nothing_else() -> None:
    before, after = lines(CHIP), lines(CHIP, factor=2.5)
    widened = [one.id for one, other in zip(before, after, strict=True) if one.line != other.line]
    assert widened == ["probe"]
    assert [one.line.value for one in after if one.widened] == [PROBE.u_probe_nm * 2.5]


def test_few_degrees_of_freedom_widen_the_lines_of_the_usual() -> None:
    wide = replace(CHIP, value_nm=30_000, degrees_of_freedom="2")
    known = replace(wide, degrees_of_freedom=None)
    history = [SeatingValues.of("s", [-381_250_000])]
    asks = [
        usual(history, floor_of(lines(one)), LinesChoice(), MILL_MM.display).ask_nm for one in (known, wide)
    ]
    assert asks[0] is not None
    assert asks[1] is not None
    assert asks[1] > 1.4 * asks[0]


def test_lines_come_back_from_plain_data() -> None:
    assert lead_lines([CHIP.as_plain()]) == (CHIP,)
    with pytest.raises(BudgetStoredWrongError):
        lead_lines([{**CHIP.as_plain(), "distribution": "flat"}])
    with pytest.raises(BudgetStoredWrongError):
        lead_lines([{"id": "own-1"}])


def test_a_typed_line_is_taken_in_either_unit() -> None:
    assert typed().value_nm == 3_000
    assert typed(value="0,00012", unit="in").value_nm == 3_048
    assert MILL_INCH.unit == "in"
    assert typed(degrees="4.5").degrees_of_freedom == "4.5"


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"value": "-0.003"}, BudgetValueOutsideError),
        ({"value": "11"}, BudgetValueOutsideError),
        ({"value": ""}, LengthError),
        ({"value": "1e-3"}, LengthError),
        ({"degrees": "0"}, BudgetNumberNotReadError),
        ({"degrees": "-2"}, BudgetNumberNotReadError),
        ({"degrees": "nan"}, BudgetNumberNotReadError),
        ({"degrees": "inf"}, BudgetNumberNotReadError),
        ({"distribution": "flat"}, BudgetDistributionUnknownError),
        ({"source": "  "}, BudgetWordsMissingError),
        ({"name": "x" * 61}, BudgetWordsMissingError),
    ],
)
def test_what_is_no_line_is_refused_in_words(fields: dict[str, str], error: type[DomainError]) -> None:
    with pytest.raises(error) as refused:
        typed(**fields)
    assert say(refused.value.code, refused.value.fields)


@pytest.mark.parametrize(("text", "share"), [("0.95", "0.95"), ("95 %", "0.95"), ("99,73%", "0.9973")])
def test_a_confidence_is_typed_as_a_share_or_in_percent(text: str, share: str) -> None:
    assert read_confidence(text) == share


@pytest.mark.parametrize("text", ["0", "1", "100 %", "0 %", "-0.5", "1.2", "", "nan", "1e-1", "0.4"])
def test_a_confidence_of_nothing_or_everything_is_refused(text: str) -> None:
    with pytest.raises(ConfidenceNotBetweenError) as refused:
        read_confidence(text)
    assert say(refused.value.code, refused.value.fields)


def test_the_thermal_line_is_typed_as_span_expansion_and_swing() -> None:
    line = read_thermal(
        name="Thermal", axis="", span="400", expansion="11,5", swing="2", source="Logged in July", unit="mm"
    )
    (found,) = [one for one in lines(line) if one.id == "thermal"]
    assert math.isclose(found.line.standard_nm, 11.5e-6 * 400e6 * 2 / math.sqrt(3), rel_tol=1e-12)
    with pytest.raises(BudgetNumberNotReadError):
        read_number("-1", "budget.field_swing")
    with pytest.raises(NumberAmbiguousCommaError):
        read_number("1,000", "budget.field_degrees")
    with pytest.raises(BudgetValueOutsideError):
        read_value_nm("-1", "mm")
