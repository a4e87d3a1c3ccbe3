"""The geometric circle fit against Gander, Golub and Strebel (1994) and the SciPy Cookbook.

Sources stand in data/circle_fit.json.

Reached: every printed digit (4 and 5 decimals), and the covariance of scipy.optimize on a circle touched all
round.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from webapp.domain.figures.circle_fit import fit_circle, kasa

DATA = json.loads((Path(__file__).parent / "data" / "circle_fit.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("name", "decimals"), [("ggs", 4), ("cookbook_full", 5), ("cookbook_arc", 5)])
def test_the_geometric_fit_is_the_published_one(name: str, decimals: int) -> None:
    points = [(float(x), float(y)) for x, y in DATA[name]["points"]]
    published = DATA[name]["geometric"]
    found = fit_circle(points, whole=False)
    allowed = 10**-decimals * 1.1
    assert [found.x, found.y] == pytest.approx(published["center"], abs=allowed)
    assert found.radius == pytest.approx(published["r"], abs=allowed)
    if "residu" in published:
        assert sum(value**2 for value in found.residuals) == pytest.approx(published["residu"], abs=2e-5)


@pytest.mark.parametrize("name", ["cookbook_full", "cookbook_arc"])
def test_the_starting_fit_is_the_cookbooks_algebraic_one(name: str) -> None:
    points = [(float(x), float(y)) for x, y in DATA[name]["points"]]
    published = DATA[name]["algebraic"]
    x, y, _ = kasa(points)
    assert [x, y] == pytest.approx(published["center"], abs=1.1e-5)
    mean_distance = np.mean([math.hypot(px - x, py - y) for px, py in points])
    assert mean_distance == pytest.approx(published["r_mean_distance"], abs=1.1e-5)


def test_fit_and_covariance_agree_with_scipys_least_squares() -> None:
    chance = np.random.default_rng(5)
    angles = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    points = np.column_stack([-7 + 12.5 * np.cos(angles), 3 + 12.5 * np.sin(angles)])
    points += chance.normal(0, 0.004, points.shape)
    found = fit_circle([(float(x), float(y)) for x, y in points])

    def distances(circle: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0] - circle[0], points[:, 1] - circle[1]) - circle[2]

    other = optimize.least_squares(distances, [0, 0, 10], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert [found.x, found.y, found.radius] == pytest.approx(list(other.x), abs=1e-8)
    covariance = np.linalg.inv(other.jac.T @ other.jac) * 2 * other.cost / (12 - 3)
    assert found.covariance is not None
    assert np.array(found.covariance) == pytest.approx(covariance, rel=1e-4, abs=1e-10)
    assert found.radius_uncertainty == pytest.approx(math.sqrt(covariance[2][2]), rel=1e-4)
