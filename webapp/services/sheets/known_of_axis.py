"""What is known of an axis before anybody touches it:
the lead's budget, and whether the probe's check still holds.

Rules:
- the floor of the usual stands on the budget of machine, fixture and probe as the lead left it;
- a probe is overdue from the day after its due day, once a lead has said how often it is to be checked;
  while it is, its line counts as many times as wide as that lead set;
- pages that have no clock of their own take what the machine's sheet in use says about the check.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.budget.lead_correlations import LeadCorrelation, lead_correlations, on_axis
from webapp.domain.budget.lines import LeadLine, NamedLine, axis_lines, floor_of, lead_lines
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.probe.probe_health import CheckState, state_of
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.usual.usual import FloorInputs

if TYPE_CHECKING:
    from webapp.store import Store

HUNDREDTHS = 100
SHIPPED_CONFIDENCE = "0.95"


def floor(
    store: Store,
    fitted: FittedMachine,
    axis: str,
    now: datetime | None = None,
) -> FloorInputs:
    """What the usual's floor stands on, inside the caller's transaction.
    Without `now` as the sheet in use has it.
    """
    _, machine, fixture, probe = fitted
    found = lines(store, fitted, axis, now)
    return floor_of(found, on_axis(correlations(store, machine.id, fixture.id, probe.id), found, axis))


def lines(
    store: Store,
    fitted: FittedMachine,
    axis: str,
    now: datetime | None = None,
) -> tuple[NamedLine, ...]:
    """The budget's lines of one axis, inside the caller's transaction."""
    _, machine, fixture, probe = fitted
    changes = budget_changes(store, machine.id, fixture.id, probe.id)[0]
    return axis_lines(fitted, axis, changes, _factor(store, fitted, now))


def budget_changes(
    store: Store, machine_id: str, fixture_id: str, probe_id: str
) -> tuple[tuple[LeadLine, ...], str]:
    """The lead's lines and the confidence chosen, inside the caller's transaction.
    Raises BudgetStoredWrongError.
    """
    value = store.numbers.budget(machine_id, fixture_id, probe_id) or {"lines": []}
    return lead_lines(value["lines"]), value.get("confidence", SHIPPED_CONFIDENCE)


def correlations(
    store: Store, machine_id: str, fixture_id: str, probe_id: str
) -> tuple[LeadCorrelation, ...]:
    """What the lead said of lines that hang together, inside the caller's transaction.

    Raises CorrelationStoredWrongError.
    """
    value = store.numbers.budget(machine_id, fixture_id, probe_id)
    return lead_correlations(value.get("correlations", ()) if value else ())


def check_state(store: Store, probe_id: str, now: datetime) -> CheckState | None:
    """Whether the probe's check still holds, inside the caller's transaction;
    None while nobody asked for checks.
    """
    care = store.numbers.care(probe_id)
    if care is None:
        return None
    return state_of(store.numbers.last_check_at(probe_id), care["every_days"], now)


def _factor(store: Store, fitted: FittedMachine, now: datetime | None) -> float:
    probe_id = fitted.probe.id
    care = store.numbers.care(probe_id)
    if care is None:
        return 1.0
    if now is not None:
        state = check_state(store, probe_id, now)
        overdue = state is not None and state.overdue
    else:
        overdue = _sheet_says_overdue(store, fitted)
    return float(care["factor_hundredths"] / HUNDREDTHS) if overdue else 1.0


def _sheet_says_overdue(store: Store, fitted: FittedMachine) -> bool:
    kept = store.sheets.sheet_in_use(fitted.machine.id, fitted.fixture.id)
    sheet: WrittenSheet | None = json.loads(kept["text"]) if kept else None
    check = sheet["probe"].get("check") if sheet else None
    return bool(check and check["overdue"])
