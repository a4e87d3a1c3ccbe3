"""What one bad value, a move that nobody told and a scatter that changed do to centre and lines (items 1, 3
and 4).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np

from tests.quality.histories import (
    HEAVY,
    NORMAL,
    SKEWED,
    THOUSANDTH,
    Law,
    Numbers,
    as_seatings,
    ask_chances,
    creeping,
    drawn_of,
    earlier_of,
    lines,
    place_nm,
    places_nm,
    seating,
    stepped,
    with_outlier,
)
from tests.quality.rows import Row, per_cent_of
from webapp.domain.usual.usual import SeatingValues

SIGMA_NM = 20_000
FEW_BY_THE_PROGRAM = 50
NUMBERS_OF_VALUES = (8, 12, 15, 20, 45, 100, 200)


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield every figure about the centre and the lines."""
    yield from centre(count, seed)
    yield from spread(count, seed)
    yield from places(count, seed)
    yield from changed(count, seed)
    yield from clean(count, seed)


def centre(count: int, seed: int) -> Iterator[Row]:
    """Yield how often one gross value moves the centre by less than one spread."""
    for n in (6, 7, 8, 12, 20, 60):
        for by in (5.0, 10.0, 1000.0):
            chance = np.random.default_rng([seed, 1, n, round(by)])
            values, rows = SIGMA_NM * chance.standard_normal((count, n)), np.arange(count)
            bent = values.copy()
            bent[rows, chance.integers(max(0, n - 20), n, count)] = (
                by * SIGMA_NM * chance.choice([-1, 1], count)
            )
            at = places_nm(chance, count)
            still, moved = (drawn_of([], at + one, THOUSANDTH).centre_nm for one in (values, bent))
            share = 100 * float(np.mean(np.abs(still - moved) < SIGMA_NM))
            what = f"one of {n} values {by:g} spreads off: centre moves by less than a spread, of 100"
            error = math.sqrt(share * (100 - share) / count)
            yield Row(1, what, share, low=98, error=error)


def spread(count: int, seed: int) -> Iterator[Row]:
    """Yield the median spread with a fault against the same histories without it."""
    faults: dict[str, Callable[[Numbers, float, np.random.Generator], Numbers]] = {
        "a step": stepped,
        "an outlier": with_outlier,
    }
    for fault, do in faults.items():
        for by in (5.0, 10.0, 37.0, 100.0):
            for n in NUMBERS_OF_VALUES:
                bound = _allowed(fault, by, n)
                if bound is not None:
                    found = _ratio(
                        count, [seed, 3, n, round(by), len(fault)], n, lambda v, c, d=do, b=by: d(v, b, c)
                    )
                    what = f"median spread with {fault} of {by:g} spreads, n = {n}, against without"
                    yield Row(3, what, found, 1 - bound, 1 + bound)
    for n in (20, 100, 200):
        found = _ratio(count, [seed, 3, n, 0], n, lambda v, _c: creeping(v, 0.05))
        yield Row(
            3,
            f"median spread with a creep of 0.05 spreads a setup, n = {n}, against without",
            found,
            0.85,
            1.15,
        )


def _allowed(fault: str, by: float, n: int) -> float | None:
    if by >= 10:
        return 0.15
    if fault == "a step":
        return 0.30 if n < 15 else 0.15
    return None if n < 15 else 0.35 if n < 20 else 0.20


def _ratio(
    count: int, seeds: list[int], n: int, do: Callable[[Numbers, np.random.Generator], Numbers]
) -> float:
    chance = np.random.default_rng(seeds)
    values, at = chance.standard_normal((count, n)), places_nm(chance, count)
    with_fault = np.stack([do(one, chance) for one in values])
    bent, without = (drawn_of([], at + SIGMA_NM * one, THOUSANDTH).s_nm for one in (with_fault, values))
    return float(np.median(bent) / np.median(without))


