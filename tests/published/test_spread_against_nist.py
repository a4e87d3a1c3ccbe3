"""Mean, spread, Student's t, Grubbs' test and the prediction interval against published figures.

Sources stand in data/strd_univariate.json, student_t.json,
grubbs.json, prediction_interval.json, gum_h1.json.

Reached on the StRD sets: all 15 certified digits of mean and standard deviation on Lew, Lottery, Michelso and
NumAcc1 to NumAcc4, with values taken as exact decimals, as typed lengths are.
"""

from __future__ import annotations

import json
import math
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from webapp.domain.figures import spread
from webapp.domain.figures.exact_sums import sum_of_squares
from webapp.domain.figures.neighbours import _steps
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, combined_uncertainty_nm

DATA = Path(__file__).parent / "data"


def facts(name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((DATA / name).read_text(encoding="utf-8"))
    return read


STRD = facts("strd_univariate.json")["sets"]
STUDENT = facts("student_t.json")
GRUBBS = facts("grubbs.json")
PREDICTION = facts("prediction_interval.json")
GUM = facts("gum_h1.json")
# Certified lag-1 autocorrelations of the same sets.
LAG_ONE = facts("strd_univariate.json")["lag_1_autocorrelation"]


def decimals_of(dataset: dict[str, Any]) -> list[str]:
    if "values" in dataset:
        return str(dataset["values"]).split()
    return [dataset["first"], *dataset["then_500_times"] * 500]


def fifteen_digits(value: float | Fraction | str) -> str:
    exact = (
        Decimal(value.numerator) / Decimal(value.denominator)
        if isinstance(value, Fraction)
        else Decimal(value)
    )
    return f"{exact:.14e}"


@pytest.mark.parametrize("name", sorted(STRD))
def test_mean_and_standard_deviation_have_all_certified_digits(name: str) -> None:
    values = [Fraction(text) for text in decimals_of(STRD[name])]
    assert fifteen_digits(spread.mean(values)) == fifteen_digits(STRD[name]["mean"])
    assert fifteen_digits(spread.pool([values], [0]).s_nm) == fifteen_digits(STRD[name]["sd"])


@pytest.mark.parametrize("name", sorted(STRD))
def test_whole_numbers_of_nanometres_have_all_certified_digits(name: str) -> None:
    values = [int(Fraction(text) * 1_000_000) for text in decimals_of(STRD[name])]
    scaled = spread.pool([values], [0]).s_nm / 1_000_000
    assert math.isclose(scaled, float(STRD[name]["sd"]), rel_tol=1e-14)


CASES = [(p, df, t) for p in ("0.95", "0.975", "0.995") for df, t in STUDENT[p].items()]


@pytest.mark.parametrize(("probability", "degrees", "table"), CASES)
def test_students_t_rounds_to_the_printed_table(probability: str, degrees: str, table: float) -> None:
    coverage = 2 * float(probability) - 1
    found = (
        spread.normal_quantile(coverage)
        if degrees == "infinity"
        else spread.t_quantile(coverage, int(degrees))
    )
    assert Decimal(found).quantize(Decimal("0.001"), ROUND_HALF_UP) == Decimal(str(table)).quantize(
        Decimal("0.001")
    )


@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.99, 0.999, 0.9999])
def test_students_t_agrees_with_its_closed_forms(coverage: float) -> None:
    p = (1 + coverage) / 2
    assert spread.t_quantile(coverage, 1) == pytest.approx(math.tan(math.pi * (p - 0.5)), rel=1e-9)
    closed_for_two = (2 * p - 1) * math.sqrt(2 / (1 - (2 * p - 1) ** 2))
    assert spread.t_quantile(coverage, 2) == pytest.approx(closed_for_two, rel=1e-9)
    alpha = 4 * p * (1 - p)
    quarter = math.cos(math.acos(math.sqrt(alpha)) / 3) / math.sqrt(alpha)
    assert spread.t_quantile(coverage, 4) == pytest.approx(2 * math.sqrt(quarter - 1), rel=1e-9)


@pytest.mark.parametrize("degrees", [1, 2, 3, 7, 30, 200])
@pytest.mark.parametrize("coverage", [0.5, 0.95, 0.99, 0.999])
def test_quantiles_agree_with_the_distributions_of_scipy(coverage: float, degrees: int) -> None:
    p = (1 + coverage) / 2
    assert spread.t_quantile(coverage, degrees) == pytest.approx(stats.t.ppf(p, degrees), rel=1e-12)
    assert spread.normal_quantile(coverage) == pytest.approx(stats.norm.ppf(p), rel=1e-12)


