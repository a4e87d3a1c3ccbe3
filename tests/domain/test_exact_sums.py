"""Quick sums are the exact sums. Beside what: Python's own fractions, value by value."""

from __future__ import annotations

import random
from fractions import Fraction

import numpy as np
import pytest

from webapp.domain.figures.exact_sums import (
    LARGEST_DEVIATION,
    LEAST_LONG,
    sum_of_squares,
    times_n_squares,
)

OFFSETS_NM = (0, -600_123_457, 2**40, 2**70)


def plain(values: list[int]) -> Fraction:
    centre = Fraction(sum(values), len(values))
    return len(values) * sum(((value - centre) ** 2 for value in values), Fraction(0))


@pytest.mark.parametrize("offset", OFFSETS_NM)
@pytest.mark.parametrize("reach", [0, 9, 40_000, LARGEST_DEVIATION // 2, LARGEST_DEVIATION, 2**62])
@pytest.mark.parametrize("count", [2, LEAST_LONG - 1, LEAST_LONG, 2_340])
def test_a_column_of_any_length_and_width_is_summed_exactly(offset: int, reach: int, count: int) -> None:
    chance = random.Random(count)
    values = [offset, offset + reach, *(offset + chance.randint(0, reach) for _ in range(count - 2))]
    assert times_n_squares(values) == plain(values)


@pytest.mark.parametrize("largest", [0, 3, 40_000, 2**20, 2**28, 2**40])
@pytest.mark.parametrize("count", [0, 1, 7, 5_000])
def test_squares_of_distances_are_summed_exactly(largest: int, count: int) -> None:
    chance = random.Random(count)
    values = [chance.randint(0, largest) for _ in range(count)]
    assert sum_of_squares(np.asarray(values, dtype=np.int64)) == sum(value * value for value in values)


def test_the_ends_of_the_quick_range_do_not_overflow() -> None:
    values = [-(LARGEST_DEVIATION // 2), LARGEST_DEVIATION // 2] * 2_000
    assert times_n_squares(values) == plain(values)


def test_fractions_are_summed_as_fractions() -> None:
    chance = random.Random(3)
    values = [
        Fraction(chance.randint(-(10**9), 10**9), chance.randint(1, 999)) for _ in range(LEAST_LONG + 5)
    ]
    centre = sum(values) / len(values)
    assert times_n_squares(values) == len(values) * sum((value - centre) ** 2 for value in values)
