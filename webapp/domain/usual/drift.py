"""Is the vise creeping? Charts of one seating and axis, and the signals in them.

Rules of this module:
- Values stand in order of time;
  equal times in order of the setup's id, so that the order of arrival changes nothing.
- Individuals chart: centre is the mean of the first values (at most 30: the baseline), sigma is the mean
  moving range over d2 = 1.128 (NIST/SEMATECH e-Handbook 6.3.2.2; ASTM E2587; ISO 7870-2), with what the
  display hides added in squares. Moving ranges hardly see a slow creep, so creep does not hide itself by
  widening its own limits; the ranges of earlier seatings may be added.
- EWMA: z = 0.2 x + 0.8 z before, from the centre;
  limits L sigma sqrt(0.2 / 1.8), asymptotic (Lucas and Saccucci, Technometrics 32, 1990).
- The published limits are those of one chart alone with known parameters: 3 sigma, L = 2.962 (run length
  500), and D4 = 3.267 mean moving ranges. Three charts together, with parameters from 30 setups, signal
  falsely 2.7 times in 100 setups by them. The limits shown are widened together, to 4 sigma, L = 3.6 and 6
  sigma: at most 0.5 new signals in 100 setups after the baseline, and a shift of two spreads still signalled
  within eight setups nine times in ten (found by simulation: tests.quality).
- A flip of the last digit is no signal, however little the rest scatters:
  no value within one and a half steps of the display, no average within 0.45 and no jump of two.
- A signal is an unbroken run of marked values on one side. Since when: the most likely start of a step that
  lasts until the first marked value, argmax (T - t) (mean after t - centre)^2 (Samuel, Pignatiello and
  Calvin, Quality Engineering 10, 1998; from memory). How far: the mean since then, less the centre.
- Run rules are hints (see `run_rules`). A signal tells the lead; it never blocks anybody.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from webapp.domain.figures.run_rules import run_rules
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, format_length

D2 = 1.128
WEIGHT = 0.2
BASELINE = 30
LEAST_VALUES = 5
LOOK_BACK = 200

Kind = Literal["individuals", "moving_range", "ewma"]
# What is said of a signal of one setup alone.
ONCE: dict[Kind, str] = {"individuals": "individual", "ewma": "ewma_once"}


@dataclass(frozen=True)
class ChartLimits:
    """Where the three charts signal: in sigma of one value, of the average, and of one value again."""

    individuals: float
    ewma: float
    moving_range: float


SHOWN = ChartLimits(4.0, 3.6, 6.0)
# In steps of the display, whatever sigma is.
LEAST_STEPS = ChartLimits(1.5, 0.45, 2.0)


class DriftError(DomainError):
    """No chart can be drawn."""


class DriftTooFewError(DriftError):
    """Too few values in this seating for a chart."""

    code = "drift.too_few"
    field_names = ("n", "least")


@dataclass(frozen=True)
class DatedValue:
    """The accepted value of one setup and when it was touched (text in UTC that sorts by time)."""

    setup_id: str
    at_utc: str
    value_nm: int


@dataclass(frozen=True)
class ChartPoint:
    """One value with its moving range (None for the first), its EWMA, and the run rules that it completes."""

    setup_id: str
    at_utc: str
    value_nm: int
    moving_range_nm: int | None
    ewma_nm: float
    rules: tuple[int, ...]


@dataclass(frozen=True)
class Signal:
    """A run of marked values: from `first` to `last`, both places in the chart;
    begun, most likely, at `since`.

    `shift_nm` is the mean since then less the centre; for a moving range, the jump itself.
    `place_nm` is where that lies: the mean since then, or the value after the jump.
    """

    kind: Kind
    first: int
    last: int
    since: int
    shift_nm: float
    place_nm: float


@dataclass(frozen=True)
class Chart:
    """The charts of one seating and axis. Limits in nanometres; `baseline` values made the centre."""

    points: tuple[ChartPoint, ...]
    baseline: int
    centre_nm: float
    sigma_nm: float
    limit_nm: float
    ewma_limit_nm: float
    moving_range_mean_nm: float
    moving_range_limit_nm: float
    signals: tuple[Signal, ...]


def in_order(values: Iterable[DatedValue]) -> list[DatedValue]:
    """Return the values in order of time, equal times in order of the setup."""
    return sorted(values, key=lambda value: (value.at_utc, value.setup_id))


def moving_ranges(values: Sequence[float]) -> list[float]:
    """Return the distance of each value from the one before."""
    return [abs(after - before) for before, after in pairwise(values)]


def ewma(values: Sequence[float], start: float, weight: float = WEIGHT) -> list[float]:
    """Return the exponentially weighted moving average after each value."""
    found, now = [], start
    for value in values:
        now = weight * value + (1 - weight) * now
        found.append(now)
    return found


def chart(
    values: Iterable[DatedValue],
    hidden_nm: float,
    earlier_seatings_nm: Sequence[Sequence[int]] = (),
    baseline: int = BASELINE,
    limits: ChartLimits = SHOWN,
    before_nm: Sequence[int] = (),
    first_nm: Sequence[int] = (),
) -> Chart:
    """Return the charts of one seating's values. Raises `DriftTooFewError` below five.

    `hidden_nm` (above 0) is the spread that the display hides, its step over sqrt(12). `before_nm` are those
    values of the seating that lie before these, oldest first: the averages begin with them. `first_nm` are
    the seating's first values, as many as the baseline takes, where some of them lie after these.
    """
    ordered = in_order(values)
    begun_nm = first_nm or [*before_nm[:baseline], *(value.value_nm for value in ordered)]
    if len(begun_nm) < LEAST_VALUES:
        raise DriftTooFewError(n=len(begun_nm), least=LEAST_VALUES)
    # Counted from the first value, so that a far-off zero costs no digits.
    origin_nm = begun_nm[0]
    bare = [value.value_nm - origin_nm for value in ordered]
    # An average forgets: of what lies farther back less than a part in 10**19 is left.
    led = [value - origin_nm for value in before_nm[-LOOK_BACK:]]
    first = [value - origin_nm for value in begun_nm[:baseline]]
    centre = sum(first) / len(first)
    ranges = moving_ranges(first)
    for seating in earlier_seatings_nm:
        ranges += moving_ranges(seating)
    range_mean = sum(ranges) / len(ranges)
    sigma = math.hypot(range_mean / D2, hidden_nm)
    averages = ewma([*led, *bare], centre)[len(led) :]
    rules = run_rules([(value - centre) / sigma for value in (*led, *bare)])[len(led) :]
    last_before = [None, *led][-1]
    points = tuple(
        ChartPoint(
            one.setup_id,
            one.at_utc,
            one.value_nm,
            _step(bare[place - 1] if place else last_before, bare[place]),
            averages[place] + origin_nm,
            rules[place],
        )
        for place, one in enumerate(ordered)
    )
    step_nm = hidden_nm * math.sqrt(12)
    limit = max(limits.individuals * sigma, LEAST_STEPS.individuals * step_nm)
    ewma_limit = max(limits.ewma * sigma * math.sqrt(WEIGHT / (2 - WEIGHT)), LEAST_STEPS.ewma * step_nm)
    range_limit = max(limits.moving_range * sigma, LEAST_STEPS.moving_range * step_nm)
    signals = [
        *_signals("individuals", bare, [value - centre for value in bare], limit, centre),
        *_signals("ewma", bare, [value - centre for value in averages], ewma_limit, centre),
        *_jumps(bare, range_limit),
    ]
    signals = [replace(one, place_nm=one.place_nm + origin_nm) for one in signals]
    return Chart(
        points=points,
        baseline=len(first),
        centre_nm=centre + origin_nm,
        sigma_nm=sigma,
        limit_nm=limit,
        ewma_limit_nm=ewma_limit,
        moving_range_mean_nm=range_mean,
        moving_range_limit_nm=range_limit,
        signals=tuple(sorted(signals, key=lambda signal: (signal.first, signal.kind))),
    )


def _step(before: int | None, now: int) -> int | None:
    return None if before is None else abs(now - before)


def stretch_of(found: Chart, first: int) -> Chart:
    """Return the charts from the place `first` on: its points, and the signals that reach them."""
    signals = (
        replace(one, first=max(one.first - first, 0), last=one.last - first, since=max(one.since - first, 0))
        for one in found.signals
        if one.last >= first
    )
    return replace(found, points=found.points[first:], signals=tuple(signals))


def _signals(
    kind: Kind, bare: Sequence[float], from_centre: Sequence[float], limit: float, centre: float
) -> Iterable[Signal]:
    """Yield the unbroken runs beyond the limit, each side apart."""
    sides = [(value > limit) - (value < -limit) for value in from_centre]
    place = 0
    while place < len(sides):
        last = place
        while sides[place] and last + 1 < len(sides) and sides[last + 1] == sides[place]:
            last += 1
        if sides[place]:
            since = change_point(bare[: place + 1], centre, sides[place])
            lasting = bare[since : last + 1]
            lies = sum(lasting) / len(lasting)
            yield Signal(kind, place, last, since, lies - centre, lies)
        place = last + 1


def change_point(values: Sequence[float], centre: float, side: int) -> int:
    """Return the place of the first value after the most likely step,
    which lasts until the end of `values`.
    """
    best, at, total = -math.inf, len(values) - 1, 0.0
    for place in range(len(values) - 1, max(-1, len(values) - 1 - LOOK_BACK), -1):
        total += values[place] - centre
        likelihood = total * abs(total) * side / (len(values) - place)
        if likelihood > best:
            best, at = likelihood, place
    return at


def _jumps(bare: Sequence[float], limit: float) -> Iterable[Signal]:
    for place, (before, after) in enumerate(pairwise(bare), start=1):
        if abs(after - before) > limit:
            yield Signal("moving_range", place, place, place, after - before, after)


def say_signal(signal: Signal, found: Chart, display: Display, usual_nm: int, asks_of_100: str) -> Finding:
    """Return a signal in words. `usual_nm` is today's usual;
    of 100 touches where the signal lies, so many are asked about today.
    """
    fields: dict[str, str | int] = {
        "setups": signal.last - signal.first + 1,
        "first_setup": found.points[signal.first].setup_id,
        "since": found.points[signal.since].at_utc[:10],
        "shift": format_length(round(signal.shift_nm), display),
        "from_usual": format_length(round(signal.place_nm - usual_nm), display),
        "unit": display.unit.value,
        "asks": asks_of_100,
    }
    code = ONCE.get(signal.kind, signal.kind) if signal.first == signal.last else signal.kind
    return Finding(f"drift.{code}", fields)


def say_hints(found: Chart) -> tuple[Finding, ...]:
    """Return the run rules that were completed, each once, with the setup that completed it last."""
    last: dict[int, str] = {}
    for point in found.points:
        last.update(dict.fromkeys(point.rules, point.setup_id))
    return tuple(Finding(f"drift.rule_{number}", {"setup": last[number]}) for number in sorted(last))
