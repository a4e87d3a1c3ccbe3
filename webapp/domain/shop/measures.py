"""What is measured or stated before a touch is planned: stylus, probing motion, face, travel, place.

Rules of this module:
- Lengths are whole nanometres, feeds mm/min, decelerations mm/s^2, times seconds.
- A measure that cannot be is refused by its name, when it is given and not when it is used.
- The shipped safety factor of 2 and the search cap of 6.35 mm (0.25 in) are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.errors import (
    MeasureNegativeError,
    MeasureNotPositiveError,
    SafetyFactorBelowOneError,
)

COMMON_SEARCH_CAP_NM = 6_350_000
SHIPPED_SAFETY_FACTOR = 2.0


def _check_positive(**measures: float) -> None:
    for name, value in measures.items():
        if not math.isfinite(value) or value <= 0:
            raise MeasureNotPositiveError(measure_code=f"measure.{name}", value=str(value))


def _check_not_negative(**measures: float | None) -> None:
    for name, value in measures.items():
        if value is not None and (not math.isfinite(value) or value < 0):
            raise MeasureNegativeError(measure_code=f"measure.{name}", value=str(value))


@dataclass(frozen=True)
class Stylus:
    """The stylus: radii, reach from its shank to the ball's centre, overtravel to the side and upwards, in
    nm.

    `gauge_length_nm` is the length from the spindle's gauge line down to the ball's centre where the
    control's Z counts from the gauge line; 0 where the control already takes the probe's length into account.
    """

    ball_radius_nm: int
    effective_radius_nm: int
    reach_nm: int
    overtravel_side_nm: int
    overtravel_up_nm: int
    radius_uncertainty_nm: int = 0
    gauge_length_nm: int = 0

    def __post_init__(self) -> None:
        _check_positive(
            ball_radius=self.ball_radius_nm,
            reach=self.reach_nm,
            overtravel_side=self.overtravel_side_nm,
            overtravel_up=self.overtravel_up_nm,
        )
        _check_not_negative(
            effective_radius=self.effective_radius_nm,
            radius_uncertainty=self.radius_uncertainty_nm,
            gauge_length=self.gauge_length_nm,
        )

    def overtravel_nm(self, face: Face) -> int:
        """Return the overtravel in the direction that touching this face deflects the stylus."""
        return self.overtravel_up_nm if face.axis is Axis.Z else self.overtravel_side_nm

    def length_along_nm(self, face: Face) -> int:
        """Return how far the axis' reading lies above the ball's centre: the gauge length on Z, else 0."""
        return self.gauge_length_nm if face.axis is Axis.Z else 0


@dataclass(frozen=True)
class ProbingMotion:
    """How the machine probes: feeds of both touches, how it stops, the shop's search cap and safety factor."""

    first_feed_mm_per_min: float
    fine_feed_mm_per_min: float
    deceleration_mm_per_s2: float
    latency_s: float
    search_cap_nm: int = COMMON_SEARCH_CAP_NM
    safety_factor: float = SHIPPED_SAFETY_FACTOR

    def __post_init__(self) -> None:
        _check_positive(
            first_feed=self.first_feed_mm_per_min,
            fine_feed=self.fine_feed_mm_per_min,
            deceleration=self.deceleration_mm_per_s2,
            search_cap=self.search_cap_nm,
        )
        _check_not_negative(latency=self.latency_s)
        if not 1 <= self.safety_factor < math.inf:
            raise SafetyFactorBelowOneError(value=str(self.safety_factor))


@dataclass(frozen=True)
class FaceMeasures:
    """A face to touch: its edge break, its height below the top edge (sides only), its width. None: large enough."""

    face: Face
    edge_break_nm: int = 0
    height_nm: int | None = None
    width_nm: int | None = None

    def __post_init__(self) -> None:
        _check_not_negative(edge_break=self.edge_break_nm)
        for name, value in (("height", self.height_nm), ("width", self.width_nm)):
            if value is not None:
                _check_positive(**{name: value})


@dataclass(frozen=True)
class AxisTravel:
    """Where an axis can go, in machine coordinates, both ends included."""

    low_nm: int
    high_nm: int


@dataclass(frozen=True)
class KnownPlace:
    """What is known of the place: the usual's centre and stop line, a measured gap. None: not known."""

    centre_nm: int | None = None
    stop_nm: int | None = None
    gap_nm: int | None = None

    def __post_init__(self) -> None:
        _check_not_negative(stop_half_width=self.stop_nm)
        if self.gap_nm is not None:
            _check_positive(gap=self.gap_nm)
