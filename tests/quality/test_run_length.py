"""The run lengths that figures are held against: Lucas and Saccucci's, and a seeded simulation."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.quality.run_length import ewma_run_length, individuals_run_length

LENGTHS: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "run_lengths.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize(("weight", "limit"), LENGTHS["ewma_arl0_500"])
def test_lucas_and_saccuccis_charts_run_five_hundred_setups(weight: float, limit: float) -> None:
    assert ewma_run_length(weight, limit) == pytest.approx(500, abs=1)


@pytest.mark.parametrize("weight", [0.1, 0.2])
def test_a_step_of_one_sigma_is_seen_after_the_published_run(weight: float) -> None:
    limit = dict(LENGTHS["ewma_arl0_500"])[weight]
    published = LENGTHS["ewma_arl1_sigma"][f"{weight:.2f}"]
    assert ewma_run_length(weight, limit, shift=1) == pytest.approx(published, abs=0.06)


def test_three_sigma_limits_run_three_hundred_and_seventy_setups() -> None:
    assert individuals_run_length() == pytest.approx(LENGTHS["shewhart_arl0"], abs=0.05)


def test_an_ewma_of_weight_one_is_an_individuals_chart() -> None:
    assert ewma_run_length(0.999999, 3.0) == pytest.approx(individuals_run_length(), rel=0.02)


def test_both_charts_together_run_shorter_than_each_and_longer_than_independent_ones() -> None:
    both = ewma_run_length(0.2, 2.962, individuals_limit=3.0)
    assert both < individuals_run_length()
    assert both > 1 / (1 / 500 + 1 / 370.4)


def test_the_markov_chain_agrees_with_a_seeded_simulation() -> None:
    chance = np.random.default_rng(1990)
    lengths = []
    for _ in range(1500):
        z, n = 0.0, 0
        while abs(z) <= 2.962 / 3:
            z, n = 0.2 * chance.standard_normal() + 0.8 * z, n + 1
        lengths.append(n)
    expected = ewma_run_length(0.2, 2.962)
    assert abs(np.mean(lengths) - expected) < 4 * np.std(lengths) / math.sqrt(len(lengths))