@pytest.mark.parametrize("ratio", [0.01, 0.3, 1.0, 4.0, 60.0])
def test_the_test_of_two_variances_agrees_with_its_closed_form(ratio: float) -> None:
    # With 2 degrees of freedom above, P(F > x) = (1 + 2x/v)^(-v/2).
    other = 7
    one = spread.Pooled(Fraction(ratio), 2, (0,))
    found = spread.variance_test(one, spread.Pooled(Fraction(1), other, (1,)), 0)
    above = (1 + 2 * ratio / other) ** (-other / 2)
    assert found.p_value == pytest.approx(min(1, 2 * min(above, 1 - above)), rel=1e-9)


def test_grubbs_example_of_the_handbook() -> None:
    values = [Fraction(text) for text in GRUBBS["values"]]
    found = spread.grubbs(values)
    assert found.index == 7
    assert found.statistic == pytest.approx(GRUBBS["statistic"], abs=1e-6)
    critical = spread.grubbs_critical(8, 0.05, sides=1)
    assert round(critical, 3) == GRUBBS["critical_one_sided"]
    assert found.statistic > critical
    assert found.is_suspect


@pytest.mark.parametrize(("n", "table"), GRUBBS["one_sided"].items())
def test_grubbs_one_sided_table(n: str, table: float) -> None:
    assert spread.grubbs_critical(int(n), 0.05, sides=1) == pytest.approx(table, abs=6e-5)


@pytest.mark.parametrize(("n", "table"), GRUBBS["two_sided"].items())
def test_grubbs_two_sided_table(n: str, table: float) -> None:
    assert spread.grubbs_critical(int(n), 0.05) == pytest.approx(table, abs=1.1e-3)


def test_the_textbook_interval_for_one_more_value() -> None:
    values = [Fraction(text) for text in PREDICTION["values"]]
    centre, s = spread.mean(values), spread.pool([values], [0]).s_nm
    assert f"{float(centre):.2f}" == PREDICTION["mean"]
    assert f"{s:.3f}" == PREDICTION["sd"]
    half = spread.prediction_half_width(s, 9, 1 / 10, PREDICTION["coverage"])
    assert f"{float(centre) - half:.2f}" == PREDICTION["low"]
    assert f"{float(centre) + half:.2f}" == PREDICTION["high"]


@pytest.mark.parametrize("name", sorted(LAG_ONE))
def test_the_squares_of_neighbours_are_those_that_the_certified_figures_give(name: str) -> None:
    # With a the deviations from the mean and S their squares:
    # sum of (a_i - a_i-1)^2 = 2 S (1 - r1) - a_1^2 - a_n^2.
    values = [Fraction(text) for text in decimals_of(STRD[name])]
    in_nm = [int(value * 1_000_000) for value in values]
    squares = (len(values) - 1) * Fraction(STRD[name]["sd"]) ** 2
    ends = [value - Fraction(STRD[name]["mean"]) for value in (values[0], values[-1])]
    expected = 2 * squares * (1 - Fraction(LAG_ONE[name])) - sum(end**2 for end in ends)
    assert sum_of_squares(_steps(in_nm)) / 10**12 == pytest.approx(float(expected), rel=2e-13)


def test_the_combined_uncertainty_of_the_end_gauge() -> None:
    probe, axis, seat, _ = GUM["contributions_nm"]
    floor = FloorInputs(
        probe,
        axis,
        seat,
        GUM["expansion_per_kelvin"],
        GUM["length_nm"],
        GUM["temperature_half_range_kelvin"],
    )
    # A display of 1 nm adds 1/12 nm2, which the end gauge's budget does not have.
    found = combined_uncertainty_nm(floor, Display(Unit.MM, 6)) ** 2 - 1 / 12
    assert found == pytest.approx(GUM["combined_nm2"], abs=2)
    assert round(math.sqrt(found)) == GUM["combined_nm_printed"]
    only_heat = FloorInputs(0, 0, 0, floor.expansion_per_kelvin, floor.length_nm, 0.05)
    heat = math.sqrt(combined_uncertainty_nm(only_heat, Display(Unit.MM, 6)) ** 2 - 1 / 12)
    assert heat == pytest.approx(GUM["temperature_contribution_nm"], abs=0.05)
