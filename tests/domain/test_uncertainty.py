"""The uncertainty budget: shares, degrees of freedom, and every refusal."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from webapp.domain.budget.uncertainty import (
    BudgetEmptyError,
    BudgetLine,
    BudgetLineNegativeError,
    ConfidenceNotBetweenError,
    Distribution,
    budget,
    effective_degrees_of_freedom,
    thermal_line,
    widened_when_overdue,
)
from webapp.domain.figures.spread import whole_degrees
from webapp.words import say


def one(value: float, distribution: str = "standard", degrees: float | None = None) -> BudgetLine:
    return BudgetLine("part.probe", value, Distribution(distribution), "the maker's statement", degrees)


def test_lines_combine_as_the_root_of_their_squares_and_share_what_they_bring() -> None:
    found = budget([one(3_000), one(4_000)])
    assert found.combined_nm == pytest.approx(5_000)
    assert found.shares == pytest.approx((0.36, 0.64))
    assert found.degrees_of_freedom is None
    assert found.expanded_nm == pytest.approx(1.959964 * 5_000, rel=1e-6)


def test_a_line_is_divided_by_what_its_distribution_says() -> None:
    assert one(6, "normal_2").standard_nm == 3
    assert one(3, "rectangular").standard_nm == pytest.approx(math.sqrt(3))
    assert one(6, "triangular").standard_nm == pytest.approx(math.sqrt(6))
    assert one(2, "u_shaped").standard_nm == pytest.approx(math.sqrt(2))
    assert all(say(f"budget.{distribution.value}") for distribution in Distribution)


def test_a_line_known_from_few_values_widens_the_factor() -> None:
    found = budget([one(5_000, degrees=4), one(1_000)], 0.95)
    by_hand = (26.0**2) / (25.0**2 / 4)
    assert found.degrees_of_freedom == pytest.approx(by_hand)
    assert found.coverage_factor == pytest.approx(stats.t.ppf(0.975, math.floor(by_hand)))


def test_one_line_alone_keeps_its_own_degrees_of_freedom() -> None:
    assert effective_degrees_of_freedom([one(7, degrees=9)]) == pytest.approx(9)
    assert budget([one(7, degrees=0.5)]).coverage_factor == pytest.approx(stats.t.ppf(0.975, 1))


def test_the_thermal_line_carries_span_material_and_room() -> None:
    # 400 mm of steel at 11.5e-6, within 5 degrees: 23 um to either side, over sqrt(3).
    line = thermal_line(11.5e-6, 400_000_000, 5, "room log")
    assert line.standard_nm == pytest.approx(23_000 / math.sqrt(3))
    assert say(line.name_code)


def test_an_overdue_check_widens_its_line_as_the_lead_has_set() -> None:
    assert widened_when_overdue(one(1_500), 3, 2.0).value == 3_000
    assert widened_when_overdue(one(1_500), 0, 2.0).value == 1_500
    with pytest.raises(BudgetLineNegativeError):
        widened_when_overdue(one(1_500), 3, 0.5)


@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_a_line_below_zero_or_no_number_is_refused_by_its_name(value: float) -> None:
    with pytest.raises(BudgetLineNegativeError) as refused:
        one(value)
    assert refused.value.fields["line"] == "part.probe"
    with pytest.raises(BudgetLineNegativeError):
        thermal_line(value, 1, 1, "")
    with pytest.raises(BudgetLineNegativeError):
        thermal_line(1, 1, value, "")


@pytest.mark.parametrize("degrees", [0.0, -3.0, math.nan])
def test_degrees_of_freedom_of_nothing_are_refused(degrees: float) -> None:
    with pytest.raises(BudgetLineNegativeError):
        one(1, degrees=degrees)


@pytest.mark.parametrize("confidence", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_a_confidence_of_nothing_or_certainty_is_refused(confidence: float) -> None:
    with pytest.raises(ConfidenceNotBetweenError):
        budget([one(1)], confidence)


@pytest.mark.parametrize("lines", [[], [0.0, 0.0]])
def test_a_budget_of_nothing_is_refused(lines: list[float]) -> None:
    with pytest.raises(BudgetEmptyError):
        budget([one(value) for value in lines])


lines_of = st.lists(
    st.tuples(
        st.floats(0.1, 1e5), st.sampled_from(list(Distribution)), st.one_of(st.none(), st.floats(1, 100))
    ),
    min_size=1,
    max_size=8,
)


@pytest.mark.parametrize("value_nm", [1, 1000, 4900])
@pytest.mark.parametrize("distribution", list(Distribution))
@pytest.mark.parametrize("degrees", range(2, 9))
def test_two_lines_alike_have_twice_the_degrees_and_not_one_less(
    value_nm: int, distribution: Distribution, degrees: int
) -> None:
    # By hand: (2 u^2)^2 / (2 u^4 / v) = 2 v. Two rectangular lines of 1000 nm with 2 degrees each came to
    # 3.9999999999999996 and so to the factor for 3; so did two U-shaped ones of 1 nm.
    found = budget([BudgetLine(name, value_nm, distribution, "", degrees) for name in "ab"])
    assert found.coverage_factor == pytest.approx(stats.t.ppf(0.975, 2 * degrees), rel=1e-9)


@pytest.mark.parametrize(
    ("value", "degrees"), [(1, 5), (1000, 5), (0.1, 2), (0.1, 4), (1 / 25.4, 2), (1 / 25.4, 4)]
)
def test_three_lines_alike_have_three_times_the_degrees_in_whole_nanometres_and_in_any_unit(
    value: float, degrees: int
) -> None:
    # By hand: (3 u^2)^2 / (3 u^4 / v) = 3 v.
    # In floating numbers 14.999999999999998 for three of 1 nm with 5 each.
    found = budget([BudgetLine(name, value, Distribution.STANDARD, "", degrees) for name in "abc"])
    assert found.coverage_factor == pytest.approx(stats.t.ppf(0.975, 3 * degrees), rel=1e-9)


def test_what_is_truly_less_than_a_whole_number_is_the_one_below() -> None:
    assert [whole_degrees(value) for value in (0.5, 1.0, 3.9999999, 4.0 - 4e-16, 4.0, 26.0416)] == [
        1,
        1,
        3,
        4,
        4,
        26,
    ]


RECTANGULAR = Distribution.RECTANGULAR


@given(lines_of, st.floats(0.001, 1000))
@example([(1000.0, RECTANGULAR, 2.0), (1000.0, RECTANGULAR, 2.0)], 1 / 25.4)
@example([(1.0, Distribution.U_SHAPED, 2.0), (1.0, Distribution.U_SHAPED, 2.0)], 1000.0)
def test_another_unit_changes_neither_shares_nor_factor(
    lines: list[tuple[float, Distribution, float | None]], scale: float
) -> None:
    here, there = (
        budget([BudgetLine("a", value * by, kind, "", degrees) for value, kind, degrees in lines])
        for by in (1, scale)
    )
    assert there.shares == pytest.approx(here.shares)
    assert sum(here.shares) == pytest.approx(1)
    assert there.coverage_factor == pytest.approx(here.coverage_factor, rel=1e-12)
    assert there.expanded_nm == pytest.approx(here.expanded_nm * scale, rel=1e-9)
