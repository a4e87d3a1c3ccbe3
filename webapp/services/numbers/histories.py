"""The values that the usual stands on, and the usual itself, worked out once for as long as no value changes.

Rules:
- the store numbers the changes of each axis' values and says which setup each was about; what was read stays
  in this process under the number of the last change, with all else that goes in. After a change only that
  setup's value is read again: nothing here is a source of its own;
- after more than MOST_CHANGES, or with other seatings, all is read anew;
- inside a transaction that writes, what is kept is followed and nothing put here: it may yet be taken back;
- what is kept is bounded by the values held, however many machines and axes they are of; what was asked for
  longest ago goes first. So a shop's sheets cost as much with a hundred thousand past touches as with ten.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock
from typing import TYPE_CHECKING, Any, TypeVar
from weakref import WeakKeyDictionary

from webapp.domain.plain.lengths import Display
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import KeptWithPerson

MOST_VALUES = 500_000  # about 100 MB
MOST_WORKED_OUT = 16
MOST_CHANGES = 200
# What of a time in the format of events is its day.
DAY = len("2026-11-25")

Found = TypeVar("Found")
History = tuple[SeatingValues, ...]
Inputs = tuple[FloorInputs, LinesChoice, Display]


@dataclass(frozen=True)
class _Seating:
    """One seating's values as the usual takes them, and the time of each: by time, then by setup."""

    times_utc: tuple[str, ...]
    values: SeatingValues


@dataclass
class _Kept:
    """One axis' history as of one change, and what was worked out from it."""

    change: int
    seatings: tuple[_Seating, ...]
    history: History
    worked_out: OrderedDict[Hashable, Any] = field(default_factory=OrderedDict)

    @property
    def count(self) -> int:
        return sum(len(one.times_utc) for one in self.seatings)


_Axes = OrderedDict[tuple[str, str], _Kept]
_stores: WeakKeyDictionary[Store, _Axes] = WeakKeyDictionary()
_lock = Lock()


def seating_history(store: Store, fixture_id: str, axis: str) -> History:
    """Accepted values of a fixture's axis by seating,
    the present one last, inside the caller's transaction.
    """
    return _now(store, fixture_id, axis).history


def dated_history(store: Store, fixture_id: str, axis: str) -> tuple[History, tuple[tuple[str, ...], ...]]:
    """The same, and when each value of each seating was touched."""
    kept = _now(store, fixture_id, axis)
    return kept.history, tuple(one.times_utc for one in kept.seatings)


def _now(store: Store, fixture_id: str, axis: str) -> _Kept:
    place = fixture_id, axis
    seatings = tuple(row["id"] for row in store.shop.seatings(fixture_id))
    change = store.kept.changes_of_values(fixture_id, axis)
    with _lock:
        known = _stores.setdefault(store, OrderedDict()).get(place)
    found = _followed(store, place, seatings, change, known)
    # A view of an earlier moment puts nothing here either: the later one is of more use.
    if not store.is_writing and (known is None or change >= known.change):
        _put(store, place, found)
    return found


def _followed(
    store: Store, place: tuple[str, str], seatings: tuple[str, ...], change: int, known: _Kept | None
) -> _Kept:
    """The history as of a change: what is known, on from where it was; read anew where that cannot be."""
    if (
        known is None
        or tuple(one.seating_id for one in known.history) != seatings
        or not 0 <= change - known.change <= MOST_CHANGES
    ):
        return _kept(change, _read(store, *place, seatings))
    if change == known.change:
        return known
    changed = store.kept.changed_values(*place, known.change)
    return _kept(change, tuple(_after(one, changed) for one in known.seatings))


def _put(store: Store, place: tuple[str, str], found: _Kept) -> None:
    with _lock:
        axes = _stores.setdefault(store, OrderedDict())
        axes[place] = found
        axes.move_to_end(place)
        held = sum(one.count for one in axes.values())
        while held > MOST_VALUES and len(axes) > 1:
            held -= axes.popitem(last=False)[1].count


def _kept(change: int, seatings: tuple[_Seating, ...]) -> _Kept:
    return _Kept(change, seatings, tuple(one.values for one in seatings))


def _read(store: Store, fixture_id: str, axis: str, seating_ids: Sequence[str]) -> tuple[_Seating, ...]:
    found: dict[str, list[tuple[str, str, int, str]]] = {seating_id: [] for seating_id in seating_ids}
    for row in store.kept.counted_values(fixture_id, axis):
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
    """Return the seating with these setups' values as they count now,
    or itself where none of them touches it.
    """
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
        place = place_in(setup_ids, times_utc, at_utc, setup)
        times_utc.insert(place, at_utc)
        setup_ids.insert(place, setup)
        values_nm.insert(place, value_nm)
    return _seating(seating_id, times_utc, setup_ids, values_nm)


def place_in(setup_ids: Sequence[str], times_utc: Sequence[str], at_utc: str, setup_id: str) -> int:
    """Where a value of this time and setup lies in a seating, or would lie: so many count before it."""
    first, last = bisect_left(times_utc, at_utc), bisect_right(times_utc, at_utc)
    return first + bisect_left(setup_ids[first:last], setup_id)


def turned_round(
    values: SeatingValues, times_utc: tuple[str, ...], kept: KeptWithPerson
) -> tuple[SeatingValues, tuple[str, ...]]:
    """A seating and its times with one value out that counts, or in that was left out."""
    seating = None if kept["left_out_reason"] is None else kept["seating"]
    changed = kept["setup"], seating, kept["value_nm"], kept["at_utc"]
    found = _after(_Seating(times_utc, values), [changed])
    return found.values, found.times_utc


def begun_back(
    values: SeatingValues, times_utc: tuple[str, ...], since_utc: str, let_in: Sequence[KeptWithPerson]
) -> tuple[SeatingValues, SeatingValues]:
    """A seating as it were if another had begun at this time, and that other one with what it lets in."""
    end, seating_id = bisect_left(times_utc, since_utc), values.seating_id
    before, after = (_part(values, times_utc, one) for one in (slice(0, end), slice(end, None)))
    came = [(one["setup"], seating_id, one["value_nm"], one["at_utc"]) for one in let_in]
    return before.values, replace(_after(after, came).values, seating_id=f"{seating_id} begun back")


def _part(values: SeatingValues, times_utc: tuple[str, ...], part: slice) -> _Seating:
    columns = list(times_utc[part]), list(values.setup_ids[part]), list(values.values_nm[part])
    return _seating(values.seating_id, *columns)


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
    inputs: Inputs = floor, choice, display
    return worked_out(store, (fixture_id, axis), history, inputs, lambda: usual(history, *inputs))


def worked_out(
    store: Store,
    place: tuple[str, str],
    history: Sequence[SeatingValues],
    inputs: Hashable,
    work_out: Callable[[], Found],
) -> Found:
    """What `work_out` makes of the history of a fixture's axis and of `inputs`, which name it:
    once for as long as no value changes.
    """
    with _lock:
        kept = _stores.get(store, _Axes()).get(place)
        if kept is not None and kept.history is history and inputs in kept.worked_out:
            found: Found = kept.worked_out[inputs]
            return found
    found = work_out()
    if kept is not None and kept.history is history:
        with _lock:
            kept.worked_out[inputs] = found
            while len(kept.worked_out) > MOST_WORKED_OUT:
                kept.worked_out.popitem(last=False)
    return found
