"""The lines of an uncertainty budget for one axis:
what the shop's file says, changed and added to by the lead.

Rules of this module:
- Without a lead's word the lines are those of the file: probing, the axis, the display's step, the seating,
  and thermal expansion of the span between fixture and reference. The display's step follows from the machine
  and is not changed.
- A lead's line with one of those names takes its place; any other is added.
  A line names one axis or all of them; the one that names the axis comes before the one for all.
- A probe whose check is overdue counts as many times as wide as the lead has set
  (`uncertainty.widened_when_overdue`).
- The floor of the usual stands on the same lines:
  their root sum of squares, what they share where they hang together, and their effective degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import NotRequired, TypedDict, cast

from webapp.domain.budget.correlated import Correlation, parts_nm2
from webapp.domain.budget.uncertainty import (
    BudgetLine,
    BudgetLineNegativeError,
    Distribution,
    effective_degrees_of_freedom,
    thermal_line,
    widened_when_overdue,
)
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.usual.usual import FloorInputs

PROBE, AXIS, RESOLUTION, SEAT, THERMAL = "probe", "axis", "resolution", "seat", "thermal"
SHOP_LINES = (PROBE, AXIS, RESOLUTION, SEAT, THERMAL)
CHANGEABLE = (PROBE, AXIS, SEAT, THERMAL)
CONFIDENCES = (0.5, 0.999999)


class BudgetStoredWrongError(DomainError):
    """A stored line cannot be read."""

    code = "budget.line_unreadable"
    field_names = ("line",)


class LineData(TypedDict):
    """A lead's line as it is stored and stands on the ledger: the fields of `LeadLine`."""

    id: str
    name: str
    axis: str | None
    value_nm: int
    distribution: str
    degrees_of_freedom: str | None
    source: str
    span_nm: NotRequired[int | None]
    um_per_m_kelvin: NotRequired[str | None]
    half_range_kelvin: NotRequired[str | None]


class CorrelationData(TypedDict):
    """A lead's word about two lines as it is stored and stands on the ledger."""

    one: str
    other: str
    axis: str | None
    coefficient: str


class BudgetData(TypedDict):
    """What the lead changed of a budget, as it is stored."""

    lines: list[LineData]
    confidence: NotRequired[str]
    correlations: NotRequired[list[CorrelationData]]


@dataclass(frozen=True)
class LeadLine:
    """A line as the lead gave it: `id` is a shop line's name or a new one, `axis` None means every axis.

    `value_nm` is the stated value. The thermal line is given by `span_nm`, `um_per_m_kelvin` and
    `half_range_kelvin` instead. Numbers that are no whole nanometres are decimal texts, so that they stay as
    typed.
    """

    id: str
    name: str
    axis: str | None
    value_nm: int
    distribution: str
    degrees_of_freedom: str | None
    source: str
    span_nm: int | None = None
    um_per_m_kelvin: str | None = None
    half_range_kelvin: str | None = None

    def as_plain(self) -> LineData:
        """Return the line as plain data for JSON."""
        return cast("LineData", asdict(self))


@dataclass(frozen=True)
class NamedLine:
    """A line of the budget with the name it goes by, and whether the lead's word stands there."""

    id: str
    line: BudgetLine
    by_lead: bool
    widened: bool = False


def lead_lines(values: Sequence[LineData]) -> tuple[LeadLine, ...]:
    """Return the lines in this stored data. Raises `BudgetStoredWrongError`."""
    found = []
    for value in values:
        try:
            line = LeadLine(**value)
            _as_line(line)
        except (TypeError, ValueError, ArithmeticError):
            raise BudgetStoredWrongError(line=str(value.get("id", ""))[:40]) from None
        found.append(line)
    return tuple(found)


def axis_lines(
    fitted: FittedMachine,
    axis: str,
    changes: Sequence[LeadLine] = (),
    overdue_factor: float = 1.0,
) -> tuple[NamedLine, ...]:
    """Return the lines of one axis, the shop's first. `overdue_factor` above 1 widens the probe's line."""
    lines: list[NamedLine] = []
    for name, from_shop in _shop_lines(fitted, axis).items():
        own = _chosen(changes, name, axis)
        line = from_shop if own is None else _as_line(own)
        widened = name == PROBE and overdue_factor > 1
        if widened:
            line = widened_when_overdue(line, 1, overdue_factor)
        lines.append(NamedLine(name, line, own is not None, widened))
    for name in dict.fromkeys(one.id for one in changes if one.id not in SHOP_LINES):
        own = _chosen(changes, name, axis)
        if own is not None:
            lines.append(NamedLine(name, _as_line(own), by_lead=True))
    return tuple(lines)


def floor_of(lines: Sequence[NamedLine], correlations: Sequence[Correlation] = ()) -> FloorInputs:
    """Return what the usual's floor takes from these lines.
    The display's step is added by the usual itself.
    """
    budget = [named.line for named in lines]
    parts = [named.line.standard_nm for named in lines if named.id not in {PROBE, AXIS, SEAT, RESOLUTION}]
    by_name = {named.id: named.line.standard_nm for named in lines}
    return FloorInputs(
        u_probe_nm=by_name[PROBE],
        u_axis_nm=by_name[AXIS],
        u_seat_nm=by_name[SEAT],
        u_more_nm=math.hypot(*parts),
        degrees_of_freedom=effective_degrees_of_freedom(budget, correlations),
        shared_nm2=math.fsum(parts_nm2(budget, correlations)) - math.fsum(parts_nm2(budget, ()))
        if correlations
        else 0.0,
    )


def _chosen(changes: Sequence[LeadLine], name: str, axis: str) -> LeadLine | None:
    for wanted in (axis, None):
        for one in changes:
            if one.id == name and one.axis == wanted:
                return one
    return None


def _shop_lines(fitted: FittedMachine, axis: str) -> dict[str, BudgetLine]:
    standard = Distribution.STANDARD
    half_step = fitted.machine.display.resolution_nm / 2
    return {
        PROBE: BudgetLine("budget.probe", fitted.probe.u_probe_nm, standard, "budget.source_probe"),
        AXIS: BudgetLine("budget.axis", fitted.machine.u_axis_nm[axis], standard, "budget.source_axis"),
        RESOLUTION: BudgetLine(
            "budget.resolution", half_step, Distribution.RECTANGULAR, "budget.source_resolution"
        ),
        SEAT: BudgetLine("budget.seat", fitted.fixture.u_seat_nm, standard, "budget.source_seat"),
        THERMAL: thermal_line(
            fitted.rules.expansion_um_per_m_kelvin * 1e-6,
            fitted.fixture.expanding_length_nm,
            fitted.rules.temperature_half_range_kelvin,
            "budget.source_thermal",
        ),
    }


def _as_line(own: LeadLine) -> BudgetLine:
    if own.id == THERMAL:
        return thermal_line(
            float(own.um_per_m_kelvin or 0) * 1e-6,
            own.span_nm or 0,
            float(own.half_range_kelvin or 0),
            own.source,
        )
    degrees = None if own.degrees_of_freedom is None else float(own.degrees_of_freedom)
    if degrees is not None and not math.isfinite(degrees):
        raise BudgetLineNegativeError(line=own.name, value=str(own.degrees_of_freedom))
    return BudgetLine(own.name, own.value_nm, Distribution(own.distribution), own.source, degrees)
