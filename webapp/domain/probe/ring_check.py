"""Probe health: a ring or a sphere of known size, touched all round, shows the ball's effective radius and more.

Rules of this module:
- Typed are the positions of the ball's centre at the trigger. In a ring they lie on a circle of D/2 - r_eff, around a
  sphere or pin on one of D/2 + r_eff; so r_eff follows from the fitted radius (common practice, no source; the sign
  is geometry).
- Two diametral points in X and two in Y give a radius for each axis; four or more points give a fitted circle.
- Lobing: the range of the radii over the directions (the form error of ISO 230-10 and ISO 10360-5 in one plane; from
  memory). Repeatability: the pooled standard deviation of points that were touched more than once in one place.
- The uncertainty of r_eff combines that of the fit with half that of the artefact's diameter.
- A check is due a number of days after the last; on the day itself it is not yet overdue.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from webapp.domain.figures import spread
from webapp.domain.figures.circle_fit import Point, fit_circle
from webapp.domain.plain.errors import DomainError

Artefact = Literal["ring", "sphere"]
LEAST_POINTS = 4


class RingCheckError(DomainError):
    """The check cannot be worked out."""


class RingTooFewPointsError(RingCheckError):
    """Fewer than four points, or a diametral point is missing."""

    code = "ring.too_few_points"
    field_names = ("n", "least")


class RingDoesNotFitError(RingCheckError):
    """The points lie on a circle that this artefact and this ball cannot give."""

    code = "ring.does_not_fit"
    field_names = ("found", "expected", "unit")


class IntervalNotPositiveError(RingCheckError):
    """The days between two checks are fewer than one."""

    code = "ring.interval_not_positive"
    field_names = ("days",)


@dataclass(frozen=True)
class RingCheck:
    """What a check found, in nanometres. None where the points do not tell it.

    `radius_x_nm` and `radius_y_nm` are the effective radii along the axes; `repeatability_nm` a standard deviation.
    `path_radius_nm` is the fitted circle's, `covariance_nm2` that of its centre and radius (x, y, radius) in nm^2.
    """

    effective_radius_nm: float
    uncertainty_nm: float | None
    lobing_nm: float
    repeatability_nm: float | None
    centre_nm: Point
    radius_x_nm: float | None = None
    radius_y_nm: float | None = None
    covariance_nm2: tuple[tuple[float, ...], ...] | None = None
    degrees_of_freedom: int = 0
    path_radius_nm: float | None = None


def from_diametral(
    ends_nm: Mapping[str, tuple[int, int]],
    diameter_nm: int,
    artefact: Artefact,
    diameter_uncertainty_nm: float = 0,
) -> RingCheck:
    """Return the check from the two positions on X and the two on Y, through the centre.

    `ends_nm`: {"X": (low, high), "Y": (low, high)}. Raises `RingTooFewPointsError`, `RingDoesNotFitError`.
    """
    if set(ends_nm) != {"X", "Y"}:
        raise RingTooFewPointsError(n=2 * len(ends_nm), least=LEAST_POINTS)
    radii = {
        axis: _effective(abs(high - low) / 2, diameter_nm, artefact) for axis, (low, high) in ends_nm.items()
    }
    mean = (radii["X"] + radii["Y"]) / 2
    apart = abs(radii["X"] - radii["Y"])
    # Two radii: their mean is known to half their distance (standard deviation over sqrt(2)), and half the diameter's.
    uncertainty = math.hypot(apart / 2, diameter_uncertainty_nm / 2)
    centre = (sum(ends_nm["X"]) / 2, sum(ends_nm["Y"]) / 2)
    return RingCheck(mean, uncertainty, apart, None, centre, radii["X"], radii["Y"])


def from_points(
    points_nm: Sequence[Point], diameter_nm: int, artefact: Artefact, diameter_uncertainty_nm: float = 0
) -> RingCheck:
    """Return the check from four or more positions all round. Raises a `RingCheckError` or `CircleError`."""
    if len(points_nm) < LEAST_POINTS:
        raise RingTooFewPointsError(n=len(points_nm), least=LEAST_POINTS)
    circle = fit_circle(points_nm)
    effective = _effective(circle.radius, diameter_nm, artefact)
    own = circle.radius_uncertainty
    uncertainty = None if own is None else math.hypot(own, diameter_uncertainty_nm / 2)
    return RingCheck(
        effective,
        uncertainty,
        circle.out_of_round,
        None,
        (circle.x, circle.y),
        covariance_nm2=circle.covariance,
        degrees_of_freedom=circle.degrees_of_freedom,
        path_radius_nm=circle.radius,
    )


def from_repeats(
    places_nm: Sequence[Sequence[Point]],
    diameter_nm: int,
    artefact: Artefact,
    diameter_uncertainty_nm: float = 0,
) -> RingCheck:
    """Return the check from places that were touched several times each: lobing from their means, and
    repeatability.
    """
    means = [
        (sum(x for x, _ in place) / len(place), sum(y for _, y in place) / len(place))
        for place in places_nm
        if place
    ]
    found = from_points(means, diameter_nm, artefact, diameter_uncertainty_nm)
    x, y = found.centre_nm
    radii = [[round(math.hypot(px - x, py - y) * 1000) for px, py in place] for place in places_nm]
    repeated = [place for place, values in enumerate(radii) if len(values) > 1]
    repeatability = spread.pool(radii, repeated).s_nm / 1000 if repeated else None
    return replace(found, repeatability_nm=repeatability)


def _effective(path_radius_nm: float, diameter_nm: int, artefact: Artefact) -> float:
    sign = 1 if artefact == "ring" else -1
    effective = sign * (diameter_nm / 2 - path_radius_nm)
    if effective <= 0:
        raise RingDoesNotFitError(
            found=f"{2 * path_radius_nm / 1e6:.4f}", expected=f"{diameter_nm / 1e6:.4f}", unit="mm"
        )
    return effective


def due(checked_on: date, every_days: int) -> date:
    """Return the last day on which the check still counts. Raises `IntervalNotPositiveError`."""
    if every_days < 1:
        raise IntervalNotPositiveError(days=every_days)
    return checked_on + timedelta(days=every_days)


def days_overdue(checked_on: date | None, every_days: int, today: date) -> int:
    """Return how many days the check is overdue, 0 when it is not; one that was never made is overdue
    from the start.
    """
    if checked_on is None:
        return max(1, every_days)
    return max(0, (today - due(checked_on, every_days)).days)
