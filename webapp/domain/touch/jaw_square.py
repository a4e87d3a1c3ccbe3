"""Is the jaw square to the axis? Two touches along the fixed jaw give an angle, with its uncertainty.

Rules of this module:
- Two places along the jaw, and what the face reads at each: angle = atan(difference of readings / distance).
  Above zero: the reading grows along the jaw.
- Both readings have the same standard uncertainty u: that of the angle is u sqrt(2) cos^2(angle) / distance
  (JCGM 100:2008, 5.1.2); how well the distance is known does not matter at the angles of a vise.
- Over the jaw's length the angle makes an error of length times tan(angle).
- An angle within two of its uncertainties cannot be told from none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, format_length

TOLD_FROM = 2


class JawSquareError(DomainError):
    """The angle cannot be worked out."""


class TouchesTooCloseError(JawSquareError):
    """Both touches are at the same place, or nearly."""

    code = "square.touches_too_close"
    field_names = ("apart", "least", "unit")


class SquareUncertaintyError(JawSquareError):
    """The uncertainty of a touch, or the jaw's length, cannot be."""

    code = "square.not_a_measure"
    field_names = ("value",)


@dataclass(frozen=True)
class JawAngle:
    """Angle and its standard uncertainty in radians, the error over the jaw's length and its standard
    uncertainty in nm.
    """

    radians: float
    uncertainty_radians: float
    error_nm: float
    error_uncertainty_nm: float

    @property
    def is_told(self) -> bool:
        """Tell whether the angle lies beyond two of its uncertainties."""
        return abs(self.radians) > TOLD_FROM * self.uncertainty_radians


def jaw_angle(
    places_nm: tuple[int, int],
    readings_nm: tuple[int, int],
    u_touch_nm: float,
    jaw_length_nm: int,
    display: Display,
    least_apart_nm: int = 20_000_000,
) -> JawAngle:
    """Return the jaw's angle to the axis. Places and readings in machine coordinates, in the same order.

    The shipped least distance of 20 mm is common practice, no source. Raises a `JawSquareError`.
    """
    if not (math.isfinite(u_touch_nm) and u_touch_nm >= 0 and jaw_length_nm > 0):
        raise SquareUncertaintyError(value=f"{u_touch_nm}, {jaw_length_nm}")
    apart_nm = places_nm[1] - places_nm[0]
    if abs(apart_nm) < least_apart_nm:
        texts = [format_length(value, display, sign=False) for value in (abs(apart_nm), least_apart_nm)]
        raise TouchesTooCloseError(apart=texts[0], least=texts[1], unit=display.unit.value)
    slope = (readings_nm[1] - readings_nm[0]) / apart_nm
    angle = math.atan(slope)
    u_slope = u_touch_nm * math.sqrt(2) / abs(apart_nm)
    return JawAngle(angle, u_slope * math.cos(angle) ** 2, jaw_length_nm * slope, jaw_length_nm * u_slope)


def say_angle(found: JawAngle, display: Display) -> Finding:
    """Return the angle in words: in hundredths of a degree, and as the error over the jaw."""
    fields: dict[str, str | int] = {
        "degrees": f"{math.degrees(found.radians):+.3f}".replace("-", "−"),
        "uncertainty": f"{math.degrees(found.uncertainty_radians):.3f}",
        "error": format_length(round(found.error_nm), display),
        "error_uncertainty": format_length(round(found.error_uncertainty_nm), display, sign=False),
        "unit": display.unit.value,
    }
    return Finding("square.told" if found.is_told else "square.not_told", fields)
