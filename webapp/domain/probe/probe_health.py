"""A probe's check as it is typed at the desk, and whether the last one still holds.

Rules of this module:
- Diametral: the ball's centre at the trigger, low and high on X and on Y, as the control shows it, and, where
  it was noted, at which Y the two on X and at which X the two on Y were touched. Or one line for each place,
  X and Y after one another; a line with several pairs is one place that was touched several times.
- Numbers on a line are parted by blanks, tabs or semicolons, so that a decimal comma stays what it is.
- A check holds to the end of its due day, UTC (`ring_check.due`).
  A probe that was never checked is overdue from the start, once the lead has said that it is to be checked.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from webapp.domain.budget.typed import read_value_nm
from webapp.domain.evidence.written_sheet import ProbeCheckOnSheet
from webapp.domain.figures.circle_fit import Point
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import parse_length
from webapp.domain.probe.ring_check import (
    Artefact,
    Known,
    RingCheck,
    due,
    from_diametral,
    from_points,
    from_repeats,
)
from webapp.domain.shop.shop import Machine

MOST_PLACES, MOST_NUMBERS = 200, 40
LARGEST_ARTEFACT_NM = 500_000_000
DIAMETRAL = ("x_low", "x_high", "y_low", "y_high")
# The field, the axis that was touched, and the axis whose place it is.
TOUCHED_AT = (("x_at_y", "X", "Y"), ("y_at_x", "Y", "X"))
FACTOR_LOW, FACTOR_HIGH = 100, 10_000
_PARTED = re.compile(r"[\s;]+")


class ProbeTypedError(DomainError):
    """What was typed is no check of a probe."""


class PlacesOddError(ProbeTypedError):
    """A line does not hold X and Y in pairs."""

    code = "probe.places_odd"
    field_names = ("line", "numbers")


class PlaceNotReadError(ProbeTypedError):
    """A number of a place cannot be read."""

    code = "probe.place_not_read"
    field_names = ("line", "typed", "axis")


class PlacesTooManyError(ProbeTypedError):
    """More places than a check has."""

    code = "probe.places_too_many"
    field_names = ("most",)


class ArtefactUnknownError(ProbeTypedError):
    """Neither a ring nor a sphere."""

    code = "probe.artefact_unknown"
    field_names = ("typed",)


@dataclass(frozen=True)
class CheckTyped:
    """The fields as they were typed.
    `way` is "diametral" or "places"; `diametral` holds low and high of X and Y.
    """

    artefact: str
    diameter: str
    diameter_uncertainty: str
    way: str
    diametral: Mapping[str, str]
    places: str


@dataclass(frozen=True)
class CheckState:
    """When the check is due (exclusive; None: never checked) and whether it is overdue."""

    due_at_utc: str | None
    overdue: bool

    def as_plain(self) -> ProbeCheckOnSheet:
        """Return what the sheet carries."""
        return {"due_at_utc": self.due_at_utc, "overdue": self.overdue}


def work_out(typed: CheckTyped, machine: Machine, u_probe_nm: float = 0.0) -> RingCheck:
    """Return what the typed check comes to.
    `u_probe_nm`: the standard uncertainty of probing, as the shop states it.

    Raises a `ProbeTypedError`, `RingCheckError`, `CircleError` or `LengthError`.
    """
    artefact: Artefact
    if typed.artefact == "ring":
        artefact = "ring"
    elif typed.artefact == "sphere":
        artefact = "sphere"
    else:
        raise ArtefactUnknownError(typed=typed.artefact[:40])
    diameter_nm = read_value_nm(typed.diameter, machine.unit, LARGEST_ARTEFACT_NM)
    unknown = typed.diameter_uncertainty.strip()
    uncertainty_nm = read_value_nm(unknown, machine.unit) if unknown else 0
    known = Known(machine.display.resolution_nm, u_probe_nm)
    if typed.way == "diametral":
        ends, touched_at = _diametral(typed.diametral, machine), _touched_at(typed.diametral, machine)
        return from_diametral(ends, diameter_nm, artefact, uncertainty_nm, known, touched_at)
    places = read_places(typed.places, machine)
    if all(len(place) == 1 for place in places):
        return from_points([place[0] for place in places], diameter_nm, artefact, uncertainty_nm, known)
    return from_repeats(places, diameter_nm, artefact, uncertainty_nm, known)


def _diametral(typed: Mapping[str, str], machine: Machine) -> dict[str, tuple[int, int]]:
    read = {
        name: parse_length(typed.get(name, ""), machine.display, *machine.travel_nm[name[0].upper()])
        for name in DIAMETRAL
    }
    return {"X": (read["x_low"], read["x_high"]), "Y": (read["y_low"], read["y_high"])}


def _touched_at(typed: Mapping[str, str], machine: Machine) -> dict[str, int]:
    """Where the other axis stood while the two on X, and the two on Y, were touched, where that was noted."""
    return {
        axis: parse_length(text, machine.display, *machine.travel_nm[other])
        for name, axis, other in TOUCHED_AT
        if (text := typed.get(name, "").strip())
    }


def read_places(text: str, machine: Machine) -> list[list[Point]]:
    """Return the touches of each place in nanometres. Raises a `ProbeTypedError` that names the line."""
    places: list[list[Point]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = [cell for cell in _PARTED.split(line) if cell]
        if not cells:
            continue
        if len(cells) % 2 or len(cells) > MOST_NUMBERS:
            raise PlacesOddError(line=number, numbers=len(cells))
        if len(places) >= MOST_PLACES:
            raise PlacesTooManyError(most=MOST_PLACES)
        values = [
            _number(cell, axis, number, machine) for cell, axis in zip(cells, "XY" * len(cells), strict=False)
        ]
        places.append(list(zip(values[::2], values[1::2], strict=True)))
    return places


def _number(cell: str, axis: str, line: int, machine: Machine) -> int:
    try:
        return parse_length(cell, machine.display, *machine.travel_nm[axis])
    except DomainError:
        raise PlaceNotReadError(line=line, typed=cell[:40], axis=axis) from None


def state_of(checked_at_utc: str | None, every_days: int, now: datetime) -> CheckState:
    """Return whether the last check still holds at an aware time. Raises `IntervalNotPositiveError`."""
    last = due(_day(checked_at_utc) if checked_at_utc else now.date(), every_days)
    if checked_at_utc is None:
        return CheckState(None, overdue=True)
    ends = datetime.combine(last + timedelta(days=1), time(), UTC)
    text = ends.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return CheckState(text, overdue=now >= ends)


def _day(at_utc: str) -> date:
    return datetime.fromisoformat(at_utc).astimezone(UTC).date()
