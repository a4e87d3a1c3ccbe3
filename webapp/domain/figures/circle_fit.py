"""The circle of least squares through points, with its covariance.

Rules of this module:
- Geometric fit: the sum of squared distances from the circle is made least, by Gauss and Newton's steps from
  Kasa's linear fit (Gander, Golub and Strebel, BIT 34, 1994, section 3). Steps are halved while they do not
  improve.
- Covariance of centre and radius: s^2 (J'J)^-1, s^2 the sum of squared distances over n - 3 (JCGM 100:2008,
  H.3, for its form). With three points there is no degree of freedom and no covariance.
- Points on one side only leave the centre unknown: where the largest gap between neighbours,
  seen from the centre, is half a circle or more, the fit is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from webapp.domain.plain.errors import DomainError

MOST_STEPS = 200
ENOUGH = 1e-12
LARGEST_GAP = math.pi

Point = tuple[float, float]
Array = NDArray[np.float64]


class CircleError(DomainError):
    """No circle can be told from these points."""


class CircleTooFewError(CircleError):
    """Fewer than three points that differ."""

    code = "circle.too_few"
    field_names = ("n", "least")


class CircleOneSidedError(CircleError):
    """All points lie on one side, or on a line."""

    code = "circle.one_sided"
    field_names = ("gap_degrees",)


@dataclass(frozen=True)
class Circle:
    """Centre and radius, distances of the points from the circle (outside above zero), and the covariance.

    All in the unit of the points; `covariance` of (x, y, radius) is None for three points.
    """

    x: float
    y: float
    radius: float
    residuals: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...] | None
    degrees_of_freedom: int

    @property
    def radius_uncertainty(self) -> float | None:
        """Return the standard uncertainty of the radius."""
        return None if self.covariance is None else math.sqrt(self.covariance[2][2])

    @property
    def out_of_round(self) -> float:
        """Return the range of the distances: the form that the probe saw."""
        return max(self.residuals) - min(self.residuals)


def kasa(points: Sequence[Point]) -> tuple[float, float, float]:
    """Return centre and radius of the linear fit that
    makes the sum of (x^2 + y^2 - 2ax - 2by - c)^2 least.
    """
    xy = np.array(points, dtype=np.float64)
    middle = xy.mean(axis=0)
    x, y = (xy - middle).T
    matrix = np.column_stack([2 * x, 2 * y, np.ones(len(x))])
    (a, b, c), *_ = np.linalg.lstsq(matrix, x**2 + y**2, rcond=None)
    return float(a + middle[0]), float(b + middle[1]), math.sqrt(max(0.0, float(c + a * a + b * b)))


def fit_circle(points: Sequence[Point], *, whole: bool = True) -> Circle:
    """Return the geometric fit. Raises a `CircleError`.
    `whole` False takes points on one side too (for checks).
    """
    different = len(set(points))
    if different < 3:
        raise CircleTooFewError(n=different, least=3)
    xy = np.array(points, dtype=np.float64)
    middle, scale = xy.mean(axis=0), float(np.ptp(xy, axis=0).max())
    near = (xy - middle) / scale
    if np.linalg.svd(near, compute_uv=False)[-1] < ENOUGH:
        raise CircleOneSidedError(gap_degrees=360)
    found = _gauss_newton(near, np.array(kasa([(float(x), float(y)) for x, y in near])))
    if whole:
        _check_all_round(near, found)
    residuals, jacobian = _distances(near, found)
    degrees = len(points) - 3
    covariance = None
    if degrees > 0:
        variance = float(residuals @ residuals) / degrees
        matrix = variance * np.linalg.inv(jacobian.T @ jacobian) * scale**2
        covariance = tuple(tuple(float(value) for value in row) for row in matrix)
    x, y, radius = (float(value) * scale for value in found)
    return Circle(
        x + float(middle[0]),
        y + float(middle[1]),
        radius,
        tuple(float(value) * scale for value in residuals),
        covariance,
        degrees,
    )


def _distances(xy: Array, circle: Array) -> tuple[Array, Array]:
    """Return the distances from the circle and their derivatives by x, y and radius of the circle."""
    away = xy - circle[:2]
    lengths = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-300)
    jacobian = np.column_stack([-away / lengths[:, None], -np.ones(len(xy))])
    return lengths - circle[2], jacobian


def _gauss_newton(xy: Array, circle: Array) -> Array:
    for _ in range(MOST_STEPS):
        residuals, jacobian = _distances(xy, circle)
        step: Array = np.linalg.lstsq(jacobian, -residuals, rcond=None)[0].astype(np.float64)
        better = _improved(xy, circle, step, float(residuals @ residuals))
        if better is None:
            break
        moved = float(np.abs(better - circle).max())
        circle = better
        if moved < ENOUGH:
            break
    return circle


def _improved(xy: Array, circle: Array, step: Array, squares: float) -> Array | None:
    """Return the circle after the step, halved until it does not make things worse;
    None where no part of it helps.
    """
    size = 1.0
    while size > ENOUGH:
        after = circle + size * step
        residuals, _ = _distances(xy, after)
        if float(residuals @ residuals) <= squares:
            return after
        size /= 2
    return None


def _check_all_round(xy: Array, circle: Array) -> None:
    angles = np.sort(np.arctan2(xy[:, 1] - circle[1], xy[:, 0] - circle[0]))
    gaps = np.diff(np.append(angles, angles[0] + 2 * math.pi))
    largest = float(gaps.max())
    if largest >= LARGEST_GAP - 1e-9:
        raise CircleOneSidedError(gap_degrees=round(math.degrees(largest)))
