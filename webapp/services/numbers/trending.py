"""Reading how a fixture's axis behaves:
its values since each seating, its signals, and all fixtures at a glance.

Rules: everything is worked out from what is kept, in one view of the store; nothing here is stored, nothing
blocks an operator. Of a long seating STRETCH values are shown at a time, and as many as a signal can look
back are read before them: a page costs the same after ten years.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypedDict

from webapp.domain.plain.lengths import Display
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Fixture, Machine
from webapp.domain.usual.drift import LOOK_BACK
from webapp.domain.usual.moved import Move, begun_back, in_order, moved_together
from webapp.domain.usual.trend import (
    SeatingRows,
    SeatingTrend,
    Stretch,
    TrendRow,
    seating_trend,
    signals_of,
)
from webapp.domain.usual.usual import SeatingValues, Usual, Verdict, verdict
from webapp.services.errors import NoSuchFixture, NoSuchSeating, NoSuchValue
from webapp.services.numbers.histories import dated_history, place_in, turned_round, usual_of, worked_out
from webapp.services.sheets.preparing import AxisParts, axis_parts, parts_of_axes

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import KeptWithPerson, SeatingRow

EVERY_SEATING = "all"
STRETCH = 50


@dataclass(frozen=True)
class Glance:
    """The present seating of an axis:
    its usual, and how many values count, signals there are, values are suspect.
    """

    usual: Usual
    counted: int
    signals: int
    suspects: int


class AxisAtAGlance(TypedDict):
    """One axis of a fixture; `glance` is None before the first seating."""

    axis: str
    face: str
    glance: Glance | None
    own_choice: bool


class FixtureAtAGlance(TypedDict):
    """A fixture in use, its machine, and its axes."""

    fixture: str
    name: str
    machine: str
    machine_name: str
    display: Display
    seatings: Sequence[SeatingRow]
    axes: list[AxisAtAGlance]


@dataclass(frozen=True)
class NumberedRow:
    """A value, and its number in its seating."""

    number: int
    row: TrendRow


@dataclass(frozen=True)
class AxisTrend:
    """What the trends page shows:
    the parts, all seatings (oldest first), which were asked for, and their trends; and of the latest of these
    what Grubbs' test points at, on whichever page it lies.
    """

    parts: AxisParts
    seatings: tuple[SeatingRows, ...]
    chosen: str
    trends: tuple[SeatingTrend, ...]
    suspects: tuple[NumberedRow, ...] = ()
    move: Move | None = None
    start: int = 0

    @property
    def now(self) -> SeatingTrend:
        """The latest of the trends shown."""
        return self.trends[-1]


def trend(store: Store, fixture_id: str, axis: str, seating: str | None = None, start: int = 0) -> AxisTrend:
    """The trend of one axis: of the present seating, of the one named, or of EVERY_SEATING, each by itself.

    Shown of a seating are STRETCH values, the newest, or those behind so many newer ones (`start`; 0 where
    there are not so many). Raises NoShopYet, NoSuchFixture, NoSuchSeating.
    """
    with store.reading():
        parts = axis_parts(store, fixture_id, axis)
        long = _Long(store, fixture_id, axis)
        ids = [row["id"] for row in long.seatings]
        chosen = seating or (ids[-1] if ids else EVERY_SEATING)
        if chosen != EVERY_SEATING and chosen not in ids:
            raise NoSuchSeating(fixture=fixture_id, seating=chosen[:40])
        wanted = range(len(ids)) if chosen == EVERY_SEATING else [ids.index(chosen)]
        start = start if chosen != EVERY_SEATING and start < long.count(wanted[0]) else 0
        rows = [long.rows(place, start if place in wanted else None) for place in range(len(ids))]
        trends = tuple(_trend(store, parts, long, rows, place) for place in wanted)
        suspects = tuple(long.suspects(wanted[-1], trends[-1].usual)) if trends else ()
    shows_present = bool(ids) and chosen in {ids[-1], EVERY_SEATING} and not start
    move = moved_together(rows, parts.floor, parts.choice, parts.machine.display) if shows_present else None
    return AxisTrend(parts, tuple(rows), chosen, trends, suspects, move, start)


def _trend(
    store: Store, parts: AxisParts, long: _Long, rows: Sequence[SeatingRows], place: int
) -> SeatingTrend:
    inputs = parts.floor, parts.choice, parts.machine.display
    history = long.history if place == len(rows) - 1 else long.history[: place + 1]
    known = usual_of(store, long.fixture, long.axis, history, *inputs)
    return seating_trend(rows[: place + 1], *inputs, known=known)


class _Long:
    """The values of an axis, of which only a stretch is read row by row, inside the caller's transaction."""

    def __init__(self, store: Store, fixture: str, axis: str) -> None:
        self._store, self.fixture, self.axis = store, fixture, axis
        self.seatings = store.shop.seatings(fixture)
        self.history, self._times = dated_history(store, fixture, axis)
        self._left_out = store.setups.left_out_values(fixture, axis)

    def count(self, place: int) -> int:
        """How many values a seating has, those left out too."""
        return len(self._times[place]) + self._left_out.get(self.seatings[place]["id"], 0)

    def rows(self, place: int, start: int | None) -> SeatingRows:
        """A seating with the rows of a stretch behind so many newer values; without any for None."""
        row = self.seatings[place]
        kept = [] if start is None else self._newest(row["id"], start)
        rows = tuple(_row(one) for one in kept)
        before = self._before(place, rows)
        first = self.count(place) - (start or 0) - len(rows) + 1
        leading, count = max(0, len(rows) - STRETCH), self.count(place)
        stretch = Stretch(before, self.history[place], first, leading, count)
        return SeatingRows(row["id"], row["since_utc"], row["until_utc"], row["reason"], rows, stretch)

    def suspects(self, place: int, usual_now: Usual) -> Iterable[NumberedRow]:
        """The suspects of a seating: each is looked up by itself, for it may lie far behind what is shown."""
        seating = self.history[place].seating_id
        for one in usual_now.suspects:
            if one.seating_id != seating:
                continue
            for kept in self._store.setups.kept_of(self.fixture, self.axis, one.setup_id):
                yield NumberedRow(self.number(place, kept), _row(kept))

    def number(self, place: int, kept: KeptWithPerson) -> int:
        """The number of a value in its seating, whether it counts or not."""
        at_utc, setup = kept["at_utc"], kept["setup"]
        known = self.fixture, self.axis, kept["seating"], at_utc, setup
        left_out = self._store.setups.left_out_before(*known)
        return place_in(self.history[place].setup_ids, self._times[place], at_utc, setup) + left_out + 1

    def counting(self, place: int, parts: AxisParts, turned: KeptWithPerson | None = None) -> Counting:
        """What a seating comes to as it stands, or with one of its values turned round."""
        history, times_utc = self.history[: place + 1], self._times[place]
        if turned is not None:
            now, times_utc = turned_round(history[-1], times_utc, turned)
            history = (*history[:-1], now)
        axis, display = (self.fixture, self.axis), parts.machine.display
        found = usual_of(self._store, *axis, history, parts.floor, parts.choice, display)
        signals = worked_out(
            self._store,
            axis,
            history,
            (display, place),
            lambda: signals_of(history, times_utc, display, len(times_utc), 0),
        )
        return Counting(found, signals)

    def _newest(self, seating: str, start: int) -> list[KeptWithPerson]:
        most = STRETCH + LOOK_BACK
        return self._store.setups.kept_newest(self.fixture, self.axis, seating, most, start)

    def _before(self, place: int, rows: Sequence[TrendRow]) -> SeatingValues:
        """The values that count and lie before these rows: all where there are none."""
        values, times = self.history[place], self._times[place]
        if not rows:
            return values
        end = place_in(values.setup_ids, times, rows[0].at_utc, rows[0].setup_id)
        return replace(values, setup_ids=values.setup_ids[:end], values_nm=values.values_nm[:end])


