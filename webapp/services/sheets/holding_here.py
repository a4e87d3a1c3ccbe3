"""Whether a procedure would hold at the fixtures of the shop's machines: the rule of
`domain.sheet.faults_here`, asked when a procedure is published or taken out of use, when a machine or its
fixture is changed, and of a shop file.

Rule: a change is refused for what it would break, never for what did not hold before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import SHOPS, own_procedure_id
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.sheet.faults_here import faults_here
from webapp.domain.shop.fitted_machine import Place
from webapp.services.errors import ProcedureFallsShort
from webapp.services.sheets.fitted_machines import fitted_machine, places, places_on
from webapp.services.sheets.stored_rows import procedure_used

if TYPE_CHECKING:
    from webapp.store import Store


@dataclass(frozen=True)
class ShortAt:
    """What of a procedure does not hold at a fixture of a machine."""

    place: Place
    machine_name: str
    faults: tuple[Finding, ...]


def worked_by(store: Store, whose: str) -> list[Place]:
    """Where the shop's procedure is worked by, or a fixture's own; inside the caller's transaction. A fixture
    that is to have its own counts as well.
    """
    own = store.shop.items("procedure")
    return [
        place
        for place in places(store)
        if place.fixture == whose or (whose == SHOPS and own_procedure_id(place.fixture) not in own)
    ]


def short_at(store: Store, procedure: Procedure, where: Iterable[Place]) -> tuple[ShortAt, ...]:
    """The fixtures at which this procedure would not hold; inside the caller's transaction."""
    return tuple(one for place in where if (one := _short(store, procedure, place)).faults)


def short_now(store: Store, machines: Iterable[str]) -> tuple[ShortAt, ...]:
    """The fixtures of these machines at which the procedure that they are worked by does not hold, as
    everything stands inside the caller's transaction.
    """
    found: list[ShortAt] = []
    for place in (place for machine in machines for place in places_on(store, machine)):
        try:
            used = procedure_used(store, place.fixture).procedure
        except DomainError:  # no shop, or a text that was changed: no sheet is made, which says so itself
            continue
        found += short_at(store, used, [place])
    return tuple(found)


def must_hold(now: Sequence[ShortAt], before: Sequence[ShortAt] = ()) -> None:
    """Raise ProcedureFallsShort for the first fixture at which more does not hold now than before."""
    for one in short_since(now, before):
        raise ProcedureFallsShort(one.machine_name, one.faults)


def short_since(now: Sequence[ShortAt], before: Sequence[ShortAt]) -> tuple[ShortAt, ...]:
    """The fixtures at which more does not hold now than before, each with that alone."""
    known = {(one.place, _what_and_where(fault)) for one in before for fault in one.faults}
    new = (
        replace(one, faults=tuple(it for it in one.faults if (one.place, _what_and_where(it)) not in known))
        for one in now
    )
    return tuple(one for one in new if one.faults)


def _what_and_where(fault: Finding) -> tuple[str, frozenset[tuple[str, str]]]:
    """What a fault is and where: at another step it is another one, with another number the same."""
    return fault.code, frozenset((name, one) for name, one in fault.fields.items() if isinstance(one, str))


def _short(store: Store, procedure: Procedure, place: Place) -> ShortAt:
    try:
        fitted = fitted_machine(store, *place)
    except DomainError:  # a machine without all its parts has no sheet at all, and the desk says so
        return ShortAt(place, place.machine, ())
    return ShortAt(place, fitted.machine.name, faults_here(procedure, fitted))
