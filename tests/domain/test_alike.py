"""Which seatings scatter alike, and the spread that they give together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from webapp.domain.figures.alike import pool_alike
from webapp.domain.figures.spread import Pooled

STEP = 1000


def pooled(seatings: list[list[int]], current: int, resolution_nm: int = STEP) -> Pooled:
    found = pool_alike(seatings, current, resolution_nm)
    assert found is not None
    return found


def normal(chance: np.random.Generator, count: int, sigma_nm: float = 50_000) -> list[int]:
    return [round(float(value)) for value in chance.normal(0, sigma_nm, count)]


def test_seatings_that_scatter_alike_are_pooled_whatever_their_place() -> None:
    seatings = [[0, 4000, 8000, 3000], [900_000, 905_000, 902_000], [500_000]]
    assert pooled(seatings, 2).members == (0, 1)


TIGHT = [0, 1000, 2000, 1000, 0, 2000, 1000, 1000]
ALSO_TIGHT = [1000, 3000, 2000, 1000, 2000, 3000, 2000, 1000]
WILD = [0, 90_000, -80_000, 40_000, -60_000, 75_000, -20_000, 50_000]


@pytest.mark.parametrize(
    ("seatings", "current", "members"),
    [
        ([TIGHT, ALSO_TIGHT, WILD], 0, (0, 1)),
        ([WILD, TIGHT, ALSO_TIGHT], 2, (1, 2)),
        ([TIGHT, ALSO_TIGHT, WILD], 2, (2,)),
        ([TIGHT, ALSO_TIGHT, WILD, [5]], 3, (0, 1)),
        ([TIGHT, WILD], 1, (1,)),
        ([TIGHT, WILD], 0, (0,)),
        ([TIGHT, WILD, [3]], 2, (1,)),
        ([WILD, TIGHT, []], 2, (1,)),
        ([TIGHT], 0, (0,)),
    ],
)
def test_a_seating_that_scatters_differently_stands_alone(
    seatings: list[list[int]], current: int, members: tuple[int, ...]
) -> None:
    assert pooled(seatings, current).members == members


def test_a_very_wild_seating_is_the_one_left_out() -> None:
    seatings = [TIGHT * 20, ALSO_TIGHT * 20, [value * 1000 for value in WILD * 20]]
    assert pooled(seatings, 1).members == (0, 1)


def test_two_equal_readings_do_not_pass_for_a_fixture_without_spread() -> None:
    seatings = [[0, 10_000, 4000, -7000, 2000, -9000], [500_000, 500_000]]
    assert pooled(seatings, 1).members == (0, 1)


def test_equal_readings_everywhere_are_pooled_with_no_spread() -> None:
    found = pooled([[5, 5], [7, 7, 7]], 1)
    assert (found.variance, found.members) == (0, (0, 1))


@pytest.mark.parametrize("seatings", [[], [[]], [[1], [2]]])
def test_no_seating_with_two_values_has_no_spread(seatings: list[list[int]]) -> None:
    assert pool_alike(seatings, len(seatings) - 1, STEP) is None


def test_a_seating_of_fewer_than_six_values_is_not_judged_still() -> None:
    agrees_by_chance = [500_000, 500_100, 500_000, 500_100, 500_000]
    old = [0, 60_000, -80_000, 40_000, -60_000, 75_000]
    assert pooled([old, agrees_by_chance], 1, 100).members == (0, 1)
    assert pooled([old, [*agrees_by_chance, 500_100]], 1, 100).members == (1,)
    assert pooled([old[:5], [*agrees_by_chance, 500_100]], 1, 100).members == (0, 1)


def test_fifteen_in_a_hundred_steady_seatings_stand_alone_for_scattering_more_and_hardly_any_for_less() -> (
    None
):
    chance = np.random.default_rng(4)
    rounds, alone = 1500, 0
    for _ in range(rounds):
        alone += pooled([normal(chance, 20), normal(chance, 20), normal(chance, 10)], 2).members == (2,)
    low, high = stats.binom.ppf([1e-5, 1 - 1e-5], rounds, 0.16)
    assert low <= alone <= high


def test_of_many_equal_seatings_few_fixtures_have_an_old_one_left_out() -> None:
    # The present seating holds one value and is judged by nobody; 1 % over all tests (Bonferroni).
    chance = np.random.default_rng(6)
    rounds, apart = 1500, 0
    for _ in range(rounds):
        apart += len(pooled([*(normal(chance, 15) for _ in range(5)), [0]], 5).members) < 5
    low, high = stats.binom.ppf([1e-5, 1 - 1e-5], rounds, 0.01)
    assert low <= apart <= high


@pytest.mark.parametrize(("times", "n", "least"), [(4.0, 5, 0.93), (2.0, 10, 0.85), (2.0, 20, 0.96)])
def test_a_seating_that_scatters_more_stands_alone(times: float, n: int, least: float) -> None:
    chance = np.random.default_rng(9)
    alone = [
        pooled([normal(chance, 20), normal(chance, 20), normal(chance, n, times * 50_000)], 2).members == (2,)
        for _ in range(300)
    ]
    assert sum(alone) / len(alone) > least


def test_a_move_that_nobody_told_does_not_make_a_seating_stand_alone() -> None:
    chance = np.random.default_rng(10)
    alone = 0
    for _ in range(300):
        now = normal(chance, 15)
        moved = [*now[:6], *(value + 37 * 50_000 for value in now[6:])]
        alone += pooled([normal(chance, 20), normal(chance, 20), moved], 2).members == (2,)
    assert alone / 300 < 0.35


def test_two_values_that_a_move_parts_do_not_widen_the_pool() -> None:
    old = [0, 10_000, 4000, -7000, 2000, -9000, 3000, 1000]
    with_step = pooled([old, [500_000, 5_000_000], [7]], 2)
    without = pooled([old, [7]], 1)
    assert with_step.s_nm == pytest.approx(without.s_nm)
