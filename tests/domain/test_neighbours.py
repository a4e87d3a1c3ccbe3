"""The spread from differences of neighbours: what it is, and what cannot bend it."""

from __future__ import annotations

import math
import statistics
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from webapp.domain.figures import neighbours
from webapp.domain.figures.neighbours import distances, kept, set_aside, twice_median, within_runs

STEP = 1000
lists = st.lists(st.integers(-(10**9), 10**9), min_size=2, max_size=30)


def s_nm(values: list[int]) -> float:
    found = kept(distances(values, STEP), STEP)
    return math.sqrt(found.of_variance / found.count)


def normal(count: int, seed: int) -> list[int]:
    return [round(50_000 * float(value)) for value in np.random.default_rng(seed).standard_normal(count)]


@given(lists)
def test_the_median_is_the_standard_librarys(values: list[int]) -> None:
    lengths = np.abs(np.diff(np.asarray(values, dtype=np.int64)))
    assert Fraction(twice_median(lengths), 2) == statistics.median(map(Fraction, lengths.tolist()))


@given(lists)
def test_what_is_kept_is_what_lies_within_the_deviations_by_the_median(values: list[int]) -> None:
    counted = neighbours.without_set_aside(values, STEP)
    found = kept(distances(values, STEP), STEP)
    by_hand = [abs(after - before) for before, after in pairwise(counted)]
    deviations = max(3.0, float(stats.norm.isf(0.04 / len(by_hand) / 2)))
    most = (
        round(1482.6 * deviations) * (2 * Fraction(statistics.median(map(Fraction, by_hand))) + STEP) / 2000
    )
    expected = [one for one in by_hand if one <= most]
    assert (found.squares, found.count) == (sum(one * one for one in expected), len(expected))


@given(lists, st.integers(-(10**11), 10**11))
def test_adding_a_constant_and_reading_backwards_change_nothing(values: list[int], constant: int) -> None:
    here = kept(distances(values, STEP), STEP)
    assert kept(distances([value + constant for value in values], STEP), STEP) == here
    if set_aside(values, STEP) is None:
        assert kept(distances(values[::-1], STEP), STEP) == here


def test_the_constants_follow_from_the_normal_law() -> None:
    median = math.sqrt(2) * stats.norm.ppf(0.75)
    assert median == pytest.approx(0.95387, abs=1e-5)
    assert pytest.approx(1000 * math.sqrt(2) / median, abs=0.05) == neighbours.THOUSANDTHS_OF_A_DEVIATION
    assert pytest.approx(1000 * 6 * math.sqrt(2) / median, abs=0.5) == neighbours.RUN_CUT_THOUSANDTHS
    for count in (1, 14, 15, 60, 200, 100_000):
        cut = neighbours.cut_deviations(count)
        assert cut == pytest.approx(max(3, stats.norm.isf(0.02 / count)), rel=1e-9)
        second, _ = integrate.quad(lambda z: z * z * stats.norm.pdf(z), -cut, cut)
        share = second / (1 - 2 * stats.norm.sf(cut))
        assert float(neighbours.share_kept(cut)) == pytest.approx(share, abs=1e-5)


@pytest.mark.parametrize("n", [6, 10, 20, 60])
def test_degrees_of_freedom_are_those_of_the_variance(n: int) -> None:
    # A variance with v degrees of freedom scatters by sqrt(2 / v) of itself.
    found = [kept(distances(normal(n, seed), STEP), STEP) for seed in range(3000)]
    variances = np.array([float(one.of_variance) / one.count for one in found])
    degrees = np.mean([one.degrees_of_freedom for one in found])
    assert 2 * variances.mean() ** 2 / variances.var() == pytest.approx(degrees, rel=0.15)
    assert variances.mean() / 50_000**2 == pytest.approx(1, abs=0.06)


@pytest.mark.parametrize("n", [8, 15, 45])
@pytest.mark.parametrize("by", [10, 37, 100])
def test_neither_a_step_nor_an_outlier_bends_it(n: int, by: int) -> None:
    clean, stepped, spiked = [], [], []
    for seed in range(300):
        values = normal(n, seed)
        at = 1 + seed % (n - 1)
        clean.append(s_nm(values))
        stepped.append(s_nm([*values[:at], *(value + by * 50_000 for value in values[at:])]))
        spiked.append(s_nm([*values[:at], values[at] + by * 50_000, *values[at + 1 :]]))
    assert np.median(stepped) / np.median(clean) == pytest.approx(1, abs=0.15)
    assert np.median(spiked) / np.median(clean) == pytest.approx(1, abs=0.15)


def test_very_many_values_are_cut_so_far_out_that_nothing_is_lost() -> None:
    values = normal(300_000, 4)
    assert s_nm(values) / 50_000 == pytest.approx(1, abs=0.005)


def test_a_creep_hardly_shows_in_neighbours() -> None:
    values = normal(200, 5)
    creeping = [value + 2_500 * place for place, value in enumerate(values)]
    assert s_nm(creeping) / s_nm(values) == pytest.approx(1, abs=0.02)


def test_flips_of_the_last_digit_are_never_left_out() -> None:
    # More than half of the differences are 0, so their median is;
    # one flip in ten values is rounding, no outlier.
    values = [0] * 9 + [STEP] + [0] * 10
    assert kept(distances(values, STEP), STEP).count == len(values) - 1
    assert s_nm(values) > 0


@pytest.mark.parametrize("count", [3, 10, 20])
def test_one_value_is_set_aside_only_among_four_to_nine(count: int) -> None:
    assert set_aside([*([0, 1000] * count)[: count - 1], 900_000]) is None


def test_the_value_far_from_all_others_is_set_aside_and_no_other() -> None:
    assert set_aside([0, 1000, 900_000, 0, 1000, 500]) == 2
    assert set_aside([0, 1000, 0, 900_000, 901_000, 900_000]) is None
    assert set_aside([0, 0, 0, 0, 2 * STEP], STEP) is None


def test_runs_are_what_lies_between_moves() -> None:
    values = [0, 2000, 1000, 0, 1000, 900_000, 901_000, 900_000, 902_000, 900_000, 901_000, 900_000, 901_000]
    squares, degrees = within_runs(values, STEP)
    first, second = values[:5], values[5:]
    expected = sum(
        sum((value - Fraction(sum(run), len(run))) ** 2 for value in run) for run in (first, second)
    )
    assert (squares, degrees) == (expected, 11)
    assert within_runs([7], STEP) == (0, 0)
