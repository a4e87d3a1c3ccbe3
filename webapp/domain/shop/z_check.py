"""What the machine page reads on Z with the probe loaded, and the one touch on a known height that shows it.

Rules of this module:
- The ball rests on a surface at a known height h, as a slot would hold it; the machine page reads p there.
  The point that is read lies p - h - r above the ball's centre: the gauge line by the probe's length, that
  centre by nothing, the ball's underside by -r.
- What was said and what the touch shows must agree within the tolerance: 0.2 mm, or a quarter of the ball's
  radius where that is less, so that no two points of a ball can be taken for each other (common practice, no
  source).
- A check holds for the machine, the probe, its ball, its stylus and the stated length that it was made with:
  another one of these, and there is no Z coordinate until it is made again.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, format_length, parse_length
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.shop.shop import Machine, Probe

TOLERANCE_NM = 200_000
LONGEST_LENGTH_NM = 1_000_000_000


class ZCheckError(DomainError):
    """What the machine page reads on Z cannot be taken."""


class ZPointUnknownError(ZCheckError):
    """None of the three points."""

    code = "z_check.point_unknown"
    field_names = ("typed",)


class ZLengthMissingError(ZCheckError):
    """The page reads the gauge line, and the probe's length is not given."""

    code = "z_check.length_missing"


class ZCheckDisagreesError(ZCheckError):
    """The touch shows another point, or another length, than was said."""

    code = "z_check.disagrees"
    field_names = ("point_code", "expected", "found", "apart", "tolerance", "unit")


class ZCheckFitsAnotherError(ZCheckError):
    """The touch shows one of the other points."""

    code = "z_check.fits_another"
    field_names = ("point_code", "fits_code", "expected", "found", "unit")


@dataclass(frozen=True)
class ZTyped:
    """What the lead typed: the point by name, the length (may be empty), the known height, the machine page
    there.
    """

    point: str
    length: str
    surface: str
    page: str


@dataclass(frozen=True)
class ZCheck:
    """A check that held: the reading,
    and how far above the ball's centre the touch showed the point, in nm.
    """

    reading: ZReading
    surface_nm: int
    page_nm: int
    shown_above_nm: int


def ball_radius_nm(probe: Probe) -> int:
    """Return the ball's radius, rounded up."""
    return -(-probe.ball_diameter_nm // 2)


def stated(machine: Machine) -> ZReading | None:
    """Return what the shop's file says of the machine, None where it says nothing."""
    return None if machine.z_point is None else ZReading(ZPoint(machine.z_point), machine.z_length_nm)


def work_out(typed: ZTyped, machine: Machine, probe: Probe) -> ZCheck:
    """Return the check that these texts come to. Raises a `ZCheckError` or a `LengthError`."""
    display, radius_nm = machine.display, ball_radius_nm(probe)
    if typed.point not in tuple(ZPoint):
        raise ZPointUnknownError(typed=typed.point[:40])
    length_nm = parse_length(typed.length, display, 1, LONGEST_LENGTH_NM) if typed.length.strip() else None
    if length_nm is None and typed.point == ZPoint.GAUGE_LINE:
        raise ZLengthMissingError
    reading = ZReading(ZPoint(typed.point), length_nm)
    surface_nm = parse_length(typed.surface, display, -LONGEST_LENGTH_NM * 10, LONGEST_LENGTH_NM * 10)
    page_nm = parse_length(typed.page, display, -LONGEST_LENGTH_NM * 10, LONGEST_LENGTH_NM * 10)
    shown_nm = page_nm - surface_nm - radius_nm
    _check(reading, shown_nm, radius_nm, display)
    return ZCheck(reading, surface_nm, page_nm, shown_nm)


def _check(reading: ZReading, shown_nm: int, radius_nm: int, display: Display) -> None:
    expected_nm = reading.above_ball_nm(radius_nm)
    tolerance_nm = min(TOLERANCE_NM, radius_nm // 4)
    if abs(shown_nm - expected_nm) <= tolerance_nm:
        return
    unit = display.unit.value
    expected, found = (format_length(value, display) for value in (expected_nm, shown_nm))
    others = {ZPoint.BALL_CENTRE: 0, ZPoint.BALL_UNDERSIDE: -radius_nm}
    for point, above_nm in others.items():
        if point is not reading.point and abs(shown_nm - above_nm) <= tolerance_nm:
            raise ZCheckFitsAnotherError(
                point_code=f"z_point.{reading.point.value}",
                fits_code=f"z_point.{point.value}",
                expected=expected,
                found=found,
                unit=unit,
            )
    raise ZCheckDisagreesError(
        point_code=f"z_point.{reading.point.value}",
        expected=expected,
        found=found,
        apart=format_length(abs(shown_nm - expected_nm), display, sign=False),
        tolerance=format_length(tolerance_nm, display, sign=False),
        unit=unit,
    )
