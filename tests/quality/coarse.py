"""Displays that show less than setups scatter:
what the page says of false asks, and what is true (item 5).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from tests.quality.histories import (
    HUNDREDTH,
    INCH_HALF,
    INCH_THOU,
    NO_CEILING,
    NO_FLOOR,
    Shown,
    ask_chances,
    drawn_of,
    earlier_of,
    lines,
    places_nm,
    seating,
)
from tests.quality.rows import Row, per_cent_of
from webapp.domain.usual.false_asks import false_asks
from webapp.domain.usual.usual import FloorInputs, Usual

SPREADS_IN_STEPS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0)
CONTROLS = (HUNDREDTH, INCH_THOU, INCH_HALF)
# What the page says takes long to work out, and scatters far less than the truth.
PAGES = 600
SHAPES = ((8, 0), (30, 0), (5, 3), (30, 3))


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield, for each spread in steps, the page's false asks beside the true ones, and what the lines are."""
    narrow = alike = seen = 0
    for spread in SPREADS_IN_STEPS:
        for n, before in SHAPES:
            page, truth, found = said(count, [seed, n, before, round(100 * spread)], spread, n, before)
            (said_of_100, said_error), (true_of_100, true_error) = per_cent_of(page), per_cent_of(truth)
            allowed = max(0.25 * true_of_100, 0.2)
            where = f"spread {spread:g} steps, n = {n}, {before} earlier"
            what = f"{where}: page's false asks of 100, true {true_of_100:.2f}"
            low, high = max(0.0, true_of_100 - allowed), true_of_100 + allowed
            yield Row(5, what, said_of_100, low, high, math.hypot(said_error, true_error))
            seen += len(found)
            narrow += sum(not one.ask_nm for one in found)
            alike += sum(one.ask_nm == one.stop_nm for one in found)
    yield Row(5, "ask lines at 0, of 100 histories", 100 * narrow / seen, None, 0)
    yield Row(5, "stop lines on the ask line, of 100 histories", 100 * alike / seen, None, 0)


def said(
    count: int, seeds: list[int], spread: float, n: int, before: int
) -> tuple[list[float], list[float], list[Usual]]:
    """Return what the page says of some histories, the chance of a question in very many, and the usuals of
    the some.

    Each control has a third of both.
    """
    chance = np.random.default_rng(seeds)
    page, truth, usuals = [], [], []
    for control in CONTROLS:
        sigma_nm, floor = spread * control.step_nm, least_floor(control)
        at = places_nm(chance, count // len(CONTROLS))
        now = at + sigma_nm * chance.standard_normal((len(at), n))
        past = earlier_of(chance, before, len(at), sigma_nm, control)
        truth += ask_chances(drawn_of(past, now, control, floor), at[:, 0], sigma_nm, control)
        for row in range(min(len(at), PAGES // len(CONTROLS))):
            seatings = [
                seating(str(place), one.values[row, : one.sizes[row]], control)
                for place, one in enumerate(past)
            ]
            found = lines([*seatings, seating("now", now[row], control)], control, floor)
            usuals.append(found)
            page.append(false_asks(found, NO_CEILING.ask_one_in, NO_CEILING, control.display).mean)
    return page, truth, usuals


def least_floor(control: Shown) -> FloorInputs:
    """Return the floor of a control whose last digit moves in fives:
    no shipped ask line is finer than 0.0005 in.
    """
    return NO_FLOOR if control.digits == 1 else FloorInputs(control.step_nm / 2.5, 0)
