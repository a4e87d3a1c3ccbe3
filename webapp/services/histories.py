"""The values that the usual stands on, and the usual itself, worked out once for as long as no value changes.

Rules:
- the store counts the changes of each axis' values; what was read and worked out is kept in this process under that
  number, with all else that goes in, and is made anew from the store whenever any of it differs: nothing here is a
  source of its own;
- inside a transaction that writes nothing is taken from here or put here: it may yet be taken back;
- the last few axes are kept, so that a shop's sheets cost as much with a hundred thousand past touches as with ten.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from webapp.domain.lengths import Display
from webapp.domain.usual import FloorInputs, LinesChoice, SeatingValues, SetupValue, Usual, usual

if TYPE_CHECKING:
    from webapp.store import Store

MOST_AXES = 48
MOST_USUALS = 8

History = tuple[SeatingValues, ...]
Inputs = tuple[FloorInputs, LinesChoice, Display]


@dataclass
class _Kept:
    """One axis' history as of one version, and the usuals that were worked out from it."""

    history: History
    usuals: OrderedDict[Inputs, Usual] = field(default_factory=OrderedDict)


_Axes = OrderedDict[tuple[str, str], tuple[object, _Kept]]
_stores: WeakKeyDictionary[Store, _Axes] = WeakKeyDictionary()
_lock = Lock()


def seating_history(store: Store, fixture_id: str, axis: str) -> History:
    """Accepted values of a fixture's axis by seating, the present one last, inside the caller's transaction."""
    seatings = tuple(row["id"] for row in store.shop.seatings(fixture_id))
    version = store.setups.kept_version(fixture_id, axis)
    if version is None:
        return _read(store, fixture_id, axis, seatings)
    with _lock:
        axes = _stores.setdefault(store, OrderedDict())
        state, kept = axes.get((fixture_id, axis), (None, None))
        if kept is not None and state == (version, seatings):
            axes.move_to_end((fixture_id, axis))
            return kept.history
    history = _read(store, fixture_id, axis, seatings)
    with _lock:
        axes[fixture_id, axis] = ((version, seatings), _Kept(history))
        axes.move_to_end((fixture_id, axis))
        while len(axes) > MOST_AXES:
            axes.popitem(last=False)
    return history


def _read(store: Store, fixture_id: str, axis: str, seatings: Sequence[str]) -> History:
    values: dict[str, list[SetupValue]] = {seating: [] for seating in seatings}
    for seating, setup, value_nm in store.setups.counted_values(fixture_id, axis):
        values[seating].append(SetupValue(setup, value_nm))
    return tuple(SeatingValues(seating, tuple(found)) for seating, found in values.items())


def usual_of(
    store: Store,
    fixture_id: str,
    axis: str,
    history: Sequence[SeatingValues],
    floor: FloorInputs,
    choice: LinesChoice,
    display: Display,
) -> Usual:
    """The usual of a history that `seating_history` gave, or of any other."""
    inputs = floor, choice, display
    with _lock:
        _, kept = _stores.get(store, _Axes()).get((fixture_id, axis), (None, None))
        if kept is not None and kept.history is history and inputs in kept.usuals:
            return kept.usuals[inputs]
    found = usual(history, *inputs)
    if kept is not None and kept.history is history:
        with _lock:
            kept.usuals[inputs] = found
            while len(kept.usuals) > MOST_USUALS:
                kept.usuals.popitem(last=False)
    return found
