"""Control charts, run rules and run lengths against published figures; sources stand in the data files.

Reached: the individuals chart's limits to the four printed decimals; every printed EWMA to its two decimals
and both limits to 1e-4; chart constants to the printed digits; Lucas and Saccucci's run lengths of 500 to 0.1
%.
"""

from __future__ import annotations

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate, stats

from tests.quality.run_length import PUBLISHED
from webapp.domain.figures.run_rules import run_rules
from webapp.domain.usual import drift

DATA = Path(__file__).parent / "data"


def facts(name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((DATA / name).read_text(encoding="utf-8"))
    return read


INDIVIDUALS = facts("individuals.json")
EWMA = facts("ewma.json")
CONSTANTS = facts("chart_constants.json")
LENGTHS = facts("run_lengths.json")


def dated(values: list[float], step: float = 1e-6) -> list[drift.DatedValue]:
    """Published values as if they were millimetres, in nanometres."""
    return [
        drift.DatedValue(f"setup-{place:03}", f"2026-01-01T{place:06}", round(value / step))
        for place, value in enumerate(values)
    ]


def test_the_individuals_chart_is_the_handbooks() -> None:
    found = drift.chart(dated(INDIVIDUALS["data"]), hidden_nm=1, limits=PUBLISHED)
    assert round(found.centre_nm / 1e6, 2) == INDIVIDUALS["mean"]
    assert round(found.moving_range_mean_nm / 1e6, 4) == INDIVIDUALS["mr_bar"]
    assert round((found.centre_nm + found.limit_nm) / 1e6, 4) == INDIVIDUALS["ucl"]
    assert round((found.centre_nm - found.limit_nm) / 1e6, 4) == INDIVIDUALS["lcl"]
    ranges = [point.moving_range_nm for point in found.points[1:]]
    assert ranges == [round(value * 1e6) for value in INDIVIDUALS["moving_ranges"]]
    assert INDIVIDUALS["in_control"]
    assert [signal for signal in found.signals if signal.kind == "individuals"] == []


def test_the_ewma_is_the_handbooks() -> None:
    found = drift.ewma(EWMA["data"], EWMA["ewma0_target"], EWMA["lambda"])
    printed = EWMA["ewma_printed_from_z0"]
    assert len(found) == len(printed) - 1
    for value, text in zip(found, printed[1:], strict=True):
        assert abs(value - text) <= 0.005
    half = EWMA["k"] * EWMA["s"] * math.sqrt(EWMA["lambda"] / (2 - EWMA["lambda"]))
    assert EWMA["ewma0_target"] + half == pytest.approx(EWMA["ucl"], abs=1e-4)
    assert EWMA["ewma0_target"] - half == pytest.approx(EWMA["lcl"], abs=1e-4)
    assert [value for value in found if abs(value - EWMA["ewma0_target"]) > half] == EWMA["out_of_limits"]


def test_the_chart_draws_the_ewma_limits_by_the_same_formula() -> None:
    found = drift.chart(dated(EWMA["data"]), hidden_nm=1, limits=PUBLISHED)
    expected = 2.962 * found.sigma_nm * math.sqrt(0.2 / 1.8)
    assert found.ewma_limit_nm == pytest.approx(expected, rel=1e-12)


def mean_relative_range(n: int) -> float:
    """d2 by integration of the range of n normal values (Tippett 1925)."""
    return float(integrate.quad(lambda x: 1 - stats.norm.cdf(x) ** n - stats.norm.sf(x) ** n, -8, 8)[0])


def test_the_program_divides_by_the_mean_range_of_two_values() -> None:
    assert pytest.approx(mean_relative_range(2), abs=6e-4) == drift.D2


def test_the_program_uses_the_printed_constants_of_two_values() -> None:
    assert CONSTANTS["n2"]["d2"] == drift.D2
    individuals = 3 / drift.D2
    assert individuals == pytest.approx(CONSTANTS["n2"]["E2"], abs=5e-4)


def test_our_chart_is_one_of_lucas_and_saccuccis() -> None:
    ours = [drift.WEIGHT, PUBLISHED.ewma]
    assert ours in LENGTHS["ewma_arl0_500"]


# Nelson's rules, one by one: a series that completes the rule at its last value,
# and the same with one value spoiled.
UP = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
TURN = [0.5, -0.5] * 7
RULES = [
    (1, [3.01], [3.0]),
    (2, [0.5] * 9, [0.5] * 8 + [-0.1]),
    (3, UP, [*UP[:5], 0.5]),
    (4, TURN, [*TURN[:13], 0.6]),
    (5, [2.1, 0.0, 2.1], [2.1, 0.0, -2.1]),
    (6, [1.1, 1.1, 0.0, 1.1, 1.1], [1.1, 1.1, 0.0, -1.1, 1.1]),
    (7, [0.9, -0.9, 0.3] * 5, [0.9, -0.9, 0.3] * 4 + [0.9, -0.9, 1.0]),
    (8, [1.1, -1.1, 1.5, -1.5] * 2, [1.1, -1.1, 1.5, -1.5, 1.1, -1.1, 1.5, 0.9]),
]


@pytest.mark.parametrize(
    ("number", "shows", "spoiled"), RULES, ids=[f"test {number}" for number, _, _ in RULES]
)
def test_nelsons_rule_is_completed_by_its_last_value(
    number: int, shows: list[float], spoiled: list[float]
) -> None:
    assert number in run_rules(shows)[-1]
    assert number not in run_rules(spoiled)[-1]
    assert all(number not in rules for rules in run_rules(shows)[:-1])
    assert [number in rules for rules in run_rules([-value for value in shows])][-1]
    assert str(number) in facts("run_rules.json")["nelson"]


def test_equal_neighbours_neither_rise_nor_take_turns() -> None:
    assert 3 not in run_rules([0.1, 0.2, 0.3, 0.3, 0.4, 0.5])[-1]
    assert 4 not in run_rules([0.5, -0.5] * 6 + [0.5, 0.5])[-1]
    assert 2 not in run_rules([0.5] * 8 + [0.0])[-1]


def test_moving_ranges_and_their_mean_are_as_numpy_has_them() -> None:
    values = INDIVIDUALS["data"]
    assert drift.moving_ranges(values) == pytest.approx(list(np.abs(np.diff(values))))
    assert len(drift.moving_ranges(values)) == len(list(pairwise(values)))
