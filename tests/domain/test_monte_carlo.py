"""A Monte Carlo run beside a budget: where it agrees, where it differs, and that a seed tells it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from webapp.domain.budget.correlated import Correlation
from webapp.domain.budget.monte_carlo import FIRST, MOST, beside, draw, tolerance_nm
from webapp.domain.budget.uncertainty import BudgetLine, Distribution, budget


def one(
    value: float,
    kind: Distribution = Distribution.STANDARD,
    degrees: float | None = None,
    sensitivity: float = 1.0,
) -> BudgetLine:
    return BudgetLine("part", value, kind, "", degrees, sensitivity)


def drawn(*lines: BudgetLine, correlations: tuple[Correlation, ...] = (), count: int = 200_000) -> np.ndarray:
    return draw(lines, correlations, np.random.default_rng(5), count)


@pytest.mark.parametrize("kind", list(Distribution))
def test_each_line_is_drawn_as_it_spreads(kind: Distribution) -> None:
    found = drawn(one(7.0, kind))
    known = {
        Distribution.STANDARD: stats.norm(0, 7),
        Distribution.NORMAL_2: stats.norm(0, 3.5),
        Distribution.RECTANGULAR: stats.uniform(-7, 14),
        Distribution.TRIANGULAR: stats.triang(0.5, -7, 14),
        Distribution.U_SHAPED: stats.arcsine(-7, 14),
    }[kind]
    assert stats.kstest(found[:20_000], known.cdf).pvalue > 0.001
    assert found.std() == pytest.approx(one(7.0, kind).standard_nm, rel=0.01)


def test_degrees_of_freedom_of_a_normal_make_a_t() -> None:
    found = drawn(one(3.0, degrees=4))[:20_000] / 3.0
    assert stats.kstest(found, stats.t(4).cdf).pvalue > 0.001
    assert stats.kstest(found, stats.norm.cdf).pvalue < 1e-6


@pytest.mark.parametrize("coefficient", [-1.0, -0.5, 0.8, 1.0])
def test_lines_that_hang_together_are_drawn_together(coefficient: float) -> None:
    words = (Correlation(0, 1, coefficient),)
    lines = (one(3.0), one(4.0))
    expected = budget(lines, 0.95, words).combined_nm
    assert drawn(*lines, correlations=words).std() == pytest.approx(expected, rel=0.01)


def test_normal_lines_agree_and_one_wide_rectangle_does_not() -> None:
    normal = beside(budget([one(3.0), one(4.0), one(2.0)]), np.random.default_rng(1))
    assert normal.verdict == "agrees"
    assert normal.high_nm == pytest.approx(1.96 * math.sqrt(29), rel=0.02)
    rectangle = Distribution.RECTANGULAR
    found = budget([one(100.0, rectangle), one(1.0)])
    run = beside(found, np.random.default_rng(1))
    # A rectangle's 95 % are 0.95 of its half-width; the law says 1.96 / sqrt(3) of it.
    assert run.verdict == "differs"
    assert run.high_nm == pytest.approx(95.0, rel=0.01)
    assert run.apart_nm(found) == pytest.approx(100 * 1.959964 / math.sqrt(3) - 95, rel=0.03)


def test_more_is_drawn_only_where_the_first_draws_cannot_tell() -> None:
    clear = beside(budget([one(1.0)]), np.random.default_rng(1))
    assert clear.draws == FIRST
    # The ends differ by the very tolerance: nothing tells.
    edge = beside(
        budget([one(math.sqrt(3), Distribution.RECTANGULAR)] * 4), np.random.default_rng(1), most=400_000
    )
    assert FIRST < edge.draws <= 400_000 <= MOST


def test_the_same_seed_gives_the_same_run_and_another_seed_another() -> None:
    found = budget([one(3.0, degrees=5), one(4.0, Distribution.TRIANGULAR)])
    first, again, other = (beside(found, np.random.default_rng(seed)) for seed in (7, 7, 8))
    assert first == again
    assert first != other


@pytest.mark.parametrize(
    ("standard", "tolerance"),
    [(32.0, 0.5), (2.0, 0.05), (1.0, 0.05), (9.96, 0.5), (0.0035, 0.00005), (99.4, 0.5)],
)
def test_the_tolerance_is_half_of_the_second_digit(standard: float, tolerance: float) -> None:
    assert tolerance_nm(standard) == pytest.approx(tolerance)
