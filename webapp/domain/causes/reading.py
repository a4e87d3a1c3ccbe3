"""Mistakes of reading: another axis, another slot, another seating, the other unit, nothing probed; and a
moved vise.

Rules of this module:
- A value that was read off and not probed is exact:
  its uncertainty is that of one step of the display (q/sqrt(12)).
- A value that passes through a factor carries its uncertainty through the same factor (JCGM 100:2008, 5.1.2).
- X and Y exchanged needs both: the axis before must have read this axis' value.
- Work coordinates: what the control shows beside a slot is the machine's place less the slot's value.
- A vise that was moved shows in other people's setups first: the last two or more touches, of two or more
  people, beyond the ask line on the same side and, allowing for both, within three uncertainties of their
  median. The move is that median. The first person after a move has nobody before: so a vise may have moved a
  little wherever a value lies no farther off than a move that nobody need have noticed.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from webapp.domain.causes.facts import Candidate, Known, step_uncertainty_nm, together_nm
from webapp.domain.plain.lengths import INCH_DENOMINATOR, INCH_NUMERATOR, Display

LEAST_PEOPLE = 2
# The median of normal values scatters sqrt(pi / 2) times as much as their mean.
MEDIAN_SPREAD = 1.2533


@dataclass(frozen=True)
class OtherSlot:
    """What another slot of the machine was last seen with on this axis."""

    label: str
    value_nm: int


@dataclass(frozen=True)
class OtherSeating:
    """Where an earlier seating of the same fixture lay on this axis, and until when (text of the shop)."""

    until_utc: str
    centre_nm: int
    values: int


@dataclass(frozen=True)
class RecentTouch:
    """The last touch of a recent setup on this axis, whether it was accepted or not."""

    person: str
    at_utc: str
    value_nm: int


def left_from_clearing(cleared_nm: int, display: Display) -> Candidate:
    """Return what the clearing left in the slot where nothing was written to it since:
    zero, or the parked value.
    """
    code = "cause.parked_left" if cleared_nm else "cause.zero_left"
    return Candidate(code, cleared_nm, cleared_nm, step_uncertainty_nm(display))


def reading_causes(
    known: Known,
    others: Mapping[str, Known],
    slots: Sequence[OtherSlot],
    seatings: Sequence[OtherSeating],
    recent: Sequence[RecentTouch],
    display: Display,
    largest_move_nm: int,
) -> list[Candidate]:
    """Return the candidates of one axis. `others`: the other axes by name; `recent`: oldest first."""
    exact_nm = step_uncertainty_nm(display)
    found = [
        Candidate("cause.other_slot", slot.value_nm, slot.value_nm, exact_nm, {"slot": slot.label})
        for slot in slots
    ]
    found += [*_seatings(known, seatings)]
    if known.centre_nm is not None:
        found += [*_moved(known, recent), *_moved_a_little(known, largest_move_nm)]
        found += [*_units(known, display), *_axes(known, others), *_work_coordinates(known, slots, exact_nm)]
    return found


def _work_coordinates(known: Known, slots: Sequence[OtherSlot], exact_nm: int) -> Iterator[Candidate]:
    uncertainty_nm = together_nm(known.uncertainty_nm, exact_nm)
    for slot in slots:
        value_nm = (known.centre_nm or 0) - slot.value_nm
        yield Candidate("cause.work_coordinates", value_nm, value_nm, uncertainty_nm)


def _seatings(known: Known, seatings: Sequence[OtherSeating]) -> Iterator[Candidate]:
    """Yield earlier places of the fixture; their means are known better, the more values they stand on."""
    for seating in seatings:
        own_nm = known.uncertainty_nm / max(seating.values, 1) ** 0.5
        uncertainty_nm = together_nm(known.uncertainty_nm, own_nm)
        fields = {"until": seating.until_utc[:10]}
        yield Candidate("cause.other_seating", seating.centre_nm, seating.centre_nm, uncertainty_nm, fields)


def _units(known: Known, display: Display) -> Iterator[Candidate]:
    centre_nm, unit = known.centre_nm or 0, display.unit
    for up, down in ((INCH_DENOMINATOR, INCH_NUMERATOR), (INCH_NUMERATOR, INCH_DENOMINATOR)):
        value_nm = round(centre_nm * up / down)
        uncertainty_nm = together_nm(known.uncertainty_nm * up / down, step_uncertainty_nm(display))
        fields = {"unit": unit.value, "other_unit": unit.other.value}
        yield Candidate("cause.other_unit", value_nm, value_nm, uncertainty_nm, fields)


def _axes(known: Known, others: Mapping[str, Known]) -> Iterator[Candidate]:
    axis, centre_nm = known.face.axis.value, known.centre_nm or 0
    for name, other in others.items():
        if other.centre_nm is None:
            continue
        value_nm, uncertainty_nm = other.centre_nm, other.uncertainty_nm
        fields = {"axis": axis, "other": name}
        yield Candidate("cause.other_axis", value_nm, value_nm, uncertainty_nm, fields)
        beside = ((name, centre_nm, known.uncertainty_nm),)
        yield Candidate("cause.axes_exchanged", value_nm, value_nm, uncertainty_nm, fields, beside=beside)


def _moved_a_little(known: Known, largest_move_nm: int) -> Iterator[Candidate]:
    low_nm, high_nm = ((known.centre_nm or 0) + sign * largest_move_nm for sign in (-1, 1))
    yield Candidate("cause.vise_moved_a_little", low_nm, high_nm, known.uncertainty_nm)


def _moved(known: Known, recent: Sequence[RecentTouch]) -> Iterator[Candidate]:
    run = _latest_run(known, recent)
    people = {touch.person for touch in run}
    if len(people) < LEAST_PEOPLE:
        return
    place_nm = round(statistics.median(touch.value_nm for touch in run))
    # A value and the median of few values both scatter.
    if any(abs(touch.value_nm - place_nm) > 3 * 2**0.5 * known.uncertainty_nm for touch in run):
        return
    uncertainty_nm = together_nm(known.uncertainty_nm, MEDIAN_SPREAD * known.uncertainty_nm / len(run) ** 0.5)
    fields: dict[str, str | int] = {
        "people": len(people),
        "since": run[0].at_utc[:10],
    }
    yield Candidate("cause.vise_moved", place_nm, place_nm, uncertainty_nm, fields)


def _latest_run(known: Known, recent: Sequence[RecentTouch]) -> list[RecentTouch]:
    """Return the unbroken run of latest touches beyond the ask line, on the side of the very last one."""
    run: list[RecentTouch] = []
    for touch in reversed(recent):
        difference_nm = touch.value_nm - (known.centre_nm or 0)
        same_side = not run or difference_nm * (run[-1].value_nm - (known.centre_nm or 0)) > 0
        if abs(difference_nm) <= (known.ask_nm or 0) or not same_side:
            break
        run.append(touch)
    return run[::-1]
