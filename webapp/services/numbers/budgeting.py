"""The uncertainty budget of a machine with its probe and fixture: read, worked out, and changed by a lead.

Rules:
- it starts from the shop's file; a lead changes a line, adds one, takes one back, says which lines hang
  together or chooses another confidence, each with a reason and on the ledger; from then on the floor of the
  usual on new sheets stands on it;
- the Monte Carlo run beside it is told by its seed alone:
  the same budget and seed give the same run, which is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from webapp.domain.budget.lead_correlations import LeadCorrelation, on_axis
from webapp.domain.budget.lines import CHANGEABLE, RESOLUTION, SHOP_LINES, BudgetData, LeadLine, NamedLine
from webapp.domain.budget.monte_carlo import MonteCarlo, beside
from webapp.domain.budget.uncertainty import Budget, budget
from webapp.domain.probe.probe_health import CheckState
from webapp.domain.shop.fitted_machine import Place
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.services.errors import BudgetTooLong, NoSuchLine
from webapp.services.evidence.ledger import change, on_ledger
from webapp.services.people.access import must_be_lead
from webapp.services.sheets import known_of_axis
from webapp.services.sheets.fitted_machines import fitted_machine
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

MOST_LINES = 60


@lru_cache(maxsize=64)
def monte_carlo(result: Budget, axis: str, seed: int) -> MonteCarlo:
    """A Monte Carlo run beside the budget of one axis, from this seed."""
    return beside(result, np.random.default_rng([seed, ord(axis)]))


@dataclass(frozen=True)
class AxisBudget:
    """One axis: the lines as they count and what they come to."""

    axis: str
    lines: tuple[NamedLine, ...]
    result: Budget


# A machine, with the fixture that is offered first, or with the one that is named.
Where = str | Place


def _place(at: Where) -> tuple[str, str | None]:
    return (at, None) if isinstance(at, str) else (at.machine, at.fixture)


@dataclass(frozen=True)
class MachineBudget:
    """The budgets of all axes that are touched, what the lead changed, and whether the probe's check still
    holds.
    """

    machine: Machine
    fixture: Fixture
    probe: Probe
    confidence: str
    axes: tuple[AxisBudget, ...]
    changes: tuple[LeadLine, ...]
    correlations: tuple[LeadCorrelation, ...]
    check: CheckState | None
    factor: float


def machine_budget(store: Store, at: Where, now: datetime) -> MachineBudget:
    """The budget of a machine with a fixture.
    Raises NoShopYet, NoSuchMachine, NoSuchFixture, SheetCannotBeMade, BudgetEmptyError.
    """
    with store.reading():
        fitted = fitted_machine(store, *_place(at))
        _, machine, fixture, probe = fitted
        changes, confidence = known_of_axis.budget_changes(store, machine.id, fixture.id, probe.id)
        words = known_of_axis.correlations(store, machine.id, fixture.id, probe.id)
        axes = tuple(
            AxisBudget(face.axis, lines, _result(lines, confidence, words, face.axis))
            for face in fixture.faces
            for lines in [known_of_axis.lines(store, fitted, face.axis, now)]
        )
        check, care = known_of_axis.check_state(store, probe.id, now), store.numbers.care(probe.id)
    factor = care["factor_hundredths"] / known_of_axis.HUNDREDTHS if care else 1.0
    return MachineBudget(machine, fixture, probe, confidence, axes, changes, words, check, factor)


def _result(
    lines: Sequence[NamedLine], confidence: str, words: Sequence[LeadCorrelation], axis: str
) -> Budget:
    return budget([one.line for one in lines], float(confidence), on_axis(words, lines, axis))


def set_line(store: Store, at: Where, line: LeadLine, reason: str, by: str, now: datetime) -> None:
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

    _change(store, "budget.line_set", at, changed, data, None, reason, by, now)


def take_back(
    store: Store, at: Where, line_id: str, axis: str | None, reason: str, by: str, now: datetime
) -> None:
    """Take a lead's line back; the shop's counts again where there is one. Raises as set_line does."""

    def changed(lines: Sequence[LeadLine]) -> list[LeadLine]:
        kept = [one for one in lines if (one.id, one.axis) != (line_id, axis)]
        if len(kept) == len(lines):
            raise NoSuchLine(line=line_id[:40])
        return kept

    data = {"line": line_id, "axis": axis}
    _change(store, "budget.line_taken_back", at, changed, data, None, reason, by, now)


def set_confidence(store: Store, at: Where, confidence: str, reason: str, by: str, now: datetime) -> None:
    """Choose the confidence that the result is stated with. Raises as set_line does."""
    data = {"confidence": confidence}
    _change(store, "budget.confidence_set", at, list, data, confidence, reason, by, now)


def set_correlation(
    store: Store, at: Where, word: LeadCorrelation, reason: str, by: str, now: datetime
) -> None:
    """Say how two lines hang together.
    Raises as set_line does, NoSuchLine for a line that is on no axis, and a CorrelationError.
    """

    def said(words: Sequence[LeadCorrelation]) -> list[LeadCorrelation]:
        kept = [one for one in words if one.pair != word.pair]
        if len(kept) >= MOST_LINES:
            raise BudgetTooLong(most=MOST_LINES)
        return [*kept, word]

    _must_be_there(store, at, word, now)
    data = {"correlation": word.as_plain()}
    _change(store, "budget.correlation_set", at, list, data, None, reason, by, now, said)


def _must_be_there(store: Store, at: Where, word: LeadCorrelation, now: datetime) -> None:
    names = {
        named.id
        for axis in machine_budget(store, at, now).axes
        for named in axis.lines
        if word.axis in {None, axis.axis}
    }
    for name in (word.one, word.other):
        if name not in names:
            raise NoSuchLine(line=name[:40])


def take_correlation_back(
    store: Store, at: Where, pair: tuple[str, str, str | None], reason: str, by: str, now: datetime
) -> None:
    """Let two lines stand by themselves again. Raises as set_line does."""

    def said(words: Sequence[LeadCorrelation]) -> list[LeadCorrelation]:
        kept = [one for one in words if one.pair != pair]
        if len(kept) == len(words):
            raise NoSuchLine(line=pair[0][:40])
        return kept

    data = {"one": pair[0], "other": pair[1], "axis": pair[2]}
    _change(store, "budget.correlation_taken_back", at, list, data, None, reason, by, now, said)


def _change(
    store: Store,
    kind: str,
    at: Where,
    changed: Callable[[Sequence[LeadLine]], list[LeadLine]],
    data: Mapping[str, object],
    confidence: str | None,
    reason: str,
    by: str,
    now: datetime,
    said: Callable[[Sequence[LeadCorrelation]], list[LeadCorrelation]] = list,
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        fitted = fitted_machine(store, *_place(at))
        _, machine, fixture, probe = fitted
        lines, chosen_before = known_of_axis.budget_changes(store, machine.id, fixture.id, probe.id)
        words = said(known_of_axis.correlations(store, machine.id, fixture.id, probe.id))
        value: BudgetData = {
            "confidence": confidence or chosen_before,
            "lines": [one.as_plain() for one in changed(lines)],
        }
        if words:
            value["correlations"] = [one.as_plain() for one in words]
        store.numbers.put_budget(machine.id, fixture.id, probe.id, value)
        for face in fixture.faces:  # a budget that comes to nothing is no budget: refused, and nothing stays
            found = known_of_axis.lines(store, fitted, face.axis, now)
            _result(found, value["confidence"], words, face.axis)
        # The whole of it as well, so that an audit can compare what is stored.
        noted = {
            **data,
            "reason": reason,
            "fixture": fixture.id,
            "probe": probe.id,
            "value": on_ledger(value),
        }
        change(store, kind, by, machine.id, None, noted, now)
