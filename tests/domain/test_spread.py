"""Exact mean and spread, pooling, and the suspect."""

from __future__ import annotations

import statistics
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.figures import spread
from webapp.domain.plain.usual_errors import TooFewValuesError

values_nm = st.lists(st.integers(-(10**9), 10**9), min_size=2, max_size=30)


@given(values_nm)
def test_mean_and_spread_agree_with_the_standard_library(values: list[int]) -> None:
    assert spread.mean(values) == statistics.mean(map(Fraction, values))
    assert spread.pool([values], [0]).s_nm == pytest.approx(statistics.stdev(values), rel=1e-15)


@given(values_nm, st.integers(-(10**12), 10**12))
def test_adding_a_constant_moves_the_mean_and_leaves_the_spread(values: list[int], constant: int) -> None:
    moved = [value + constant for value in values]
    assert spread.mean(moved) == spread.mean(values) + constant
    assert spread.squares(moved) == spread.squares(values)


@given(values_nm)
def test_a_change_of_unit_scales_mean_and_spread(values: list[int]) -> None:
    scaled = [value * Fraction(127, 5) for value in values]
    assert spread.mean(scaled) == spread.mean(values) * Fraction(127, 5)
    assert spread.squares(scaled) == spread.squares(values) * Fraction(127, 5) ** 2


@given(values_nm, st.randoms(use_true_random=False))
def test_the_order_of_values_does_not_matter(values: list[int], chance: object) -> None:
    shuffled = list(values)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert spread.mean(shuffled) == spread.mean(values)
    assert spread.squares(shuffled) == spread.squares(values)


@pytest.mark.parametrize(("values", "least"), [([], 2), ([1], 2)])
def test_a_spread_of_less_than_two_values_is_refused(values: list[int], least: int) -> None:
    with pytest.raises(TooFewValuesError) as refused:
        spread.pool([values], [0])
    assert refused.value.fields == {"n": len(values), "least": least}


def test_a_mean_of_nothing_is_refused() -> None:
    with pytest.raises(TooFewValuesError):
        spread.mean([])


def test_a_pool_without_a_degree_of_freedom_is_refused() -> None:
    with pytest.raises(TooFewValuesError):
        spread.pool([[1], [], [5]], [0, 1, 2])


def test_pooling_adds_squares_and_degrees_of_freedom() -> None:
    pooled = spread.pool([[0, 2], [10, 10, 13], [7]], [0, 1, 2])
    assert pooled.variance == Fraction(2 + 6, 3)
    assert pooled.degrees_of_freedom == 3


@given(values_nm, values_nm)
def test_the_test_of_two_variances_is_the_same_from_both_sides(one: list[int], other: list[int]) -> None:
    seatings = [one, other]
    first, second = spread.pool(seatings, [0]), spread.pool(seatings, [1])
    there, back = spread.variance_test(first, second, 1000), spread.variance_test(second, first, 1000)
    assert there.p_value == pytest.approx(back.p_value, rel=1e-9)
    assert there.ratio == pytest.approx(1 / back.ratio, rel=1e-9)


def test_the_suspect_is_the_farthest_value() -> None:
    test = spread.grubbs([10, 12, 11, 10, 12, 11, 40])
    assert (test.index, test.is_suspect) == (6, True)


def test_values_without_spread_have_no_suspect() -> None:
    assert not spread.grubbs([7, 7, 7]).is_suspect


def test_a_suspect_among_two_values_is_refused() -> None:
    with pytest.raises(TooFewValuesError):
        spread.grubbs([1, 9])


@given(st.lists(st.integers(-(10**6), 10**6), min_size=3, max_size=20), st.integers(-(10**9), 10**9))
def test_adding_a_constant_leaves_the_suspect(values: list[int], constant: int) -> None:
    assert spread.grubbs([value + constant for value in values]) == spread.grubbs(values)
