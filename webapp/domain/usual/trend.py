"""One seating of one fixture's axis, value by value: what the lead sees of it, and the words beside it.

Rules of this module:
- Values stand in order of time, equal times in order of the setup, and are numbered from 1,
  those left out too: a number never moves because a value was left out.
- What was left out is shown and counted nowhere: not in the usual, not in a chart.
- The usual is that of the seating as it stands, on itself and the seatings before it (see `usual`);
  each value is judged against it as if it were touched today.
- Charts and signals come from `drift`. What is said of a signal's ask rate is the chance of a question for a
  touch where the signal lies, by the present usual and lines: where the chart's centre was, or how far the
  value jumped, says nothing about that.
- Seatings are never mixed: each has its own chart.
- Of a long seating a stretch is looked at: the rows that are shown and some that lead up to them. Its usual,
  its numbers, its notes and the baseline of its chart are the whole seating's, whether older values or newer
  ones lie beside the stretch; the signals are those that reach what is shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.drift import (
    BASELINE,
    LEAST_VALUES,
    Chart,
    DatedValue,
    Signal,
    chart,
    say_hints,
    say_signal,
    stretch_of,
)
from webapp.domain.usual.limits import ask_rate, of_100
from webapp.domain.usual.usual import (
    FloorInputs,
    LinesChoice,
    SeatingValues,
    SetupValue,
    Usual,
    Verdict,
    usual,
    verdict,
)

MOST_SIGNALS_SAID = 12


@dataclass(frozen=True)
class TrendRow:
    """A value as it is kept: its setup, when it was touched, by whom, and why the lead left it out, if so.

    `has_page` says whether its setup was walked through here, so that there is more to see of it.
    """

    setup_id: str
    at_utc: str
    value_nm: int
    person: str | None
    left_out_reason: str | None
    has_page: bool = True


@dataclass(frozen=True)
class TrendPoint:
    """A value with its number in the seating and all that is said about it; None where nothing can be."""

    number: int
    row: TrendRow
    distance_nm: int | None
    verdict: Verdict | None
    moving_range_nm: int | None
    ewma_nm: float | None
    rules: tuple[int, ...]
    signals: tuple[str, ...]
    is_suspect: bool


@dataclass(frozen=True)
class SeatingTrend:
    """One seating: its points, its usual, its chart (None below five values), and what there is to say."""

    seating_id: str
    since_utc: str
    until_utc: str | None
    reason: str
    points: tuple[TrendPoint, ...]
    usual: Usual
    chart: Chart | None
    signals: tuple[Finding, ...]
    signal_numbers: tuple[int, ...]
    signal_count: int
    hints: tuple[Finding, ...]
    notes: tuple[Finding, ...]
    first_number: int = 1
    leading: int = 0
    count: int = 0

    @property
    def shown(self) -> SeatingTrend:
        """Return the same without the rows that only lead up to those that are shown."""
        if not self.leading:
            return self
        points = self.points[self.leading :]
        led = sum(point.row.left_out_reason is None for point in self.points[: self.leading])
        found = stretch_of(self.chart, led) if self.chart else None
        first = self.first_number + self.leading
        return replace(self, points=points, chart=found, first_number=first, leading=0)

    def at(self, number: int) -> TrendPoint:
        """Return the point of this number in the seating."""
        return self.points[number - self.first_number]

    @property
    def counted(self) -> tuple[TrendPoint, ...]:
        """Return the points that were not left out."""
        return tuple(point for point in self.points if point.row.left_out_reason is None)


@dataclass(frozen=True)
class Stretch:
    """Where rows lie in a seating that they are not all of: the values that count before them, all that count
    in the seating, the number of the first row, how many at their start only lead up to the others; and how
    many rows the seating has, those left out too.
    """

    before: SeatingValues
    whole: SeatingValues
    first_number: int
    leading: int
    count: int


@dataclass(frozen=True)
class SeatingRows:
    """A seating and its kept values, in any order: all of them, or those of a stretch."""

    seating_id: str
    since_utc: str
    until_utc: str | None
    reason: str
    rows: tuple[TrendRow, ...]
    stretch: Stretch | None = None

    @property
    def count(self) -> int:
        """Return how many values the seating has, those left out too."""
        return self.stretch.count if self.stretch else len(self.rows)

    @property
    def first_number(self) -> int:
        """Return the number of the first of the rows."""
        return self.stretch.first_number if self.stretch else 1

    @property
    def counted_nm(self) -> tuple[int, ...]:
        """Return all values of the seating that count, oldest first."""
        return (self.stretch.whole if self.stretch else values_of(self)).values_nm


def seating_trend(
    seatings: Sequence[SeatingRows],
    floor: FloorInputs,
    choice: LinesChoice,
    display: Display,
    *,
    charted: bool = True,
    known: Usual | None = None,
) -> SeatingTrend:
    """Return the trend of the last seating given; the ones before it, in order of time, lend their spread.

    With `charted` false it has no chart and no signals, for whoever asks about the lines only. `known` is the
    usual where it is known already, which it has to be where values lie behind the stretch.
    """
    now = seatings[-1]
    rows = sorted(now.rows, key=lambda row: (row.at_utc, row.setup_id))
    counted = [row for row in rows if row.left_out_reason is None]
    usual_now = known or usual([values_of(seating) for seating in seatings], floor, choice, display)
    found = _chart(counted, seatings, display) if charted else None
    leading = now.stretch.leading if now.stretch else 0
    said = Said(found, usual_now, rows, display, now.first_number, leading)
    return SeatingTrend(
        seating_id=now.seating_id,
        since_utc=now.since_utc,
        until_utc=now.until_utc,
        reason=now.reason,
        points=tuple(_points(rows, found, usual_now, now.first_number)),
        usual=usual_now,
        chart=found,
        signals=said.signals(),
        signal_numbers=tuple(said.number(signal.first) for signal in said.newest),
        signal_count=said.count,
        hints=said.hints(),
        notes=tuple(_notes(now, counted)),
        first_number=now.first_number,
        leading=leading,
        count=now.count,
    )


def values_of(seating: SeatingRows) -> SeatingValues:
    """Return what counts of a seating up to the last of its rows, oldest first."""
    rows = sorted(seating.rows, key=lambda row: (row.at_utc, row.setup_id))
    kept = [row for row in rows if row.left_out_reason is None]
    if seating.stretch is None:
        values = [SetupValue(row.setup_id, row.value_nm) for row in kept]
        return SeatingValues.of_setups(seating.seating_id, values)
    before = seating.stretch.before
    setups = *before.setup_ids, *(row.setup_id for row in kept)
    return replace(before, setup_ids=setups, values_nm=(*before.values_nm, *(row.value_nm for row in kept)))


def _chart(rows: Sequence[TrendRow], seatings: Sequence[SeatingRows], display: Display) -> Chart | None:
    """Return the charts, with the moving ranges of earlier seatings beside the first values of this one."""
    dated = [DatedValue(row.setup_id, row.at_utc, row.value_nm) for row in rows]
    now = seatings[-1]
    before = now.stretch.before.values_nm if now.stretch else ()
    return _chart_of(dated, map(values_of, seatings[:-1]), display, before, now.counted_nm)


def _chart_of(
    rows: Sequence[DatedValue],
    earlier: Iterable[SeatingValues],
    display: Display,
    before_nm: Sequence[int],
    counted_nm: Sequence[int],
) -> Chart | None:
    if len(counted_nm) < LEAST_VALUES:
        return None
    ranges = [one.values_nm for one in earlier if len(one.values_nm) > 1]
    hidden_nm, first_nm = display.resolution_nm / math.sqrt(12), counted_nm[:BASELINE]
    return chart(rows, hidden_nm, ranges, before_nm=before_nm, first_nm=first_nm)


def signals_of(
    history: Sequence[SeatingValues], times_utc: Sequence[str], display: Display, shown: int, leading: int
) -> int:
    """Return how many signals reach the last `shown` values of the last seating, touched at these times;
    `leading` more are looked at before them.
    """
    now, first = history[-1], max(0, len(times_utc) - shown - leading)
    parts = now.setup_ids[first:], times_utc[first:], now.values_nm[first:]
    dated = [DatedValue(*one) for one in zip(*parts, strict=True)]
    found = _chart_of(dated, history[:-1], display, now.values_nm[:first], now.values_nm)
    return len(stretch_of(found, max(0, len(dated) - shown)).signals) if found else 0


def _points(
    rows: Sequence[TrendRow], found: Chart | None, usual_now: Usual, first_number: int
) -> Iterable[TrendPoint]:
    suspects = {one.setup_id for one in usual_now.suspects if one.seating_id == usual_now.seating_id}
    marked = _marked(found)
    place = 0
    for number, row in enumerate(rows, start=first_number):
        counts = row.left_out_reason is None
        drawn = found.points[place] if found and counts else None
        yield TrendPoint(
            number=number,
            row=row,
            distance_nm=None if usual_now.centre_nm is None else row.value_nm - usual_now.centre_nm,
            verdict=None if usual_now.centre_nm is None else verdict(row.value_nm, usual_now),
            moving_range_nm=drawn.moving_range_nm if drawn else None,
            ewma_nm=drawn.ewma_nm if drawn else None,
            rules=drawn.rules if drawn else (),
            signals=marked.get(place, ()) if drawn else (),
            is_suspect=counts and row.setup_id in suspects,
        )
        place += counts


def _marked(found: Chart | None) -> dict[int, tuple[str, ...]]:
    """Return, for each place that a signal covers, the kinds of those signals."""
    marked: dict[int, tuple[str, ...]] = {}
    for signal in found.signals if found else ():
        for place in range(signal.first, signal.last + 1):
            marked[place] = (*marked.get(place, ()), signal.kind)
    return marked


class Said:
    """The words about a chart's signals; setups are named by their number in the seating."""

    def __init__(
        self,
        found: Chart | None,
        usual_now: Usual,
        rows: Sequence[TrendRow],
        display: Display,
        first_number: int,
        leading: int,
    ) -> None:
        self._found, self._usual, self._display = found, usual_now, display
        numbered = list(enumerate(rows, start=first_number))
        self._numbers = [number for number, row in numbered if row.left_out_reason is None]
        self._by_setup = {row.setup_id: number for number, row in numbered}
        led = sum(row.left_out_reason is None for row in rows[:leading])
        reached = [one for one in found.signals if one.last >= led] if found else []
        self.count = len(reached)
        self.newest: list[Signal] = reached[-MOST_SIGNALS_SAID:][::-1]

    def number(self, place: int) -> int:
        """Return the number in the seating of a place in the chart."""
        return self._numbers[place]

    def signals(self) -> tuple[Finding, ...]:
        """Return the newest signals in words, newest first."""
        return tuple(self._say(signal) for signal in self.newest)

    def hints(self) -> tuple[Finding, ...]:
        """Return the run rules that were completed, each once."""
        hints = say_hints(self._found) if self._found else ()
        return tuple(
            replace(hint, fields={**hint.fields, "setup": self._by_setup[str(hint.fields["setup"])]})
            for hint in hints
        )

    def _say(self, signal: Signal) -> Finding:
        found = self._found
        ask_nm, centre_nm = self._usual.ask_nm, self._usual.centre_nm
        if found is None or ask_nm is None or centre_nm is None:
            raise AssertionError("a signal without values is a mistake in the program")
        asks = ask_rate(ask_nm, self._usual, self._display, signal.place_nm - centre_nm)
        said = say_signal(signal, found, self._display, centre_nm, of_100(asks))
        return replace(said, fields={**said.fields, "first_setup": self.number(signal.first)})


