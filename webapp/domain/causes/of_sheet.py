"""The part `causes` of every axis on a sheet, from the shop's own items.

Rules of this module:
- It depends on no person: other slots' values, earlier seatings and recent touches are the machine's and the
  fixture's.
- Every slot's last value is a candidate;
  the tablet passes over the operator's own, whose old value it knows from the copying.
- What the shop does not state (parallels, steps, the moving jaw's thickness) makes no candidate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from webapp.domain.causes.facts import Measures, OtherBall, known_axis
from webapp.domain.causes.named import AxisFacts, prepare
from webapp.domain.causes.reading import OtherSeating, OtherSlot, RecentTouch
from webapp.domain.evidence.written_sheet import CausesOnSheet
from webapp.domain.plain.axes import Axis
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.domain.shop.slots import SlotRow
from webapp.domain.usual.usual import LATEST, LinesChoice, SeatingValues, Usual, centre_nm, in_centre

# Vises go back to where they were lately, if at all; a sheet stays small however often one was moved.
MOST_SEATINGS = 8
# Sizes that balls are sold in (common practice, no source): 2 to 8 mm, 1/8 and 1/4 in.
# At the trigger a ball is a few micrometres smaller than its nominal radius.
ROUND_BALLS_NM = (2_000_000, 3_000_000, 4_000_000, 5_000_000, 6_000_000, 8_000_000, 3_175_000, 6_350_000)
SOLD_BALL_UNCERTAINTY_NM = 10_000


def measures_of(fixture: Fixture, probe: Probe, others: Sequence[Probe] = ()) -> Measures:
    """Return what causes are drawn from, from the shop's items.
    `others`: all probes in use, or all but this one.
    """
    return Measures(
        effective_radius_nm=probe.effective_radius_nm,
        radius_uncertainty_nm=probe.radius_uncertainty_nm,
        gauge_length_nm=probe.gauge_length_nm,
        stylus_reach_nm=probe.stylus_reach_nm,
        jaw_length_nm=fixture.jaw_length_nm,
        jaw_thickness_nm=fixture.jaw_thickness_nm,
        jaw_height_nm=fixture.jaw_height_nm,
        opening_nm=fixture.opening_nm,
        clamping_axis=fixture.clamping_axis,
        clamping_direction=fixture.clamping_direction,
        moving_jaw_thickness_nm=fixture.moving_jaw_thickness_nm,
        parallels_nm=fixture.parallels_nm,
        jaw_steps_nm=fixture.jaw_steps_nm,
        other_balls=other_balls(probe, others),
    )


def other_balls(probe: Probe, others: Sequence[Probe]) -> tuple[OtherBall, ...]:
    """Return the balls whose radius may stand in the control in place of this probe's: those of the shop's
    other probes, and the sizes that balls are sold in where the shop has none of that size.
    """
    known: dict[int, OtherBall] = {}
    for other in others:
        if other.id != probe.id:
            known[other.effective_radius_nm] = OtherBall(
                other.ball_diameter_nm, other.effective_radius_nm, other.radius_uncertainty_nm
            )
    had = {probe.ball_diameter_nm, *(ball.diameter_nm for ball in known.values())}
    sold = [
        OtherBall(size, size // 2, SOLD_BALL_UNCERTAINTY_NM) for size in ROUND_BALLS_NM if size not in had
    ]
    return (*known.values(), *sold)


def earlier_seatings(
    history: Sequence[SeatingValues], until_utc: Mapping[str, str], machine: Machine
) -> tuple[OtherSeating, ...]:
    """Return where the fixture sat before, latest first and no more than MOST_SEATINGS.

    `history` as for the usual; `until_utc` by seating's id.
    """
    sat = [seating for seating in reversed(history[:-1]) if seating.values_nm]
    return tuple(
        OtherSeating(
            until_utc[seating.seating_id],
            centre_nm(in_centre(seating.values_nm), machine.display),
            len(seating.values_nm[-LATEST:]),
        )
        for seating in sat[:MOST_SEATINGS]
    )


def sheet_causes(
    machine: Machine,
    fixture: Fixture,
    measures: Measures,
    usuals: Mapping[str, Usual],
    choices: Mapping[str, LinesChoice],
    *,
    slots: Sequence[SlotRow] = (),
    seatings: Mapping[str, Sequence[OtherSeating]] | None = None,
    recent: Mapping[str, Sequence[RecentTouch]] | None = None,
) -> dict[str, CausesOnSheet]:
    """Return the part `causes` of each of the fixture's axes, by axis.

    `usuals` and `choices` have one entry for each axis, as the sheet's lines were drawn. `recent`: the last
    touch of each recent setup, oldest first, accepted or not; those of two or more people tell that a vise
    was moved.
    """
    facts = {
        face.axis: AxisFacts(
            known_axis(face.direction, usuals[face.axis], choices[face.axis]),
            face.face,
            machine.travel_nm[face.axis],
            _slots_of(slots, face.axis),
            tuple((seatings or {}).get(face.axis, ())),
            tuple((recent or {}).get(face.axis, ())),
            machine.parked_nm[face.axis],
        )
        for face in fixture.faces
    }
    return {axis: prepare(axis, facts, measures, machine.display) for axis in facts}


def _slots_of(slots: Sequence[SlotRow], axis: str) -> tuple[OtherSlot, ...]:
    return tuple(
        OtherSlot(row.label, row.last_values_nm[Axis(axis)])
        for row in slots
        if row.last_values_nm is not None and Axis(axis) in row.last_values_nm
    )