def _row(kept: KeptWithPerson) -> TrendRow:
    parts = kept["setup"], kept["at_utc"], kept["value_nm"], kept["person"], kept["left_out_reason"]
    return TrendRow(*parts, has_page=bool(kept["has_page"]))


def seating_rows(store: Store, fixture_id: str, axis: str) -> list[SeatingRows]:
    """Every kept value of a fixture's axis by seating, oldest first, inside the caller's transaction."""
    seatings = store.shop.seatings(fixture_id)
    rows: dict[str, list[TrendRow]] = {row["id"]: [] for row in seatings}
    for row in store.setups.kept_with_people(fixture_id, axis):
        rows[row["seating"]].append(_row(row))
    return [
        SeatingRows(row["id"], row["since_utc"], row["until_utc"], row["reason"], tuple(rows[row["id"]]))
        for row in seatings
    ]


@dataclass(frozen=True)
class Counting:
    """What a seating comes to with the values that count in it: its usual, and how many signals there are."""

    usual: Usual
    signals: int


@dataclass(frozen=True)
class OneValue:
    """A value beside its seating as it counts now (`now`)
    and as it would if that were turned round (`other`).
    """

    parts: AxisParts
    seating: SeatingRow
    number: int
    row: TrendRow
    now: Counting
    other: Counting

    @property
    def distance_nm(self) -> int | None:
        """How far from the usual it lies, None where there is none."""
        return None if self.now.usual.centre_nm is None else self.row.value_nm - self.now.usual.centre_nm

    @property
    def verdict(self) -> Verdict | None:
        """What would be said of it today, None where there is no usual."""
        return None if self.now.usual.centre_nm is None else verdict(self.row.value_nm, self.now.usual)

    @property
    def is_suspect(self) -> bool:
        """Whether Grubbs' test points at it."""
        return any(one.setup_id == self.row.setup_id for one in self.now.usual.suspects)


