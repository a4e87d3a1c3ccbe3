"""The budget against JCGM 100:2008, H.1 (end gauge);
the noncentral t of the limits against one-sided tolerance factors of the NIST/SEMATECH e-Handbook, 7.2.6.3.

Reached: combined 32 nm, 16 degrees of freedom, t 2.92 and an expanded uncertainty of 93 nm, as printed.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import special, stats

from webapp.domain.budget.uncertainty import BudgetLine, Distribution, budget, thermal_line
from webapp.domain.usual.limits import _above

DATA = Path(__file__).parent / "data"


def facts(name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((DATA / name).read_text(encoding="utf-8"))
    return read


H1 = facts("gum_h1_budget.json")
TOLERANCE = facts("tolerance.json")


def h1_lines() -> list[BudgetLine]:
    """The four contributions that are not zero:
    standard, comparison, expansion difference, temperature difference.
    """
    inputs = H1["inputs"]
    length, alpha, theta = (
        inputs["l_S_nm"]["value"],
        inputs["alpha_S_per_C"]["value"],
        inputs["theta_C"]["value"],
    )
    return [
        BudgetLine(
            "l_S", inputs["l_S_nm"]["u"], Distribution.STANDARD, "certificate", inputs["l_S_nm"]["dof"]
        ),
        BudgetLine("d", inputs["d_nm"]["u"], Distribution.STANDARD, "comparison", inputs["d_nm"]["dof"]),
        BudgetLine(
            "delta alpha",
            inputs["dalpha_per_C"]["u"],
            Distribution.STANDARD,
            "estimate",
            inputs["dalpha_per_C"]["dof"],
            abs(length * theta),
        ),
        BudgetLine(
            "delta theta",
            inputs["dtheta_C"]["u"],
            Distribution.STANDARD,
            "estimate",
            inputs["dtheta_C"]["dof"],
            length * alpha,
        ),
    ]


def test_the_end_gauges_budget_is_the_published_one() -> None:
    found = budget(h1_lines(), confidence=0.99)
    published = [value for value in H1["contributions_nm"] if value]
    for line, value in zip(found.lines, published, strict=True):
        assert line.standard_nm == pytest.approx(value, abs=0.05)
    assert math.ceil(found.combined_nm) == H1["uc_nm_printed"]
    assert found.degrees_of_freedom == pytest.approx(H1["nu_eff_unrounded"], abs=0.01)
    assert math.floor(found.degrees_of_freedom or 0) == H1["nu_eff_printed_truncated"]
    assert found.coverage_factor == pytest.approx(H1["t_99_16"], abs=0.005)
    assert found.coverage_factor * H1["uc_nm_printed"] == pytest.approx(H1["U99_nm_printed"], abs=0.5)


def test_the_thermal_line_is_the_gums_temperature_difference() -> None:
    # H.1: the difference lies within 0.05 degrees, equally likely:
    # 50.000623 mm * 11.5e-6 * 0.05 / sqrt(3) = 16.6 nm.
    found = thermal_line(11.5e-6, 50_000_623, 0.05, "two thermometers")
    assert found.standard_nm == pytest.approx(16.6, abs=0.05)


def test_divisors_are_those_of_the_distributions_standard_deviations() -> None:
    half_width_one = {
        Distribution.RECTANGULAR: stats.uniform(-1, 2),
        Distribution.TRIANGULAR: stats.triang(0.5, -1, 2),
        Distribution.U_SHAPED: stats.arcsine(-1, 2),
    }
    for distribution, known in half_width_one.items():
        assert 1 / distribution.divisor == pytest.approx(known.std(), rel=1e-12)


@pytest.mark.parametrize(
    ("n", "p", "gamma", "k1"),
    [
        (TOLERANCE["n"], TOLERANCE["p"], TOLERANCE["gamma"], TOLERANCE["noncentral_t"]["k1"]),
        (6, TOLERANCE["p"], TOLERANCE["gamma"], TOLERANCE["n6"]["noncentral_t_k1"]),
    ],
)
def test_the_noncentral_t_behind_the_caught_shift_gives_the_handbooks_one_sided_factor(
    n: int, p: float, gamma: float, k1: float
) -> None:
    # A noncentral t with n - 1 degrees and shift z_p sqrt(n) lies below k1 sqrt(n) with probability gamma.
    shift = special.ndtri(p) * math.sqrt(n)
    assert 1 - _above(np.array([k1 * math.sqrt(n)]), shift, n - 1)[0] == pytest.approx(gamma, abs=2e-5)
