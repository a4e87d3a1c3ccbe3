"""The Monte Carlo run against JCGM 101:2008, 9.2 (four values added),
and against the exact distribution of such sums.

Reached: the printed intervals of tables 2 to 4 within the run's own standard errors, and the same verdict on
whether the law of propagation holds. The tables are from memory (see data/jcgm_101_additive.json); the exact
ends are not.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import optimize

from webapp.domain.budget.monte_carlo import MonteCarlo, beside, tolerance_nm
from webapp.domain.budget.uncertainty import Budget, BudgetLine, Distribution, budget

FACTS: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "jcgm_101_additive.json").read_text(encoding="utf-8")
)


def of(case: dict[str, Any]) -> Budget:
    kind = Distribution(case["distribution"])
    return budget([BudgetLine("X", value * kind.divisor, kind, "") for value in case["values"]], 0.95)


@pytest.fixture(scope="module")
def runs() -> dict[str, MonteCarlo]:
    return {name: beside(of(case), np.random.default_rng(1)) for name, case in FACTS["cases"].items()}


def exact_end(half_widths: list[float], share: float) -> float:
    """Where a sum of rectangles has this share below:
    the alternating sum over the corners of their box (exact).
    """
    count = len(half_widths)

    def below(value: float) -> float:
        total = 0.0
        for corner in range(2**count):
            signs = [1 if corner >> place & 1 else -1 for place in range(count)]
            reach = value + sum(sign * half for sign, half in zip(signs, half_widths, strict=True))
            total += math.prod(signs) * max(0.0, reach) ** count
        return total / (math.factorial(count) * math.prod(2 * half for half in half_widths))

    return float(optimize.brentq(lambda value: below(value) - share, 0, sum(half_widths)))


@pytest.mark.parametrize("name", FACTS["cases"])
def test_the_tables_are_met_and_the_verdicts_are_the_same(name: str, runs: dict[str, MonteCarlo]) -> None:
    case, found, run = FACTS["cases"][name], of(FACTS["cases"][name]), runs[name]
    assert float(f"{found.combined_nm:.3g}") == case["standard"]
    assert float(f"{found.expanded_nm:.3g}") == case["law"]
    assert tolerance_nm(found.combined_nm) == case["tolerance"]
    last_digit = 0.5 * 10 ** -len(str(case["monte_carlo"]).partition(".")[2])
    for end, error in ((-run.low_nm, run.low_error_nm), (run.high_nm, run.high_error_nm)):
        assert abs(end - case["monte_carlo"]) <= last_digit + 4 * error
    assert (run.verdict == "agrees") == case["validated"]
    assert run.verdict != "cannot_tell"


@pytest.mark.parametrize("name", ["9.2.3", "9.2.4"])
def test_the_ends_are_the_exact_ones_of_a_sum_of_rectangles(name: str, runs: dict[str, MonteCarlo]) -> None:
    half_widths = [value * math.sqrt(3) for value in FACTS["cases"][name]["values"]]
    exact, run = exact_end(half_widths, 0.975), runs[name]
    assert abs(run.high_nm - exact) <= 4 * run.high_error_nm
    assert abs(run.low_nm + exact) <= 4 * run.low_error_nm


def test_the_end_of_four_equal_rectangles_is_the_published_one(runs: dict[str, MonteCarlo]) -> None:
    published, run = 2 * math.sqrt(3) * (2 - (3 / 5) ** 0.25), runs["9.2.3"]
    assert exact_end([math.sqrt(3)] * 4, 0.975) == pytest.approx(published, rel=1e-9)
    assert abs(run.high_nm - published) <= 4 * run.high_error_nm
