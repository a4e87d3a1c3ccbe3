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
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.drift import LEAST_VALUES, Chart, DatedValue, Signal, chart, say_hints, say_signal
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

    @property
    def counted(self) -> tuple[TrendPoint, ...]:
        """Return the points that were not left out."""
        return tuple(point for point in self.points if point.row.left_out_reason is None)

    @property
    def suspects(self) -> tuple[TrendPoint, ...]:
        """Return the points that Grubbs' test points at."""
        return tuple(point for point in self.points if point.is_suspect)


@dataclass(frozen=True)
class SeatingRows:
    """A seating and its kept values, in any order."""

    seating_id: str
    since_utc: str
    until_utc: str | None
    reason: str
    rows: tuple[TrendRow, ...]


def seating_trend(
    seatings: Sequence[SeatingRows],
    floor: FloorInputs,
    choice: LinesChoice,
    display: Display,
    *,
    charted: bool = True,
) -> SeatingTrend:
    """Return the trend of the last seating given; the ones before it, in order of time, lend their spread.

    With `charted` false it has no chart and no signals, for whoever asks about the lines only.
    """
    now = seatings[-1]
    rows = sorted(now.rows, key=lambda row: (row.at_utc, row.setup_id))
    counted = [row for row in rows if row.left_out_reason is None]
    usual_now = usual([_values(seating) for seating in seatings], floor, choice, display)
    found = _chart(counted, seatings[:-1], display) if charted else None
    said = Said(found, usual_now, rows, display)
    return SeatingTrend(
        seating_id=now.seating_id,
        since_utc=now.since_utc,
        until_utc=now.until_utc,
        reason=now.reason,
        points=tuple(_points(rows, found, usual_now)),
        usual=usual_now,
        chart=found,
        signals=said.signals(),
        signal_numbers=tuple(said.number(signal.first) for signal in said.newest),
        signal_count=len(found.signals) if found else 0,
        hints=said.hints(),
        notes=tuple(_notes(rows, counted)),
    )


def _values(seating: SeatingRows) -> SeatingValues:
    rows = sorted(seating.rows, key=lambda row: (row.at_utc, row.setup_id))
    kept = [SetupValue(row.setup_id, row.value_nm) for row in rows if row.left_out_reason is None]
    return SeatingValues.of_setups(seating.seating_id, kept)


def _chart(rows: Sequence[TrendRow], earlier: Sequence[SeatingRows], display: Display) -> Chart | None:
    """Return the charts, with the moving ranges of earlier seatings beside the first values of this one."""
    dated = [DatedValue(row.setup_id, row.at_utc, row.value_nm) for row in rows]
    return _chart_of(dated, [_values(seating) for seating in earlier], display)


def _chart_of(rows: Sequence[DatedValue], earlier: Sequence[SeatingValues], display: Display) -> Chart | None:
    if len(rows) < LEAST_VALUES:
        return None
    before = [one.values_nm for one in earlier if len(one.values_nm) > 1]
    return chart(rows, display.resolution_nm / math.sqrt(12), before)


def signals_of(history: Sequence[SeatingValues], times_utc: Sequence[str], display: Display) -> int:
    """Return how many signals the chart of the last seating has, whose values were touched at these times."""
    now = history[-1]
    dated = [
        DatedValue(setup, at_utc, value_nm)
        for setup, at_utc, value_nm in zip(now.setup_ids, times_utc, now.values_nm, strict=True)
    ]
    found = _chart_of(dated, history[:-1], display)
    return len(found.signals) if found else 0


def _points(rows: Sequence[TrendRow], found: Chart | None, usual_now: Usual) -> Iterable[TrendPoint]:
    suspects = {one.setup_id for one in usual_now.suspects if one.seating_id == usual_now.seating_id}
    marked = _marked(found)
    place = 0
    for number, row in enumerate(rows, start=1):
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
        self, found: Chart | None, usual_now: Usual, rows: Sequence[TrendRow], display: Display
    ) -> None:
        self._found, self._usual, self._display = found, usual_now, display
        self._numbers = [n for n, row in enumerate(rows, start=1) if row.left_out_reason is None]
        self._by_setup = {row.setup_id: number for number, row in enumerate(rows, start=1)}
        self.newest: list[Signal] = list(found.signals[-MOST_SIGNALS_SAID:])[::-1] if found else []

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


def _notes(rows: Sequence[TrendRow], counted: Sequence[TrendRow]) -> Iterable[Finding]:
    """Yield what limits what can be said about these values."""
    if not counted:
        yield Finding("trend.no_value")
    elif len(counted) == 1:
        yield Finding("trend.one_value")
    elif len(counted) < LEAST_VALUES:
        yield Finding("drift.too_few", {"n": len(counted), "least": LEAST_VALUES})
    if len(counted) > 1 and len({row.value_nm for row in counted}) == 1:
        yield Finding("trend.no_spread")
    people = {row.person for row in counted}
    if len(counted) > 1 and len(people) == 1 and None not in people:
        yield Finding("trend.one_person")
    if len(counted) < len(rows):
        yield Finding("trend.left_out", {"count": len(rows) - len(counted)})


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
        return (Finding("trend.described_no_lines", fields),)
    fields |= {
        "usual": format_length(usual_now.centre_nm, display),
        "ask": format_length(usual_now.ask_nm, display, sign=False),
        "stop": format_length(usual_now.stop_nm, display, sign=False),
    }
    return (Finding("trend.described", fields), *_described_chart(trend.chart, display))


def _described_chart(found: Chart | None, display: Display) -> Iterable[Finding]:
    if found is None:
        return
    averages = [point.ewma_nm for point in found.points]
    steps = [point.moving_range_nm for point in found.points if point.moving_range_nm is not None]
    yield Finding(
        "trend.described_chart",
        {
            "low": format_length(round(min(averages)), display),
            "high": format_length(round(max(averages)), display),
            "limit": format_length(round(found.ewma_limit_nm), display, sign=False),
            "centre": format_length(round(found.centre_nm), display),
            "step": format_length(max(steps), display, sign=False),
            "step_limit": format_length(round(found.moving_range_limit_nm), display, sign=False),
            "signals": len(found.signals),
            "unit": display.unit.value,
        },
    )