def places(count: int, seed: int) -> Iterator[Row]:
    """Yield what an untold move does to the lines as setups are added, and to a new seating's first ones."""
    few = max(20, count // 20)
    widest = []
    for number in range(few):
        chance = np.random.default_rng([seed, 31, number])
        values = stepped(chance.standard_normal(61), 37.0, chance) * SIGMA_NM + place_nm(chance)
        asks = [lines([seating("a", values[:n], THOUSANDTH)], THOUSANDTH).ask_nm or 0 for n in range(40, 61)]
        widest.append(max(asks) / min(asks))
    yield Row(
        3,
        "an untold move of 37 spreads: widest over narrowest ask line, n = 40 to 60",
        float(np.median(widest)),
        1,
        1.3,
    )
    chance = np.random.default_rng([seed, 32])
    values, at = chance.standard_normal((count, 20)), places_nm(chance, count)
    new = places_nm(chance, count) + SIGMA_NM * chance.standard_normal((count, 1))
    still, moved = (
        drawn_of([as_seatings(at + SIGMA_NM * one, THOUSANDTH)], new, THOUSANDTH).ask_nm
        for one in (values, np.stack([stepped(one, 37.0, chance) for one in values]))
    )
    yield Row(
        3,
        "first ask line of a new seating after one with an untold move, against without",
        float(np.median(moved) / np.median(still)),
        0.85,
        1.15,
    )


CHANGED = {
    (2, 5): 4.0,
    (2, 10): 2.5,
    (2, 20): 1.5,
    (4, 5): 2.0,
    (4, 6): 2.0,
    (4, 8): 2.0,
    (4, 10): 2.0,
    (4, 20): 2.0,
}


def changed(count: int, seed: int) -> Iterator[Row]:
    """Yield how often a present seating that scatters more than three quiet ones is asked about."""
    for (times, n), bound in CHANGED.items():
        rate, error, _ = asks(count, [seed, 4, times, n], n, 3, times)
        yield Row(
            4,
            f"three quiet seatings, now {times} times the scatter, n = {n}: asked of 100",
            rate,
            None,
            bound,
            error,
        )
    for times in (2, 4):
        rate, error, _ = asks(count, [seed, 4, times, 1], 1, 3, times)
        yield Row(
            4, f"three quiet seatings, now {times} times the scatter, n = 1: asked of 100", rate, error=error
        )
        _, _, said = asks(min(count, 200), [seed, 4, times, 1], 1, 3, times)
        yield Row(
            4, f"the page says at n = 1 that it cannot know yet ({times} times), of 100", said, 100, 100
        )


def clean(count: int, seed: int) -> Iterator[Row]:
    """Yield how often a clean touch is asked about: normal values, heavy tails, skew."""
    for law, low, high in ((NORMAL, 0.7, 1.25), (HEAVY, None, 3.1), (SKEWED, None, 5.0)):
        for before in (0, 1, 3, 5):
            for n in (1, 2, 3, 5, 7, 10, 20, 50, 200):
                if before == 0 and n < 5:
                    continue
                rate, error, _ = asks(count, [seed, 5, before, n], n, before, 1, law)
                what = f"clean, {law.name}, n = {n}, {before} earlier seatings: asked of 100"
                yield Row(4, what, rate, low, high, error)


def asks(
    count: int, seeds: list[int], n: int, before: int, times: float, law: Law = NORMAL
) -> tuple[float, float, float]:
    """Return the mean chance of a question in per cent,
    its error, and how often the page says it cannot know yet.
    """
    chance = np.random.default_rng(seeds)
    at, sigma = places_nm(chance, count), times * SIGMA_NM
    now = at + sigma * law.draw(chance, (count, n))
    past = earlier_of(chance, before, count, SIGMA_NM, THOUSANDTH, law)
    shares = ask_chances(drawn_of(past, now, THOUSANDTH), at[:, 0], sigma, THOUSANDTH, law)
    said = 0
    for row in range(min(count, FEW_BY_THE_PROGRAM)):
        seatings = [
            SeatingValues.of(str(place), map(int, one.values[row, : one.sizes[row]]))
            for place, one in enumerate(past)
        ]
        said += (
            "too_few_to_compare"
            in lines([*seatings, seating("now", now[row], THOUSANDTH)], THOUSANDTH).reasons
        )
    return (*per_cent_of(shares), 100 * said / min(count, FEW_BY_THE_PROGRAM))
