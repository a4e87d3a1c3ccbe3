"""Mistakes at the probe and the vise: the ball's radius, the wrong end, the moving jaw, lengths on Z, a chip.

Rules of this module (signatures follow from the geometry of `axes`: n is the face's normal, d = -n the
search, r the effective radius of the ball, and a right reading is surface = ball's centre at the trigger + d
* r):

- Radius left out: n*r too far. Radius added twice, or the diameter in its place: n*r short. Radius taken the
  wrong way round, or a diameter left out: 2*n*r. A diameter too much: -2*n*r. The radius r' of another
  probe's ball: n*(r - r').
- The other end or side of the same jaw lies one jaw length or thickness behind the face, at -n*L;
  with the radius still taken for the old direction another -2*n*r.
- The moving jaw's clamping face lies one opening in front of the fixed one; it is searched the other way, so
  with the radius still taken for the old direction -2*n*r more. Its far side lies one moving jaw's thickness
  further.
- Z: gauge or stylus length left out or counted twice; a parallel on the bed (jaw height less parallel,
  below the top), a parallel lying on the jaw, the jaw's step.
- A chip between ball and face: nearer to the ball, by more than chance explains, up to the largest chip.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from webapp.domain.causes.facts import Candidate, Known, Measures, plain, together_nm
from webapp.domain.plain.axes import Axis
from webapp.domain.plain.lengths import Display

_ENDS = {"left_end", "right_end"}


def geometry_causes(known: Known, face_name: str, measures: Measures, display: Display) -> list[Candidate]:
    """Return the candidates of one axis that has a usual, none without one. `face_name` as in the fixture."""
    if known.centre_nm is None:
        return []
    found = [*_ball(known, measures, display)]
    if known.face.axis is Axis.Z:
        found += [*_lengths(known, measures, display), *_heights(known, measures, display)]
    else:
        found += [*_other_side(known, face_name, measures, display)]
        found += [*_moving_jaw(known, measures, display)]
    return [*found, *_chip(known, measures, display)]


def _at(known: Known, code: str, shift_nm: int, own_nm: float, **fields: str | int) -> Candidate:
    """Return the candidate that far from the centre, with an uncertainty of its own beside the value's."""
    value_nm = (known.centre_nm or 0) + shift_nm
    return Candidate(code, value_nm, value_nm, together_nm(known.uncertainty_nm, own_nm), fields)


def _ball(known: Known, measures: Measures, display: Display) -> Iterator[Candidate]:
    radius_nm, unit = measures.effective_radius_nm, display.unit.value
    for code, times in (
        ("cause.ball_left_out", 1),
        ("cause.ball_twice", -1),
        ("cause.ball_wrong_way", 2),
        ("cause.ball_diameter_too_much", -2),
    ):
        shift_nm = times * known.face.normal * radius_nm
        own_nm = abs(times) * measures.radius_uncertainty_nm
        yield _at(known, code, shift_nm, own_nm, radius=plain(radius_nm, display), unit=unit)
    for ball in measures.other_balls:
        shift_nm = known.face.normal * (radius_nm - ball.effective_radius_nm)
        both_nm = math.hypot(measures.radius_uncertainty_nm, ball.uncertainty_nm)
        yield _at(
            known, "cause.other_ball", shift_nm, both_nm, ball=plain(ball.diameter_nm, display), unit=unit
        )


def _other_side(known: Known, face_name: str, measures: Measures, display: Display) -> Iterator[Candidate]:
    length_nm = measures.jaw_length_nm if face_name in _ENDS else measures.jaw_thickness_nm
    if length_nm is None:
        return
    code = "cause.other_end" if face_name in _ENDS else "cause.other_side"
    fields = {"length": plain(length_nm, display), "unit": display.unit.value}
    yield from _searched_back(known, code, -length_nm, measures.vise_uncertainty_nm, measures, fields)


def _moving_jaw(known: Known, measures: Measures, display: Display) -> Iterator[Candidate]:
    if measures.opening_nm is None or known.face.axis.value != measures.clamping_axis:
        return
    fields = {"opening": plain(measures.opening_nm, display), "unit": display.unit.value}
    own_nm, thick_nm = measures.opening_uncertainty_nm, measures.moving_jaw_thickness_nm
    if known.face.normal == measures.clamping_direction:
        near_nm = measures.opening_nm
        yield from _searched_back(known, "cause.moving_jaw", near_nm, own_nm, measures, fields)
        if thick_nm is not None:
            shift_nm = known.face.normal * (near_nm + thick_nm)
            yield _at(known, "cause.moving_jaw_outside", shift_nm, own_nm, **fields)
    elif measures.jaw_thickness_nm is not None:
        near_nm = -measures.jaw_thickness_nm - measures.opening_nm
        yield _at(known, "cause.moving_jaw", known.face.normal * near_nm, own_nm, **fields)
        if thick_nm is not None:
            far_nm = near_nm - thick_nm
            yield from _searched_back(known, "cause.moving_jaw_outside", far_nm, own_nm, measures, fields)


def _searched_back(
    known: Known,
    code: str,
    along_normal_nm: int,
    own_nm: float,
    measures: Measures,
    fields: dict[str, str],
) -> Iterator[Candidate]:
    """Yield a face that is searched the other way:
    with the radius taken rightly, and as for the old direction.
    """
    normal = known.face.normal
    yield _at(known, code, normal * along_normal_nm, own_nm, **fields)
    back_nm = along_normal_nm - 2 * measures.effective_radius_nm
    yield _at(known, f"{code}_and_radius", normal * back_nm, own_nm, **fields)


def _lengths(known: Known, measures: Measures, display: Display) -> Iterator[Candidate]:
    own_nm = measures.vise_uncertainty_nm
    for name, length_nm in (("gauge", measures.gauge_length_nm), ("stylus", measures.stylus_reach_nm)):
        if length_nm:
            fields = {"length": plain(length_nm, display), "unit": display.unit.value}
            yield _at(known, f"cause.{name}_length_left_out", length_nm, own_nm, **fields)
            yield _at(known, f"cause.{name}_length_twice", -length_nm, own_nm, **fields)


def _heights(known: Known, measures: Measures, display: Display) -> Iterator[Candidate]:
    own_nm, unit = measures.vise_uncertainty_nm, display.unit.value
    for height_nm in measures.parallels_nm:
        fields = {"height": plain(height_nm, display), "unit": unit}
        yield _at(known, "cause.parallel_on_jaw", height_nm, own_nm, **fields)
        if measures.jaw_height_nm is not None and height_nm != measures.jaw_height_nm:
            down_nm = height_nm - measures.jaw_height_nm
            yield _at(known, "cause.parallel_on_bed", down_nm, own_nm, **fields)
    for step_nm in measures.jaw_steps_nm:
        yield _at(known, "cause.jaw_step", -step_nm, own_nm, height=plain(step_nm, display), unit=unit)


def _chip(known: Known, measures: Measures, display: Display) -> Iterator[Candidate]:
    if known.centre_nm is None or known.chance_nm is None or known.chance_nm >= measures.largest_chip_nm:
        return
    ends = [
        known.centre_nm + known.face.normal * size_nm
        for size_nm in (known.chance_nm + 1, measures.largest_chip_nm)
    ]
    fields = {"largest": plain(measures.largest_chip_nm, display), "unit": display.unit.value}
    yield Candidate("cause.chip", min(ends), max(ends), known.uncertainty_nm, fields, alone=True)
