"""The middle of a few values."""

from __future__ import annotations

import itertools
import statistics
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.figures.middle import middle, variance_of_middle
from webapp.domain.plain.usual_errors import TooFewValuesError

lists = st.lists(st.integers(-(10**9), 10**9), min_size=1, max_size=20)


@given(lists)
def test_it_is_the_median_of_values_or_of_the_means_of_pairs(values: list[int]) -> None:
    pairs = itertools.combinations_with_replacement(map(Fraction, values), 2)
    expected = (
        statistics.median(map(Fraction, values))
        if len(values) <= 6
        else statistics.median([(a + b) / 2 for a, b in pairs])
    )
    assert middle(values) == expected


@given(lists, st.integers(-(10**9), 10**9), st.randoms(use_true_random=False))
def test_a_constant_moves_it_and_the_order_does_not(values: list[int], constant: int, chance: object) -> None:
    moved = [value + constant for value in values]
    chance.shuffle(moved)  # type: ignore[attr-defined]
    assert middle(moved) == middle(values) + constant


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5, 6, 7, 8, 12, 20])
def test_its_variance_is_the_stated_one(n: int) -> None:
    chance = np.random.default_rng(n)
    found = [
        float(middle([round(1e6 * float(v)) for v in chance.standard_normal(n)])) / 1e6 for _ in range(8000)
    ]
    assert np.var(found) == pytest.approx(variance_of_middle(n), rel=0.06)


@pytest.mark.parametrize("n", [6, 7, 10, 20])
@pytest.mark.parametrize("gross", [5, 1000])
def test_one_gross_value_moves_it_by_less_than_a_spread(n: int, gross: int) -> None:
    chance = np.random.default_rng([n, gross])
    held = 0
    for _ in range(2000):
        values = [round(1e6 * float(value)) for value in chance.standard_normal(n)]
        held += abs(middle([*values[1:], gross * 10**6]) - middle(values)) < 10**6
    assert held / 2000 > 0.97


def test_nothing_has_no_middle() -> None:
    with pytest.raises(TooFewValuesError):
        middle([])
    with pytest.raises(TooFewValuesError):
        variance_of_middle(0)
