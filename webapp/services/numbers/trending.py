"""Reading how a fixture's axis behaves:
its values since each seating, its signals, and all fixtures at a glance.

Rules: everything is worked out from what is kept, in one view of the store; nothing here is stored, nothing
blocks an operator. Of a long seating STRETCH values are shown at a time, and as many as a signal can look
back are read before them: a page costs the same after ten years.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypedDict

from webapp.domain.plain.lengths import Display
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.fitted_machine import Place, fixtures_of
from webapp.domain.shop.shop import Fixture, Machine
from webapp.domain.usual.drift import LOOK_BACK
from webapp.domain.usual.moved import Move, moved_together
from webapp.domain.usual.trend import SeatingRows, SeatingTrend, TrendRow, seating_trend, signals_of
from webapp.domain.usual.usual import Usual, Verdict, verdict
from webapp.services.errors import NoSuchFixture, NoSuchSeating, NoSuchValue
from webapp.services.numbers.histories import dated_history, usual_of, worked_out
from webapp.services.numbers.long_axis import STRETCH, Counting, LongAxis, NumberedRow, trend_row
from webapp.services.sheets.fitted_machines import AxisParts, axis_parts, parts_of_axes

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SeatingRow

EVERY_SEATING = "all"


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
        long = LongAxis(store, fixture_id, axis)
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
    store: Store, parts: AxisParts, long: LongAxis, rows: Sequence[SeatingRows], place: int
) -> SeatingTrend:
    inputs = parts.floor, parts.choice, parts.machine.display
    history = long.history if place == len(rows) - 1 else long.history[: place + 1]
    known = usual_of(store, long.fixture, long.axis, history, *inputs)
    return seating_trend(rows[: place + 1], *inputs, known=known)


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
        long = LongAxis(store, fixture_id, axis)
        found = store.kept.kept_of(fixture_id, axis, setup)
        if not found:
            raise NoSuchValue(setup=setup[:40], axis=axis)
        kept = found[0]
        place = [row["id"] for row in long.seatings].index(kept["seating"])
        number = long.number(place, kept)
        now = long.counting(place, parts)
        other = long.counting(place, parts, kept)
    return OneValue(parts, long.seatings[place], number, trend_row(kept), now, other)


@dataclass(frozen=True)
class BegunBack:
    """A past value that a new seating might begin with:
    its number, and the usual as it is and as it then were.
    """

    parts: AxisParts
    number: int
    row: TrendRow
    now: Usual
    other: Usual


def begun_with(store: Store, fixture_id: str, axis: str, setup: str) -> BegunBack:
    """What a new seating that begins with a setup of the present one would do.
    Raises NoShopYet, NoSuchFixture, NoSuchValue.
    """
    with store.reading():
        parts = axis_parts(store, fixture_id, axis)
        long = LongAxis(store, fixture_id, axis)
        found = store.kept.kept_of(fixture_id, axis, setup)
        last = len(long.seatings) - 1
        if not found or last < 0 or found[0]["seating"] != long.seatings[last]["id"]:
            raise NoSuchValue(setup=setup[:40], axis=axis)
        number = long.number(last, found[0])
        if number == 1:
            raise NoSuchValue(setup=setup[:40], axis=axis)
        now, other = (long.usual(some, parts) for some in (long.history, long.begun_back(found[0]["at_utc"])))
    return BegunBack(parts, number, trend_row(found[0]), now, other)


def parts_of(store: Store, fixture_id: str, axis: str) -> AxisParts:
    """The parts of one axis, in a view of its own. Raises NoShopYet, NoSuchFixture, SheetCannotBeMade."""
    with store.reading():
        return axis_parts(store, fixture_id, axis)


def overview(store: Store) -> list[FixtureAtAGlance]:
    """Each fixture in use with its machine, and for each axis that is touched the trend of the present
    seating; each read in a view of its own, so that nobody who writes waits for all of them.
    """
    with store.reading():
        machines = store.shop.items("machine")
        fixtures = store.shop.items("fixture")
    found = []
    for id_, value in machines.items():
        for fixture in fixtures_of(value):
            with store.reading():
                found.append(_fixture(store, from_plain(Machine, value), Place(id_, fixture), fixtures))
    return [one for one in found if one is not None]


def _fixture(
    store: Store, machine: Machine, place: Place, fixtures: Mapping[str, Mapping[str, object]]
) -> FixtureAtAGlance | None:
    fixture_id = place.fixture
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
        for parts in parts_of_axes(store, place)
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
