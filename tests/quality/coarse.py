"""Displays that show less than setups scatter: what the page says of false asks, and what is true (item 5)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tests.quality.histories import (
    HUNDREDTH,
    INCH_HALF,
    INCH_THOU,
    NO_CEILING,
    NO_FLOOR,
    Shown,
    ask_chance,
    earlier,
    lines,
    place_nm,
    seating,
)
from tests.quality.rows import Row
from webapp.domain.usual import limits
from webapp.domain.usual.usual import FloorInputs, Usual

SPREADS_IN_STEPS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0)
CONTROLS = (HUNDREDTH, INCH_THOU, INCH_HALF)
SHAPES = ((8, 0), (30, 0), (5, 3), (30, 3))


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield, for each spread in steps, the page's false asks beside the true ones, and what the lines are."""
    narrow = alike = seen = 0
    for spread in SPREADS_IN_STEPS:
        for n, before in SHAPES:
            page, truth, found = said(
                max(60, count // 5), [seed, n, before, round(100 * spread)], spread, n, before
            )
            allowed = max(0.25 * truth, 0.2)
            what = f"spread {spread:g} steps, n = {n}, {before} earlier: page's false asks of 100, true {truth:.2f}"
            yield Row(5, what, page, max(0.0, truth - allowed), truth + allowed)
            seen += len(found)
            narrow += sum(not one.ask_nm for one in found)
            alike += sum(one.ask_nm == one.stop_nm for one in found)
    yield Row(5, "ask lines at 0, of 100 histories", 100 * narrow / seen, None, 0)
    yield Row(5, "stop lines on the ask line, of 100 histories", 100 * alike / seen, None, 0)


def said(
    count: int, seeds: list[int], spread: float, n: int, before: int
) -> tuple[float, float, list[Usual]]:
    """Return the page's mean false asks of 100, the true mean, and the usuals."""
    chance = np.random.default_rng(seeds)
    page, truth, usuals = [], [], []
    for number in range(count):
        control = CONTROLS[number % len(CONTROLS)]
        sigma_nm, at = spread * control.step_nm, place_nm(chance)
        now = seating("now", at + sigma_nm * chance.standard_normal(n), control)
        found = lines([*earlier(chance, before, sigma_nm, control), now], control, least_floor(control))
        usuals.append(found)
        truth.append(100 * ask_chance(found, at, sigma_nm, control))
        line = limits.line(found, NO_CEILING.ask_one_in, NO_CEILING, control.display)
        page.append(line.false_asks_per_100)
    return float(np.mean(page)), float(np.mean(truth)), usuals


def least_floor(control: Shown) -> FloorInputs:
    """Return the floor of a control whose last digit moves in fives: no shipped ask line is finer than 0.0005 in."""
    return NO_FLOOR if control.digits == 1 else FloorInputs(control.step_nm / 2.5, 0)
