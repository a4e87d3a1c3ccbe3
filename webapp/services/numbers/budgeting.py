"""The uncertainty budget of a machine with its probe and fixture: read, worked out, and changed by a lead.

Rules: it starts from the shop's file; a lead changes a line, adds one, takes one back or chooses another confidence,
each with a reason and on the ledger; from then on the floor of the usual on new sheets stands on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.budget.lines import CHANGEABLE, RESOLUTION, SHOP_LINES, BudgetData, LeadLine, NamedLine
from webapp.domain.budget.uncertainty import Budget, budget
from webapp.domain.probe.probe_health import CheckState
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.services.errors import BudgetTooLong, NoSuchLine
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.sheets import known_of_axis
from webapp.services.sheets.preparing import machine_parts
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

MOST_LINES = 60


@dataclass(frozen=True)
class AxisBudget:
    """One axis: the lines as they count and what they come to."""

    axis: str
    lines: tuple[NamedLine, ...]
    result: Budget


@dataclass(frozen=True)
class MachineBudget:
    """The budgets of all axes that are touched, what the lead changed, and whether the probe's check still holds."""

    machine: Machine
    fixture: Fixture
    probe: Probe
    confidence: str
    axes: tuple[AxisBudget, ...]
    changes: tuple[LeadLine, ...]
    check: CheckState | None
    factor: float


def machine_budget(store: Store, machine_id: str, now: datetime) -> MachineBudget:
    """The budget of a machine. Raises NoShopYet, NoSuchMachine, SheetCannotBeMade, BudgetEmptyError."""
    with store.reading():
        rules, machine, fixture, probe = machine_parts(store, machine_id)
        changes, confidence = known_of_axis.budget_changes(store, machine.id, fixture.id, probe.id)
        axes = tuple(
            AxisBudget(face.axis, lines, budget([one.line for one in lines], float(confidence)))
            for face in fixture.faces
            for lines in [known_of_axis.lines(store, rules, machine, fixture, probe, face.axis, now)]
        )
        check, care = known_of_axis.check_state(store, probe.id, now), store.numbers.care(probe.id)
    factor = care["factor_hundredths"] / known_of_axis.HUNDREDTHS if care else 1.0
    return MachineBudget(machine, fixture, probe, confidence, axes, changes, check, factor)


def set_line(store: Store, machine_id: str, line: LeadLine, reason: str, by: str, now: datetime) -> None:
    """Change a line of the shop's, or add or change one of the lead's.

    Raises RoleMissing, ReasonMissing, NoSuchMachine, NoSuchLine, BudgetTooLong, BudgetEmptyError.
    """
    if line.id in SHOP_LINES and line.id not in CHANGEABLE:
        raise NoSuchLine(line=RESOLUTION)
    data = {"line": line.as_plain()}

    def changed(lines: Sequence[LeadLine]) -> list[LeadLine]:
        kept = [one for one in lines if (one.id, one.axis) != (line.id, line.axis)]
        if len(kept) >= MOST_LINES:
            raise BudgetTooLong(most=MOST_LINES)
        return [*kept, line]

    _change(store, "budget.line_set", machine_id, changed, data, None, reason, by, now)


def take_back(
    store: Store, machine_id: str, line_id: str, axis: str | None, reason: str, by: str, now: datetime
) -> None:
    """Take a lead's line back; the shop's counts again where there is one. Raises as set_line does."""

    def changed(lines: Sequence[LeadLine]) -> list[LeadLine]:
        kept = [one for one in lines if (one.id, one.axis) != (line_id, axis)]
        if len(kept) == len(lines):
            raise NoSuchLine(line=line_id[:40])
        return kept

    data = {"line": line_id, "axis": axis}
    _change(store, "budget.line_taken_back", machine_id, changed, data, None, reason, by, now)


def set_confidence(
    store: Store, machine_id: str, confidence: str, reason: str, by: str, now: datetime
) -> None:
    """Choose the confidence that the result is stated with. Raises as set_line does."""
    data = {"confidence": confidence}
    _change(store, "budget.confidence_set", machine_id, list, data, confidence, reason, by, now)


def _change(
    store: Store,
    kind: str,
    machine_id: str,
    changed: Callable[[Sequence[LeadLine]], list[LeadLine]],
    data: Mapping[str, object],
    confidence: str | None,
    reason: str,
    by: str,
    now: datetime,
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        rules, machine, fixture, probe = machine_parts(store, machine_id)
        lines, chosen_before = known_of_axis.budget_changes(store, machine.id, fixture.id, probe.id)
        value: BudgetData = {
            "confidence": confidence or chosen_before,
            "lines": [one.as_plain() for one in changed(lines)],
        }
        store.numbers.put_budget(machine.id, fixture.id, probe.id, value)
        for face in fixture.faces:  # a budget that comes to nothing is no budget: refused, and nothing stays
            budget(
                [
                    one.line
                    for one in known_of_axis.lines(store, rules, machine, fixture, probe, face.axis, now)
                ],
                float(value["confidence"]),
            )
        noted = {**data, "reason": reason, "fixture": fixture.id, "probe": probe.id}
        change(store, kind, by, machine.id, None, noted, now)