def _notes(now: SeatingRows, counted: Sequence[TrendRow]) -> Iterable[Finding]:
    """Yield what limits what can be said about a seating; who brought its values is known of these rows."""
    values_nm = now.counted_nm
    count = len(values_nm)
    if not count:
        yield Finding("trend.no_value")
    elif count == 1:
        yield Finding("trend.one_value")
    elif count < LEAST_VALUES:
        yield Finding("drift.too_few", {"n": count, "least": LEAST_VALUES})
    if count > 1 and all(value_nm == values_nm[0] for value_nm in values_nm):
        yield Finding("trend.no_spread")
    people = {row.person for row in counted}
    if len(counted) == count > 1 and len(people) == 1 and None not in people:
        yield Finding("trend.one_person")
    if now.count > count:
        yield Finding("trend.left_out", {"count": now.count - count})


def described(trend: SeatingTrend, display: Display) -> tuple[Finding, ...]:
    """Return the charts in words, for whoever does not see them; nothing where there is no value."""
    counted = trend.counted
    if not counted:
        return ()
    values = [point.row.value_nm for point in counted]
    fields: dict[str, str | int] = {
        "values": len(values),
        "first": counted[0].row.at_utc[:10],
        "last": counted[-1].row.at_utc[:10],
        "lowest": format_length(min(values), display),
        "highest": format_length(max(values), display),
        "unit": display.unit.value,
    }
    usual_now = trend.usual
    if usual_now.centre_nm is None or usual_now.ask_nm is None or usual_now.stop_nm is None:
        code = "trend.described_one_no_lines" if len(values) == 1 else "trend.described_no_lines"
        return (Finding(code, fields),)
    fields |= {
        "usual": format_length(usual_now.centre_nm, display),
        "ask": format_length(usual_now.ask_nm, display, sign=False),
        "stop": format_length(usual_now.stop_nm, display, sign=False),
    }
    code = "trend.described_one" if len(values) == 1 else "trend.described"
    return (Finding(code, fields), *_described_chart(trend.chart, display))


def _described_chart(found: Chart | None, display: Display) -> Iterable[Finding]:
    if found is None:
        return
    averages = [point.ewma_nm for point in found.points]
    steps = [point.moving_range_nm for point in found.points if point.moving_range_nm is not None]
    unit: dict[str, str | int] = {"unit": display.unit.value}
    average: dict[str, str | int] = {
        "low": format_length(round(min(averages)), display),
        "high": format_length(round(max(averages)), display),
        "limit": format_length(round(found.ewma_limit_nm), display, sign=False),
        "centre": format_length(round(found.centre_nm), display),
    }
    yield Finding("trend.described_average", unit | average)
    # The first value of a seating may stand alone on its page: there is no step to it.
    if steps:
        step: dict[str, str | int] = {
            "step": format_length(max(steps), display, sign=False),
            "step_limit": format_length(round(found.moving_range_limit_nm), display, sign=False),
        }
        yield Finding("trend.described_steps", unit | step)
    yield Finding("trend.described_signals", {"signals": len(found.signals)})
