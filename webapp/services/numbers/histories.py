"""The values that the usual stands on, and the usual itself, worked out once for as long as no value changes.

Rules:
- the store numbers the changes of each axis' values and says which setup each was about; what was read stays in this
  process under the number of the last change, with all else that goes in. After a change only that setup's value is
  read again: nothing here is a source of its own;
- after more than MOST_CHANGES, or with other seatings, all is read anew;
- inside a transaction that writes nothing is taken from here or put here: it may yet be taken back;
- the last few axes are kept, so that a shop's sheets cost as much with a hundred thousand past touches as with ten.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from webapp.domain.plain.lengths import Display
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual

if TYPE_CHECKING:
    from webapp.store import Store

MOST_AXES = 48
MOST_USUALS = 8
MOST_CHANGES = 200
# What of a time in the format of events is its day.
DAY = len("2026-11-25")

History = tuple[SeatingValues, ...]
Inputs = tuple[FloorInputs, LinesChoice, Display]


@dataclass(frozen=True)
class _Seating:
    """One seating's values as the usual takes them, and the time of each: by time, then by setup."""

    times_utc: tuple[str, ...]
    values: SeatingValues


@dataclass
class _Kept:
    """One axis' history as of one change, and the usuals that were worked out from it."""

    change: int
    seatings: tuple[_Seating, ...]
    history: History
    usuals: OrderedDict[Inputs, Usual] = field(default_factory=OrderedDict)


_Axes = OrderedDict[tuple[str, str], _Kept]
_stores: WeakKeyDictionary[Store, _Axes] = WeakKeyDictionary()
_lock = Lock()


def seating_history(store: Store, fixture_id: str, axis: str) -> History:
    """Accepted values of a fixture's axis by seating, the present one last, inside the caller's transaction."""
    seatings = tuple(row["id"] for row in store.shop.seatings(fixture_id))
    change = store.setups.changes_of_values(fixture_id, axis)
    if change is None:
        return tuple(one.values for one in _read(store, fixture_id, axis, seatings))
    with _lock:
        axes = _stores.setdefault(store, OrderedDict())
        kept = axes.get((fixture_id, axis))
    same = kept is not None and tuple(one.seating_id for one in kept.history) == seatings
    if kept is None or not same or change - kept.change > MOST_CHANGES:
        kept = _kept(change, _read(store, fixture_id, axis, seatings))
    elif kept.change != change:
        changed = store.setups.changed_values(fixture_id, axis, kept.change)
        kept = _kept(change, tuple(_after(one, changed) for one in kept.seatings))
    with _lock:
        axes[fixture_id, axis] = kept
        axes.move_to_end((fixture_id, axis))
        while len(axes) > MOST_AXES:
            axes.popitem(last=False)
    return kept.history


def _kept(change: int, seatings: tuple[_Seating, ...]) -> _Kept:
    return _Kept(change, seatings, tuple(one.values for one in seatings))


def _read(store: Store, fixture_id: str, axis: str, seating_ids: Sequence[str]) -> tuple[_Seating, ...]:
    found: dict[str, list[tuple[str, str, int, str]]] = {seating_id: [] for seating_id in seating_ids}
    for row in store.setups.counted_values(fixture_id, axis):
        found[row[0]].append(row)
    return tuple(
        _seating(seating_id, [row[3] for row in rows], [row[1] for row in rows], [row[2] for row in rows])
        for seating_id, rows in found.items()
    )


def _seating(seating_id: str, times_utc: list[str], setup_ids: list[str], values_nm: list[int]) -> _Seating:
    first, last = (times_utc[place][:DAY] if times_utc else "" for place in (0, -1))
    values = SeatingValues(seating_id, tuple(setup_ids), tuple(values_nm), first, last)
    return _Seating(tuple(times_utc), values)


def _after(seating: _Seating, changed: Sequence[tuple[str, str | None, int, str]]) -> _Seating:
    """Return the seating with these setups' values as they count now, or itself where none of them touches it."""
    seating_id, setup_ids = seating.values.seating_id, list(seating.values.setup_ids)
    times_utc, values_nm = list(seating.times_utc), list(seating.values.values_nm)
    left = {setup for setup, _, _, _ in changed}.intersection(setup_ids)
    came = [row for row in changed if row[1] == seating_id]
    if not left and not came:
        return seating
    for setup in left:
        place = setup_ids.index(setup)
        del times_utc[place], setup_ids[place], values_nm[place]
    for setup, _, value_nm, at_utc in came:
        among = slice(bisect_left(times_utc, at_utc), bisect_right(times_utc, at_utc))
        place = among.start + bisect_left(setup_ids[among], setup)
        times_utc.insert(place, at_utc)
        setup_ids.insert(place, setup)
        values_nm.insert(place, value_nm)
    return _seating(seating_id, times_utc, setup_ids, values_nm)


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
        kept = _stores.get(store, _Axes()).get((fixture_id, axis))
        if kept is not None and kept.history is history and inputs in kept.usuals:
            return kept.usuals[inputs]
    found = usual(history, *inputs)
    if kept is not None and kept.history is history:
        with _lock:
            kept.usuals[inputs] = found
            while len(kept.usuals) > MOST_USUALS:
                kept.usuals.popitem(last=False)
    return found
