"""What a shop's first sheets would say, before anything was touched:
lines and windows of every machine and vise.

Rules of this module:
- The lines are those after the first accepted value,
  for a vise in the middle of the travels: the floor rules there.
- The window is that of a setup whose vise has a usual;
  beside it stands what a first setup has, the gap alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.causes.of_sheet import measures_of, sheet_causes
from webapp.domain.evidence.written_sheet import ApproachOnSheet
from webapp.domain.plain.errors import Finding
from webapp.domain.sheet.axis_plans import plan_axes
from webapp.domain.sheet.lines_here import floor_inputs, lines_choice
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.shop import Fixture, Machine
from webapp.domain.shop.told_shop import Shop
from webapp.domain.shop.z_check import stated
from webapp.domain.usual.usual import SeatingValues, Usual, usual


@dataclass(frozen=True)
class FirstLook:
    """One touch as it would be: its lines with one value,
    its plans with a usual and without, or why there is none.
    """

    machine: Machine
    fixture: Fixture
    axis: str
    face: str
    usual: Usual
    approach: ApproachOnSheet | None
    error: Finding | None
    first: ApproachOnSheet | None
    first_error: Finding | None


def first_looks(shop: Shop) -> list[FirstLook]:
    """Return every touch of every fixture on every machine whose fixtures and probe stand in the shop,
    in the order of the file.
    """
    fixtures = {one.id: one for one in shop.fixtures}
    probes = {one.id: one for one in shop.probes}
    found: list[FirstLook] = []
    for machine in shop.machines:
        for fixture in machine.fixtures:
            found += _of_machine(FittedMachine(shop.rules, machine, fixtures[fixture], probes[machine.probe]))
    return found


def _of_machine(fitted: FittedMachine) -> list[FirstLook]:
    rules, machine, fixture, probe = fitted
    known, unknown = (_usuals(fitted, count) for count in (1, 0))
    choices = {axis: lines_choice(rules, axis, machine.unit) for axis in known}
    found = []
    plans = [
        plan_axes(
            fitted,
            usuals,
            sheet_causes(machine, fixture, measures_of(fixture, probe), usuals, choices),
            stated(machine),
        )
        for usuals in (known, unknown)
    ]
    for later, first in zip(*plans, strict=True):
        found.append(
            FirstLook(
                machine,
                fixture,
                later.face.axis,
                later.face.face,
                later.usual,
                later.approach,
                later.approach_error,
                first.approach,
                first.approach_error,
            )
        )
    return found


def _usuals(fitted: FittedMachine, count: int) -> dict[str, Usual]:
    rules, machine, fixture, _ = fitted
    found = {}
    for face in fixture.faces:
        low, high = machine.travel_nm[face.axis]
        step = machine.display.resolution_nm
        middle = (low + high) // 2 // step * step
        found[face.axis] = usual(
            [SeatingValues.of("first", [middle] * count)],
            floor_inputs(fitted, face.axis),
            lines_choice(rules, face.axis, machine.unit),
            machine.display,
        )
    return found
