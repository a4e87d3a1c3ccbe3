"""Probe health: a ring or a sphere of known size, touched all round, shows the ball's effective radius and
more.

Rules of this module:
- Typed are the positions of the ball's centre at the trigger. In a ring they lie on a circle of D/2 - r_eff,
  around a sphere or pin on one of D/2 + r_eff; so r_eff follows from the fitted radius (common practice, no
  source; the sign is geometry).
- Two diametral points in X and two in Y give a radius for each axis;
  four or more points give a fitted circle.
- Two points on X tell where the middle lies on X wherever they run; how far beside the middle the two on Y
  ran follows from there, and their half distance h lies on a radius of sqrt(h^2 + e^2) (a chord; geometry).
  Where nobody says at which place they were touched, two radii that differ by more than three standard
  uncertainties of chance show it.
- Lobing: the range of the radii over the directions (the form error of ISO 230-10 and ISO 10360-5 in one
  plane; from memory); what the points can tell of lobes: see `lobes`. Repeatability: the pooled standard
  deviation of points that were touched more than once in one place.
- The uncertainty of r_eff combines that of the fit with half that of the artefact's diameter. The fit's
  counts as no less than what the display's step q leaves unknown, q/sqrt(12) a reading. It is known from few
  points: the expanded uncertainty is Student's t at 95 % for the effective degrees of freedom times it (JCGM
  100:2008, G.4.1).
- A check is due a number of days after the last; on the day itself it is not yet overdue.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal, TypedDict

from webapp.domain.figures import spread
from webapp.domain.figures.circle_fit import Circle, Point, fit_circle
from webapp.domain.plain.errors import DomainError
from webapp.domain.probe.lobes import Form, lobes_of

Artefact = Literal["ring", "sphere"]
LEAST_POINTS = 4
CONFIDENCE = 0.95


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

    `radius_x_nm` and `radius_y_nm` are the effective radii along the axes; `repeatability_nm` a standard
    deviation. `path_radius_nm` is the fitted circle's, `covariance_nm2` that of its centre and radius (x, y,
    radius) in nm^2. `expanded_nm` is the half-width that holds the radius with 95 % confidence,
    `expanded_degrees` what its factor was taken for (None: known exactly). `form` says what the places can
    tell of lobes (see `lobes`). `chord_axis` is the axis whose touches ran `chord_off_nm` beside the middle;
    `chord_is_taken_out` whether that is worked in.
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
    expanded_nm: float | None = None
    expanded_degrees: int | None = None
    form: Form | None = None
    lobes: int | None = None
    or_lobes: int | None = None
    lobe_height_nm: float | None = None
    chord_axis: str | None = None
    chord_off_nm: float | None = None
    chord_is_taken_out: bool = False


@dataclass(frozen=True)
class Known:
    """What is known of each touch besides:
    the display's step, and the standard uncertainty of probing, in nm.
    """

    step_nm: float = 0.0
    u_probe_nm: float = 0.0

    @property
    def touch_nm(self) -> float:
        """Return the standard uncertainty of one touch as it is shown."""
        return math.hypot(self.u_probe_nm, self.step_nm / math.sqrt(12))


NOTHING_KNOWN = Known()


def from_diametral(
    ends_nm: Mapping[str, tuple[int, int]],
    diameter_nm: int,
    artefact: Artefact,
    diameter_uncertainty_nm: float = 0,
    known: Known = NOTHING_KNOWN,
    touched_at_nm: Mapping[str, int] | None = None,
) -> RingCheck:
    """Return the check from the two positions on X and the two on Y, through the centre.

    `ends_nm`: {"X": (low, high), "Y": (low, high)}; `touched_at_nm`: where the other axis stood while these
    two were touched, by axis, where it was noted. Raises `RingTooFewPointsError`, `RingDoesNotFitError`.
    """
    if set(ends_nm) != {"X", "Y"}:
        raise RingTooFewPointsError(n=2 * len(ends_nm), least=LEAST_POINTS)
    centre = (sum(ends_nm["X"]) / 2, sum(ends_nm["Y"]) / 2)
    beside = {
        axis: abs(at_nm - centre[1 if axis == "X" else 0]) for axis, at_nm in (touched_at_nm or {}).items()
    }
    paths = {
        axis: math.hypot((high - low) / 2, beside.get(axis, 0.0)) for axis, (low, high) in ends_nm.items()
    }
    radii = {axis: _effective(path, diameter_nm, artefact) for axis, path in paths.items()}
    mean = (radii["X"] + radii["Y"]) / 2
    apart = abs(radii["X"] - radii["Y"])
    # Two radii: their mean is known to half their distance (standard deviation over sqrt(2)),
    # from one degree of freedom; four readings, each off by up to half a step, leave it open by q / sqrt(48).
    own = max(apart / 2, known.step_nm / math.sqrt(48))
    found = RingCheck(
        mean, None, apart, None, centre, radii["X"], radii["Y"], form="cannot_show", degrees_of_freedom=1
    )
    return replace(found, **_stated(own, 1, diameter_uncertainty_nm), **_chord(paths, beside, known))


class _Chord(TypedDict, total=False):
    chord_axis: str
    chord_off_nm: float
    chord_is_taken_out: bool


class _Stated(TypedDict):
    uncertainty_nm: float
    expanded_nm: float
    expanded_degrees: int | None


def _chord(paths: Mapping[str, float], beside: Mapping[str, float], known: Known) -> _Chord:
    """Return which axis' touches ran beside the middle, and how far;
    empty where none did as far as can be told.
    """
    short, long = sorted(paths, key=lambda axis: paths[axis])
    if paths[long] - paths[short] > 3 * known.touch_nm > 0 and short not in beside:
        off = math.sqrt(paths[long] ** 2 - paths[short] ** 2)
        return {"chord_axis": short, "chord_off_nm": off, "chord_is_taken_out": False}
    axis = max(beside, key=lambda one: beside[one], default=None)
    # A chord so near the middle changes a radius by less than a tenth of a step.
    if axis is None or beside[axis] ** 2 <= 0.2 * known.step_nm * paths[axis]:
        return {}
    return {"chord_axis": axis, "chord_off_nm": beside[axis], "chord_is_taken_out": True}


def _stated(own_nm: float, degrees: int, diameter_uncertainty_nm: float) -> _Stated:
    """Return combined and expanded uncertainty of a radius whose own is known from so many degrees of
    freedom.
    """
    combined = math.hypot(own_nm, diameter_uncertainty_nm / 2)
    if own_nm == 0 or degrees < 1:
        factor, whole = spread.normal_quantile(CONFIDENCE), None
    else:
        whole = spread.whole_degrees((combined / own_nm) ** 4 * degrees)
        factor = spread.t_quantile(CONFIDENCE, whole)
    return {"uncertainty_nm": combined, "expanded_nm": factor * combined, "expanded_degrees": whole}


def from_points(
    points_nm: Sequence[Point],
    diameter_nm: int,
    artefact: Artefact,
    diameter_uncertainty_nm: float = 0,
    known: Known = NOTHING_KNOWN,
    repeated: tuple[float, int] = (0.0, 0),
) -> RingCheck:
    """Return the check from four or more positions all round. Raises a `RingCheckError` or `CircleError`."""
    if len(points_nm) < LEAST_POINTS:
        raise RingTooFewPointsError(n=len(points_nm), least=LEAST_POINTS)
    circle = fit_circle(points_nm)
    effective = _effective(circle.radius, diameter_nm, artefact)
    found = lobes_of(points_nm, circle, known.step_nm, *repeated)
    return RingCheck(
        effective,
        lobing_nm=circle.out_of_round,
        repeatability_nm=None,
        centre_nm=(circle.x, circle.y),
        covariance_nm2=circle.covariance,
        degrees_of_freedom=circle.degrees_of_freedom,
        path_radius_nm=circle.radius,
        form=found.form,
        lobes=found.lobes,
        or_lobes=found.or_lobes,
        lobe_height_nm=found.height_nm,
        **_stated(_radius_nm(circle, known), circle.degrees_of_freedom, diameter_uncertainty_nm),
    )


def _radius_nm(circle: Circle, known: Known) -> float:
    """Return the standard uncertainty of the fitted radius;
    a step leaves each reading unknown by so much at least.
    """
    own = circle.radius_uncertainty or 0.0
    scatter = math.sqrt(math.fsum(one**2 for one in circle.residuals) / max(1, circle.degrees_of_freedom))
    least = known.step_nm / math.sqrt(12)
    if scatter > least or scatter == 0:
        return max(own, least / math.sqrt(len(circle.residuals)))
    return own * least / scatter


def from_repeats(
    places_nm: Sequence[Sequence[Point]],
    diameter_nm: int,
    artefact: Artefact,
    diameter_uncertainty_nm: float = 0,
    known: Known = NOTHING_KNOWN,
) -> RingCheck:
    """Return the check from places that were touched several times each: lobing from their means, and
    repeatability.
    """
    means = [
        (sum(x for x, _ in place) / len(place), sum(y for _, y in place) / len(place))
        for place in places_nm
        if place
    ]
    found = from_points(means, diameter_nm, artefact, diameter_uncertainty_nm, known)
    x, y = found.centre_nm
    radii = [[round(math.hypot(px - x, py - y) * 1000) for px, py in place] for place in places_nm]
    repeated = [place for place, values in enumerate(radii) if len(values) > 1]
    if not repeated:
        return found
    pooled = spread.pool(radii, repeated)
    s_nm, degrees = pooled.s_nm / 1000, pooled.degrees_of_freedom
    touches = sum(len(place) for place in radii) / len(radii)
    again = from_points(
        means,
        diameter_nm,
        artefact,
        diameter_uncertainty_nm,
        known,
        # A mean of several touches scatters less than one of them.
        repeated=(s_nm**2 * degrees / touches, int(degrees)),
    )
    return replace(again, repeatability_nm=s_nm)


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
