"""What the charts signal, and what is said of a signal, beside what is true (items 2, 5 and 6)."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from tests.quality import shifts
from tests.quality.histories import (
    FINE,
    HUNDREDTH,
    NO_CEILING,
    NO_FLOOR,
    Shown,
    as_shown,
    ask_chance,
    creeping,
    place_nm,
    stepped,
)
from tests.quality.rows import Row, per_cent_of
from webapp.domain.usual.drift import BASELINE, SHOWN, chart
from webapp.domain.usual.trend import SeatingRows, SeatingTrend, TrendRow, seating_trend

SIGMA_NM = 20_000
SETUPS = 130
COARSE = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0)


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield every figure about signals."""
    yield from new_signals(count, seed)
    yield from caught(count, seed)
    yield from said(count, seed)
    yield from runs(min(count, 400), seed)


def new_signals(count: int, seed: int) -> Iterator[Row]:
    """Yield how many setups in 100 after the baseline begin a new signal, and how many seatings have one."""
    for spread, control in ((20_000.0, FINE), *((spread, HUNDREDTH) for spread in COARSE)):
        chance = np.random.default_rng([seed, 6, round(10 * spread)])
        begun, with_one, few = 0, 0, max(50, count // 4)
        for _ in range(few):
            values = place_nm(chance) + spread * control.step_nm * chance.standard_normal(SETUPS)
            found = chart(_dated(as_shown(values, control)), control.step_nm / math.sqrt(12))
            places = {one.first for one in found.signals if one.first >= BASELINE}
            begun += len(places)
            with_one += bool(places)
        rate = 100 * begun / (few * (SETUPS - BASELINE))
        where = "a fine display" if control is FINE else f"a spread of {spread:g} steps"
        item = 6 if control is FINE else 5
        yield Row(
            item,
            f"new signals in 100 clean setups after 30, {where}",
            rate,
            None,
            0.5,
            rate / math.sqrt(max(1, begun)),
        )
        if control is FINE:
            yield Row(6, "seatings of 100 clean setups after 30 with a signal, of 100", 100 * with_one / few)


def _dated(values: list[int]) -> list[shifts.DatedValue]:
    return [shifts.DatedValue(f"s{n:04}", f"2026-01-01T{n:06}", value) for n, value in enumerate(values)]


def caught(count: int, seed: int) -> Iterator[Row]:
    """Yield how often a shift of so many spreads is signalled within eight setups."""
    for shift, least in ((1.0, None), (2.0, 90.0), (3.0, 99.0)):
        seen = shifts.detection(shift, count, seed)
        yield Row(
            6,
            f"a shift of {shift:g} spreads signalled within 8 setups, of 100",
            100 * seen.share["either"],
            least,
            None,
            100 * seen.error,
        )


def said(count: int, seed: int) -> Iterator[Row]:
    """Yield the page's ask rate of lasting moves beside the true one, by how long ago, and of every jump."""
    few = max(40, count // 10)
    for name, ago in (("12 setups ago", 12), ("100 setups ago", 100)):
        chance = np.random.default_rng([seed, 2, ago])
        page: list[float] = []
        truth: list[float] = []
        for _ in range(few):
            at = place_nm(chance)
            values = SIGMA_NM * chance.standard_normal(40 + ago)
            values[40:] += 3 * SIGMA_NM
            found = trend(values + at, FINE)
            lasting = [
                n for n, one in enumerate(found.signals) if "ewma" in one.code and one.fields["setups"] >= 8
            ]
            page += [per_cent(str(found.signals[n].fields)) for n in lasting]
            there = ask_chance(found.usual, at + 3 * SIGMA_NM, SIGMA_NM, FINE)
            truth += [100 * there] * len(lasting)
        yield _beside(f"a move of 3 spreads {name}: page's ask rate of 100", page, truth)
    chance = np.random.default_rng([seed, 2, 1])
    page, truth = [], []
    for number in range(4 * few):
        values = chance.standard_normal(90)
        values = (values, stepped(values, 4.0, chance), creeping(values, 0.05))[number % 3]
        at = place_nm(chance)
        found = trend(at + SIGMA_NM * values, FINE)
        for words, place in zip(found.signals, found.signal_numbers, strict=True):
            if words.code == "drift.moving_range":
                page.append(per_cent(str(words.fields)))
                lies = found.points[place - 1].row.value_nm
                truth.append(100 * ask_chance(found.usual, lies, SIGMA_NM, FINE))
    yield _beside("a jump between neighbours: page's ask rate of 100 where the value lies", page, truth)


def _beside(what: str, page: list[float], truth: list[float]) -> Row:
    if not page:
        return Row(2, what, math.nan, 0, 0)
    true = float(np.mean(truth))
    allowed = max(2.0, 0.1 * true)
    return Row(
        2,
        f"{what}, true {true:.1f}",
        float(np.mean(page)),
        true - allowed,
        true + allowed,
        per_cent_of(page)[1] / 100,
    )


def per_cent(fields: str) -> float:
    """Return the number of 100 in a sentence's fields,
    "fewer than 0.1" and "more than 99" taken for these.
    """
    for key in ("'asks': '", "'after': '"):
        if key in fields:
            return float(fields.split(key)[1].split("'", maxsplit=1)[0].rsplit(maxsplit=1)[-1])
    raise ValueError(fields)


def trend(values_nm: np.ndarray, control: Shown) -> SeatingTrend:
    """Return the trend of one seating of these values."""
    found = as_shown(values_nm, control)
    given = tuple(
        TrendRow(f"s{n:04}", f"2026-01-01T{n:06}", value, None, None) for n, value in enumerate(found)
    )
    return seating_trend([SeatingRows("a", "2025", None, "", given)], NO_FLOOR, NO_CEILING, control.display)


def runs(count: int, seed: int) -> Iterator[Row]:
    """Yield how long a steady vise goes without a false signal:
    the published figures, and the limits shown.
    """
    exact = shifts.published()
    for row in shifts.run_lengths(count, seed, known=True):
        low, high = exact[row.kind] - 4 * row.error, exact[row.kind] + 4 * row.error
        what = f"{row.kind}, published limits, known parameters: mean run"
        yield Row(6, what, row.mean, low, high, row.error)
    for row in shifts.run_lengths(count, seed, known=False, limits=SHOWN):
        what = f"{row.kind}, limits shown, parameters from 30 setups"
        yield Row(6, f"{what}: middle run", row.middle)
        yield Row(6, f"{what}: mean run, cut at {shifts.MOST_SETUPS}", row.mean, error=row.error)
