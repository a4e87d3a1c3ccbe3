"""A coverage factor that the lead types scales what it says:
no stop line falls onto the ask line by it (item 8).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tests.quality.histories import THOUSANDTH, lines, place_nm, seating
from tests.quality.rows import Row
from webapp.domain.usual.usual import FloorInputs, LinesChoice

FACTORS = (1.0, 2.0, 2.5, 3.0, 10.0)


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield the least ratio of stop and ask line where the factor rules, and where the values do."""
    for name, floor in (
        ("the floor rules", FloorInputs(30_000, 20_000)),
        ("the values rule", FloorInputs(500, 500)),
    ):
        chance = np.random.default_rng([seed, 8])
        ratios = []
        for number in range(max(20, count // 20)):
            values = place_nm(chance) + 10_000 * chance.standard_normal(12)
            choice = LinesChoice(coverage_factor=FACTORS[number % len(FACTORS)], ceiling_nm=10**9)
            found = lines([seating("a", values, THOUSANDTH)], THOUSANDTH, floor, choice)
            ratios.append((found.stop_nm or 0) / (found.ask_nm or 1))
        yield Row(8, f"a typed factor, {name}: least stop line over ask line", min(ratios), 1.15)
