"""What is measured or stated before a touch is planned: stylus, probing motion, face, travel, place.

Rules of this module:
- Lengths are whole nanometres, feeds mm/min, decelerations mm/s^2, times seconds.
- A measure that cannot be is refused by its name, when it is given and not when it is used.
- What the control's machine page counts Z to, with the probe loaded,
  is a fact of each machine that somebody has looked at (`ZReading`); nothing assumes it.
- The shipped safety factor of 2 and the search cap of 6.35 mm (0.25 in) are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from webapp.domain.plain.approach_errors import (
    MeasureNegativeError,
    MeasureNotPositiveError,
    SafetyFactorBelowOneError,
)
from webapp.domain.plain.axes import Axis, Face

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


class ZPoint(StrEnum):
    """The point of spindle or probe that the control's machine page reads on Z with the probe loaded."""

    GAUGE_LINE = "gauge_line"
    BALL_CENTRE = "ball_centre"
    BALL_UNDERSIDE = "ball_underside"


@dataclass(frozen=True)
class ZReading:
    """What a reading of Z means: the point it is of,
    and the length from the gauge line to the ball's centre, in nm.

    The length may be left out where the page reads a point of the ball;
    the ends of the travel are then not known.
    """

    point: ZPoint
    length_nm: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "point", ZPoint(self.point))
        if self.length_nm is not None or self.point is ZPoint.GAUGE_LINE:
            _check_positive(gauge_length=self.length_nm or 0)

    def above_ball_nm(self, ball_radius_nm: int) -> int:
        """Return how far the point lies above the ball's centre; below it the number is negative."""
        if self.point is ZPoint.GAUGE_LINE:
            return self.length_nm or 0
        return -ball_radius_nm if self.point is ZPoint.BALL_UNDERSIDE else 0

    def gauge_line_above_point_nm(self, ball_radius_nm: int) -> int | None:
        """Return how far the spindle's gauge line, whose travel is limited, lies above the point; None: not
        known.
        """
        if self.length_nm is None:
            return None
        return self.length_nm - self.above_ball_nm(ball_radius_nm)


@dataclass(frozen=True)
class Stylus:
    """The stylus: radii, reach from its shank to the ball's centre, overtravel to the side and upwards, in
    nm.

    `z_reading` None: nobody has said yet what the machine page reads on Z, so no Z coordinate is worked out.
    """

    ball_radius_nm: int
    effective_radius_nm: int
    reach_nm: int
    overtravel_side_nm: int
    overtravel_up_nm: int
    radius_uncertainty_nm: int = 0
    z_reading: ZReading | None = None

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
        )

    def overtravel_nm(self, face: Face) -> int:
        """Return the overtravel in the direction that touching this face deflects the stylus."""
        return self.overtravel_up_nm if face.axis is Axis.Z else self.overtravel_side_nm

    def read_above_ball_nm(self, axis: Axis) -> int | None:
        """Return how far the point that the axis' reading is of lies beyond the ball's centre:
        0 on X and Y, which read the spindle line; on Z as the control counts, None where nobody has said it.
        """
        if axis is not Axis.Z:
            return 0
        return None if self.z_reading is None else self.z_reading.above_ball_nm(self.ball_radius_nm)

    def limited_beyond_reading_nm(self, axis: Axis) -> int | None:
        """Return how far the point whose travel is limited
        lies beyond the one that is read, None: not known.
        """
        if axis is not Axis.Z:
            return 0
        return (
            None if self.z_reading is None else self.z_reading.gauge_line_above_point_nm(self.ball_radius_nm)
        )


@dataclass(frozen=True)
class ProbingMotion:
    """How the machine probes: feeds of both touches, how it stops, the shop's search cap and safety factor.

    `fixed_distance_nm` is how far the control searches where no range can be typed; it takes the cap's place.
    """

    first_feed_mm_per_min: float
    fine_feed_mm_per_min: float
    deceleration_mm_per_s2: float
    latency_s: float
    search_cap_nm: int = COMMON_SEARCH_CAP_NM
    safety_factor: float = SHIPPED_SAFETY_FACTOR
    fixed_distance_nm: int | None = None

    def __post_init__(self) -> None:
        if self.fixed_distance_nm is not None:
            _check_positive(fixed_distance=self.fixed_distance_nm)
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
    """A face to touch: its edge break, its height below the top edge (sides only), its width. None: large
    enough.

    `depth_nm` is how deep the lead wants the ball's centre below the top edge (None:
    as usual), `room_nm` how far what stands opposite lies from the face.
    """

    face: Face
    edge_break_nm: int = 0
    height_nm: int | None = None
    width_nm: int | None = None
    depth_nm: int | None = None
    room_nm: int | None = None

    def __post_init__(self) -> None:
        _check_not_negative(edge_break=self.edge_break_nm)
        for name, value in (
            ("height", self.height_nm),
            ("width", self.width_nm),
            ("depth", self.depth_nm),
            ("room", self.room_nm),
        ):
            if value is not None:
                _check_positive(**{name: value})


@dataclass(frozen=True)
class AxisTravel:
    """Where an axis can go, in machine coordinates, both ends included."""

    low_nm: int
    high_nm: int


@dataclass(frozen=True)
class KnownPlace:
    """What is known of the place: the usual's centre and stop line. None: not known."""

    centre_nm: int | None = None
    stop_nm: int | None = None

    def __post_init__(self) -> None:
        _check_not_negative(stop_half_width=self.stop_nm)


@dataclass(frozen=True)
class JawSide:
    """What the fixture's touch along another axis says of the jaw: where its face usually is,
    and how far the jaw reaches behind it. `is_touched_before`: that touch comes first in the same setup.
    """

    face: Face
    extent_nm: int
    travel: AxisTravel
    known: KnownPlace = KnownPlace()
    is_touched_before: bool = False

    def __post_init__(self) -> None:
        _check_positive(extent=self.extent_nm)
