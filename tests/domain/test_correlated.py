"""Lines of a budget that hang together: what they come to, and what no three lines can do."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.budget.correlated import (
    Correlation,
    CorrelationImpossibleError,
    CorrelationOutsideError,
    groups,
)
from webapp.domain.budget.lead_correlations import (
    CorrelationStoredWrongError,
    LeadCorrelation,
    lead_correlations,
    on_axis,
    read_correlation,
)
from webapp.domain.budget.lines import NamedLine
from webapp.domain.budget.uncertainty import (
    BudgetEmptyError,
    BudgetLine,
    Distribution,
    budget,
    effective_degrees_of_freedom,
)
from webapp.words import say


def one(value: float, sensitivity: float = 1.0, degrees: float | None = None) -> BudgetLine:
    return BudgetLine("part", value, Distribution.STANDARD, "", degrees, sensitivity)


@pytest.mark.parametrize(
    ("coefficient", "combined"),
    [(1.0, 7.0), (0.0, 5.0), (-1.0, 1.0), (0.5, math.sqrt(37)), (-0.5, math.sqrt(13))],
)
def test_two_lines_come_to_what_the_cosine_rule_says(coefficient: float, combined: float) -> None:
    # 3^2 + 4^2 + 2 * r * 3 * 4.
    found = budget([one(3), one(4)], 0.95, [Correlation(0, 1, coefficient)])
    assert found.combined_nm == pytest.approx(combined)
    assert sum(found.shares) == pytest.approx(1)


def test_a_line_that_takes_away_has_a_share_below_zero() -> None:
    found = budget([one(3), one(4)], 0.95, [Correlation(0, 1, -1)])
    assert found.shares == pytest.approx((-3.0, 4.0))
    turned = budget([one(3), one(4, -1.0)], 0.95, [Correlation(0, 1, 1)])
    assert turned.combined_nm == pytest.approx(1)


def test_lines_that_cancel_leave_no_budget() -> None:
    with pytest.raises(BudgetEmptyError):
        budget([one(3), one(3)], 0.95, [Correlation(0, 1, -1)])


def test_what_hangs_together_counts_as_one_part_with_the_fewest_degrees() -> None:
    # By hand: (7^2 + 1)^2 / ((7^2)^2 / 4).
    lines = [one(3, degrees=4), one(4, degrees=9), one(1)]
    assert effective_degrees_of_freedom(lines, [Correlation(0, 1, 1)]) == pytest.approx(2500 / (2401 / 4))
    assert groups(3, [Correlation(0, 1, 1)]) == [[0, 1], [2]]
    assert groups(4, [Correlation(3, 1, 0.1), Correlation(1, 0, 0.1)]) == [[0, 1, 3], [2]]
    assert groups(2, [Correlation(0, 1, 0)]) == [[0], [1]]


def test_what_no_three_quantities_can_do_is_refused() -> None:
    words = [Correlation(0, 1, 0.9), Correlation(1, 2, 0.9), Correlation(0, 2, -0.9)]
    with pytest.raises(CorrelationImpossibleError) as refused:
        budget([one(1)] * 3, 0.95, words)
    assert say(refused.value.code, refused.value.fields)
    assert budget([one(1)] * 3, 0.95, [*words[:2], Correlation(0, 2, 0.7)]).combined_nm > 0


@pytest.mark.parametrize("coefficient", [1.01, -1.01, math.nan])
def test_a_coefficient_beyond_one_is_refused(coefficient: float) -> None:
    with pytest.raises(CorrelationOutsideError):
        Correlation(0, 1, coefficient)
    with pytest.raises(CorrelationOutsideError):
        Correlation(1, 1, 0.5)


values = st.lists(st.floats(0.1, 1e4), min_size=2, max_size=6)


@given(values, st.floats(-1, 1), st.floats(0.001, 1000))
def test_another_unit_changes_neither_shares_nor_factor_of_lines_that_hang_together(
    stated: list[float], coefficient: float, scale: float
) -> None:
    words = [Correlation(0, 1, coefficient)]
    try:
        here, there = (budget([one(value * by) for value in stated], 0.95, words) for by in (1, scale))
    except BudgetEmptyError:
        assert coefficient < 0
        return
    assert there.shares == pytest.approx(here.shares, rel=1e-6, abs=1e-6)
    assert there.combined_nm == pytest.approx(here.combined_nm * scale, rel=1e-6)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("0.5", "0.5"), ("-0,36", "-0.36"), ("−1", "-1"), ("1", "1"), (".25", ".25"), ("0", "0")],
)
def test_a_coefficient_is_read_as_it_is_typed(typed: str, kept: str) -> None:
    word = read_correlation(one="seat", other="probe", axis="X", coefficient=typed)
    assert word == LeadCorrelation("probe", "seat", "X", kept)
    assert lead_correlations([word.as_plain()]) == (word,)


@pytest.mark.parametrize("typed", ["", "1.1", "-2", "half", "1e-1", "0.12345", "nan", "0.5.1"])
def test_what_is_no_coefficient_is_refused_in_words(typed: str) -> None:
    with pytest.raises(CorrelationOutsideError) as refused:
        read_correlation(one="probe", other="seat", axis="", coefficient=typed)
    assert typed in say(refused.value.code, refused.value.fields)


def test_a_stored_word_that_cannot_be_read_is_told() -> None:
    good = LeadCorrelation("probe", "seat", None, "0.5").as_plain()
    for wrong in ({**good, "coefficient": "7"}, {**good, "one": 3}, {**good, "one": "seat"}, {}):
        with pytest.raises(CorrelationStoredWrongError):
            lead_correlations([wrong])


def test_the_word_for_one_axis_comes_before_the_one_for_all_and_waits_for_its_lines() -> None:
    lines = [NamedLine(name, one(1), by_lead=False) for name in ("probe", "axis", "seat")]
    words = [
        LeadCorrelation("probe", "seat", None, "0.5"),
        LeadCorrelation("probe", "seat", "X", "0.9"),
        LeadCorrelation("own-1", "seat", None, "0.3"),
    ]
    assert on_axis(words, lines, "X") == (Correlation(0, 2, 0.9),)
    assert on_axis(words, lines, "Y") == (Correlation(0, 2, 0.5),)
