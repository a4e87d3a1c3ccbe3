"""Lines of a table of past values that can be read and are doubted: held against where their seatings lie.

Rules:
- a seating with kept values lies where its own usual says, with the seatings before it for the spread; its
  ask line counts from five values on, before that the shop's ceiling. The table's own lines count for nothing
  there;
- of a seating without any, the table's own values are gathered, eight bytes each, and judged by their middle
  once the table is whole; where that doubts a line, the table is read once more with what is known by then;
- a machine, fixture or axis that no sheet can be made of has no usual;
  its values are judged by the table alone.
"""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Machine, ShopRules
from webapp.domain.usual.history_csv import HistoryRow
from webapp.domain.usual.history_doubts import Doubt, Whereabouts, doubt_of_unit, doubt_of_value, middle_nm
from webapp.domain.usual.usual import usual
from webapp.services.numbers.histories import seating_history
from webapp.services.sheets.fitted_machines import axis_parts

if TYPE_CHECKING:
    from webapp.store import Store

LEAST_FOR_LINES = 5

# Fixture, seating, axis.
Place = tuple[str, str, str]


class Judge:
    """Holds the lines of one table against the seatings, inside the caller's transaction."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._machines = {
            one: from_plain(Machine, value) for one, value in store.shop.items("machine").items()
        }
        rules = store.shop.item("shop", "shop")
        self._ceiling_nm = None if rules is None else from_plain(ShopRules, rules).ceiling_nm
        self._kept: dict[Place, Whereabouts | None] = {}
        self._gathered: dict[Place, array[int]] = {}
        self._middles: dict[Place, Whereabouts] = {}
        self._settled = False

    def doubts(self, row: HistoryRow) -> tuple[Doubt, ...]:
        """What is doubted about a line, for all its values;
        a value that is left out anyway doubts nothing.
        """
        machine = self._machines[row.machine]
        counted = {axis: value for axis, value in row.values_nm.items() if axis not in row.left_out}
        places = {axis: (row.fixture, row.seating, axis) for axis in counted}
        found = [
            doubt_of_value(axis, counted[axis], about, machine.display)
            for axis, place in places.items()
            if (about := self._whereabouts(place)) is not None
        ]
        if counted and not any(self._kept[place] for place in places.values()):
            found.append(doubt_of_unit(counted, machine.travel_nm, machine.display))
        return tuple(one for one in found if one is not None)

    def gather(self, row: HistoryRow) -> None:
        """Remember the values of a line whose seating has none, until the table is settled."""
        if self._settled:
            return
        for axis, value_nm in row.values_nm.items():
            place = (row.fixture, row.seating, axis)
            if axis not in row.left_out and self._kept[place] is None:
                self._gathered.setdefault(place, array("q")).append(value_nm)

    def settle(self) -> bool:
        """Judge the gathered values by their middle from now on; whether any of them lies too far from it."""
        self._settled = True
        for place, values_nm in self._gathered.items():
            self._middles[place] = Whereabouts(middle_nm(values_nm), self._ceiling(place), kept=False)
        return any(
            max(values_nm) - about.centre_nm > about.near_nm
            or about.centre_nm - min(values_nm) > about.near_nm
            for place, values_nm in self._gathered.items()
            for about in [self._middles[place]]
        )

    def _whereabouts(self, place: Place) -> Whereabouts | None:
        if place not in self._kept:
            self._kept[place] = self._from_kept(place)
        return self._kept[place] or self._middles.get(place)

    def _from_kept(self, place: Place) -> Whereabouts | None:
        fixture, seating, axis = place
        history = seating_history(self._store, fixture, axis)
        until = next(at for at, one in enumerate(history) if one.seating_id == seating) + 1
        if not history[until - 1].values_nm:
            return None
        try:
            parts = axis_parts(self._store, fixture, axis)
        except DomainError:
            return None
        found = usual(history[:until], parts.floor, parts.choice, parts.machine.display)
        if found.centre_nm is None or found.ask_nm is None:
            return None
        near_nm = found.ask_nm if found.n_values >= LEAST_FOR_LINES else parts.choice.ceiling_nm
        return Whereabouts(found.centre_nm, near_nm, kept=True)

    def _ceiling(self, place: Place) -> int:
        try:
            return axis_parts(self._store, place[0], place[2]).choice.ceiling_nm
        except DomainError:
            return self._ceiling_nm or 0
