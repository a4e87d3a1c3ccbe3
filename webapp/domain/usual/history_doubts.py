"""What looks wrong about a past value that is readable:
the other unit's number, or far from where its seating lies.

Rules of this module:
- A value is held against where its seating lies and how near it has to be: the usual and its ask line where
  there are kept values, else the middle of what the table itself says of that seating and axis, and the
  shop's ceiling.
- Refused: 25.4 times, or 1/25.4 of the value, lies there and the value does not. No lead can want that.
- Asked about: any other value that is too far away. It may be true, and only a lead takes it.
- Asked about as well: a seating of which nothing is known, and a line all of whose values, two or more, would
  lie inside the travel in the other unit too. By chance that is rare: the travel is 25 times as long as what
  fits.
- Nothing is put right by itself: a table is corrected by whoever wrote it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median_low

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import (
    INCH_DENOMINATOR,
    INCH_NUMERATOR,
    Display,
    format_length,
    looks_like_other_unit,
)

LEAST_AXES_FOR_UNIT = 2
# A number of the other unit is rounded to steps 25 times as coarse: that alone may lie outside narrow lines.
UNIT_NEAR_NM = 500_000


@dataclass(frozen=True)
class Whereabouts:
    """Where a seating lies on one axis, how near a value has to be,
    and whether that stands on kept values.
    """

    centre_nm: int
    near_nm: int
    kept: bool


@dataclass(frozen=True)
class Doubt:
    """What is said about one line, and whether it is refused or only asked about."""

    reason: Finding
    refused: bool


def doubt_of_value(axis: str, value_nm: int, about: Whereabouts, display: Display) -> Doubt | None:
    """Return what is wrong with one value, None where it lies near enough."""
    if abs(value_nm - about.centre_nm) <= about.near_nm:
        return None
    unit = looks_like_other_unit(value_nm, display, about.centre_nm, max(about.near_nm, UNIT_NEAR_NM))
    usual = format_length(about.centre_nm, display)
    stands = "kept" if about.kept else "table"
    if unit is not None:
        return Doubt(
            Finding(f"history.other_unit_{stands}", {**unit.fields, "axis": axis, "usual": usual}),
            refused=True,
        )
    fields: dict[str, str | int] = {
        "axis": axis,
        "value": format_length(value_nm, display),
        "usual": usual,
        "away": format_length(abs(value_nm - about.centre_nm), display, sign=False),
        "near": format_length(about.near_nm, display, sign=False),
        "unit": display.unit.value,
    }
    return Doubt(Finding(f"history.far_{stands}", fields), refused=False)


def doubt_of_unit(
    values_nm: Mapping[str, int], travel_nm: Mapping[str, tuple[int, int]], display: Display
) -> Doubt | None:
    """Return the question whether a line of a seating without a past holds inches for mm,
    None where it cannot be.
    """
    if len(values_nm) < LEAST_AXES_FOR_UNIT:
        return None
    for axis, value_nm in values_nm.items():
        low_nm, high_nm = travel_nm[axis]
        read_nm = value_nm * INCH_NUMERATOR // INCH_DENOMINATOR
        if value_nm == 0 or not low_nm <= read_nm <= high_nm:
            return None
    values = ", ".join(f"{axis} {format_length(value, display)}" for axis, value in sorted(values_nm.items()))
    return Doubt(
        Finding("history.unit_unsure", {"values": values, "unit": display.unit.value}), refused=False
    )


def middle_nm(values_nm: Sequence[int]) -> int:
    """Return the value in the middle of one or more: half of a table may be wrong before it moves there."""
    return median_low(values_nm)
