"""The values of one axis, of which only those that are shown are read row by row.

Rules: what counts is at hand in columns (see `histories`), what was left out is found by an index of its own;
a row with its person is read for a value that is looked at, STRETCH of them at most for a page. So a page
costs the same after ten years. Everything happens inside the caller's transaction.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.usual.drift import LOOK_BACK
from webapp.domain.usual.joining import AGREES
from webapp.domain.usual.trend import SeatingRows, Stretch, TrendRow, signals_of
from webapp.domain.usual.usual import LinesChoice, SeatingValues, Usual, verdict
from webapp.services.numbers.histories import (
    History,
    begun_back,
    dated_history,
    place_in,
    turned_round,
    usual_of,
    worked_out,
)

if TYPE_CHECKING:
    from webapp.services.sheets.fitted_machines import AxisParts
    from webapp.store import Store
    from webapp.store.rows import KeptWithPerson

STRETCH = 50


@dataclass(frozen=True)
class NumberedRow:
    """A value, and its number in its seating."""

    number: int
    row: TrendRow


@dataclass(frozen=True)
class Counting:
    """What a seating comes to with the values that count in it: its usual, and how many signals there are."""

    usual: Usual
    signals: int


class LongAxis:
    """The values of an axis, of which only a stretch is read row by row, inside the caller's transaction."""

    def __init__(self, store: Store, fixture: str, axis: str) -> None:
        self._store, self.fixture, self.axis = store, fixture, axis
        self.seatings = store.shop.seatings(fixture)
        self.history, self._times = dated_history(store, fixture, axis)
        self._left_out = store.kept.left_out_values(fixture, axis)

    def count(self, place: int) -> int:
        """How many values a seating has, those left out too."""
        return len(self._times[place]) + self._left_out.get(self.seatings[place]["id"], 0)

    def rows(self, place: int, start: int | None) -> SeatingRows:
        """A seating with the rows of a stretch behind so many newer values; without any for None."""
        row = self.seatings[place]
        kept = [] if start is None else self._newest(row["id"], start)
        rows = tuple(trend_row(one) for one in kept)
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
            for kept in self._store.kept.kept_of(self.fixture, self.axis, one.setup_id):
                yield NumberedRow(self.number(place, kept), trend_row(kept))

    def number(self, place: int, kept: KeptWithPerson) -> int:
        """The number of a value in its seating, whether it counts or not."""
        at_utc, setup = kept["at_utc"], kept["setup"]
        known = self.fixture, self.axis, kept["seating"], at_utc, setup
        left_out = self._store.kept.left_out_before(*known)
        return place_in(self.history[place].setup_ids, self._times[place], at_utc, setup) + left_out + 1

    def counting(self, place: int, parts: AxisParts, turned: KeptWithPerson | None = None) -> Counting:
        """What a seating comes to as it stands, or with one of its values turned round: worked out once for
        as long as no value of the axis changes.
        """
        inputs = parts.floor, parts.choice, parts.machine.display
        which = place, turned["setup"] if turned else None, *inputs
        axis = self.fixture, self.axis
        return worked_out(
            self._store, axis, self.history, which, lambda: self._counting(place, parts, turned)
        )

    def _counting(self, place: int, parts: AxisParts, turned: KeptWithPerson | None) -> Counting:
        history, times_utc = self.history[: place + 1], self._times[place]
        if turned is not None:
            now, times_utc = turned_round(history[-1], times_utc, turned)
            history = (*history[:-1], now)
        signals = signals_of(history, times_utc, parts.machine.display, len(times_utc), 0)
        return Counting(self.usual(history, parts), signals)

    def usual(self, history: History, parts: AxisParts, choice: LinesChoice | None = None) -> Usual:
        """The usual of a history of this axis, by another choice than the one that holds if given."""
        inputs = parts.floor, choice or parts.choice, parts.machine.display
        return usual_of(self._store, self.fixture, self.axis, history, *inputs)

    def begun_back(self, since_utc: str) -> History:
        """The history as it were if another seating had begun at this time of the present one."""
        gone = self._kept_left_out(len(self.seatings) - 1)
        let_in = [one for one in gone if one["left_out_reason"] == STAYED_OUT and one["at_utc"] >= since_utc]
        return (*self.history[:-1], *begun_back(self.history[-1], self._times[-1], since_utc, let_in))

    def beyond(self, place: int, usual_now: Usual, most: int) -> tuple[int, list[NumberedRow]]:
        """How many touches of a seating lie beyond the ask line of this usual, those left out too,
        and the newest of them, oldest first.
        """
        values, times_utc, gone = self.history[place], self._times[place], self._kept_left_out(place)
        columns = zip(times_utc, values.setup_ids, values.values_nm, strict=True)
        found = [(at_utc, setup) for at_utc, setup, value in columns if verdict(value, usual_now) != AGREES]
        out = [_key(one) for one in gone if verdict(one["value_nm"], usual_now) != AGREES]
        newest = [setup for _, setup in sorted([*found[-most:], *out])[-most:]]
        rows = self._store.kept.kept_among(self.fixture, self.axis, newest)
        left_out = list(map(_key, gone))
        return len(found) + len(out), [
            NumberedRow(
                1 + bisect_left(left_out, _key(one)) + place_in(values.setup_ids, times_utc, *_key(one)),
                trend_row(one),
            )
            for one in rows
        ]

    def _kept_left_out(self, place: int) -> list[KeptWithPerson]:
        return self._store.kept.kept_left_out(self.fixture, self.axis, self.seatings[place]["id"])

    def _newest(self, seating: str, start: int) -> list[KeptWithPerson]:
        most = STRETCH + LOOK_BACK
        return self._store.kept.kept_newest(self.fixture, self.axis, seating, most, start)

    def _before(self, place: int, rows: Sequence[TrendRow]) -> SeatingValues:
        """The values that count and lie before these rows: all where there are none."""
        values, times = self.history[place], self._times[place]
        if not rows:
            return values
        end = place_in(values.setup_ids, times, rows[0].at_utc, rows[0].setup_id)
        return replace(values, setup_ids=values.setup_ids[:end], values_nm=values.values_nm[:end])


def _key(kept: KeptWithPerson) -> tuple[str, str]:
    return kept["at_utc"], kept["setup"]


def trend_row(kept: KeptWithPerson) -> TrendRow:
    """A kept value as charts and tables take it."""
    parts = kept["setup"], kept["at_utc"], kept["value_nm"], kept["person"], kept["left_out_reason"]
    return TrendRow(*parts, has_page=bool(kept["has_page"]))