def with_and_without(store: Store, fixture_id: str, axis: str, setup: str) -> OneValue:
    """One value, with the usual as it is and as it would be with the value left out or taken back.

    Raises NoShopYet, NoSuchFixture, NoSuchValue.
    """
    with store.reading():
        parts = axis_parts(store, fixture_id, axis)
        long = _Long(store, fixture_id, axis)
        found = store.setups.kept_of(fixture_id, axis, setup)
        if not found:
            raise NoSuchValue(setup=setup[:40], axis=axis)
        kept = found[0]
        place = [row["id"] for row in long.seatings].index(kept["seating"])
        number = long.number(place, kept)
        now = long.counting(place, parts)
        other = long.counting(place, parts, kept)
    return OneValue(parts, long.seatings[place], number, _row(kept), now, other)


@dataclass(frozen=True)
class BegunBack:
    """A past value that a new seating might begin with:
    its number, and the usual as it is and as it then were.
    """

    parts: AxisParts
    number: int
    row: TrendRow
    now: SeatingTrend
    other: SeatingTrend


def begun_with(store: Store, fixture_id: str, axis: str, setup: str) -> BegunBack:
    """What a new seating that begins with a setup of the present one would do.
    Raises NoShopYet, NoSuchFixture, NoSuchValue.
    """
    with store.reading():
        parts = axis_parts(store, fixture_id, axis)
        seatings = seating_rows(store, fixture_id, axis)
    rows = in_order(seatings[-1]) if seatings else []
    for number, row in enumerate(rows, start=1):
        if row.setup_id == setup and number > 1:
            now, other = (
                seating_trend(some, parts.floor, parts.choice, parts.machine.display)
                for some in (seatings, begun_back(seatings, setup))
            )
            return BegunBack(parts, number, row, now, other)
    raise NoSuchValue(setup=setup[:40], axis=axis)


def parts_of(store: Store, fixture_id: str, axis: str) -> AxisParts:
    """The parts of one axis, in a view of its own. Raises NoShopYet, NoSuchFixture, SheetCannotBeMade."""
    with store.reading():
        return axis_parts(store, fixture_id, axis)


def overview(store: Store) -> list[FixtureAtAGlance]:
    """Each fixture in use with its machine, and for each axis that is touched the trend of the present
    seating.
    """
    with store.reading():
        machines = store.shop.items("machine")
        fixtures = store.shop.items("fixture")
        found = [_fixture(store, from_plain(Machine, value), fixtures) for value in machines.values()]
    return [one for one in found if one is not None]


def _fixture(
    store: Store, machine: Machine, fixtures: Mapping[str, Mapping[str, object]]
) -> FixtureAtAGlance | None:
    fixture_id = machine.fixture
    if fixture_id not in fixtures:
        return None
    fixture = from_plain(Fixture, fixtures[fixture_id])
    axes: list[AxisAtAGlance] = [
        {
            "axis": parts.face.axis,
            "face": parts.face.face,
            "glance": _glance(store, parts),
            "own_choice": parts.has_own_choice,
        }
        for parts in parts_of_axes(store, machine.id)
    ]
    return {
        "fixture": fixture_id,
        "name": fixture.name,
        "machine": machine.id,
        "machine_name": machine.name,
        "display": machine.display,
        "seatings": store.shop.seatings(fixture_id),
        "axes": axes,
    }


def _glance(store: Store, parts: AxisParts) -> Glance | None:
    """What the present seating comes to, worked out again only when one of the axis' values has changed."""
    fixture, axis, display = parts.fixture.id, parts.face.axis, parts.machine.display
    history, times_utc = dated_history(store, fixture, axis)
    if not history:
        return None
    now = history[-1]
    found = usual_of(store, fixture, axis, history, parts.floor, parts.choice, display)
    signals = worked_out(
        store,
        (fixture, axis),
        history,
        display,
        lambda: signals_of(history, times_utc[-1], display, STRETCH, LOOK_BACK),
    )
    suspects = sum(one.seating_id == now.seating_id for one in found.suspects)
    return Glance(found, len(now.values_nm), signals, suspects)


def fixture_name(store: Store, fixture_id: str) -> str:
    """The name of a fixture in use. Raises NoSuchFixture."""
    with store.reading():
        value = store.shop.item("fixture", fixture_id)
    if value is None:
        raise NoSuchFixture(fixture=fixture_id[:80])
    return str(value["name"])
