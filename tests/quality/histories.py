"""Histories of fixtures as shops have them:
how values scatter, and what happens to a vise that nobody told of.

Lengths are in spreads until they are rounded to what a control shows. Displays, and from how many of their
steps to how many micrometres setups scatter, are a shop's: nothing is tuned to a rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from tests.quality.arrays import Drawn, Seatings, drawn
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import (
    FloorInputs,
    LinesChoice,
    SeatingValues,
    Usual,
    combined_uncertainty_nm,
    usual,
)

Numbers = np.ndarray
NO_FLOOR = FloorInputs(0, 0)
NO_CEILING = LinesChoice(ceiling_nm=10**9)
MOST_SPREAD_NM = 50_000
LEAST_SPREAD_STEPS = 0.1
T5 = math.sqrt(5 / 3)


@dataclass(frozen=True)
class Shown:
    """What a control shows: a display,
    and the step in which its last digit moves (0.0005 in moves in fives).
    """

    display: Display
    digits: int = 1

    @property
    def step_nm(self) -> int:
        """Return the step of what is shown, in nanometres."""
        return self.digits * self.display.resolution_nm


HUNDREDTH = Shown(Display(Unit.MM, 2))
THOUSANDTH = Shown(Display(Unit.MM, 3))
INCH_THOU = Shown(Display(Unit.INCH, 3))
INCH_HALF = Shown(Display(Unit.INCH, 4), 5)
INCH_TENTH = Shown(Display(Unit.INCH, 4))
CONTROLS = (HUNDREDTH, THOUSANDTH, INCH_THOU, INCH_HALF, INCH_TENTH)
FINE = Shown(Display(Unit.MM, 6))


@dataclass(frozen=True)
class Law:
    """How values scatter around where the vise lies, with a spread of one."""

    name: str
    draw: Callable[[np.random.Generator, tuple[int, ...]], Numbers]
    below: Callable[[Numbers], Numbers]

    def outside(self, low: Numbers, high: Numbers) -> Numbers:
        """Return the chance of a value below `low` or above `high`."""
        found: Numbers = self.below(low) + 1 - self.below(high)
        return found


NORMAL = Law("normal", lambda chance, shape: chance.standard_normal(shape), special.ndtr)
HEAVY = Law(
    "t with 5 degrees",
    lambda chance, shape: chance.standard_t(5, shape) / T5,
    lambda x: special.stdtr(5, x * T5),
)
SKEWED = Law(
    "exponential",
    lambda chance, shape: chance.exponential(1, shape) - 1,
    lambda x: -np.expm1(-np.maximum(x + 1, 0.0)),
)


def spread_nm(chance: np.random.Generator, control: Shown) -> float:
    """Return how far setups scatter on one machine:
    from a tenth of a step to 50 um, as often in each decade.
    """
    low, high = math.log(LEAST_SPREAD_STEPS * control.step_nm), math.log(MOST_SPREAD_NM)
    return math.exp(chance.uniform(low, max(low, high)))


def place_nm(chance: np.random.Generator) -> float:
    """Return where a vise lies on an axis, anywhere between the steps of a display."""
    return -float(chance.uniform(100e6, 600e6))


def as_shown(values_nm: Numbers, control: Shown) -> list[int]:
    """Return values as the control shows them."""
    steps = np.rint(np.asarray(values_nm) / control.step_nm)
    return [int(step) * control.step_nm for step in steps]


def seating(name: str, values_nm: Numbers, control: Shown) -> SeatingValues:
    """Return a seating of these values, as shown."""
    return SeatingValues.of(name, as_shown(values_nm, control))


def earlier(
    chance: np.random.Generator, count: int, sigma_nm: float, control: Shown, law: Law = NORMAL, size: int = 0
) -> list[SeatingValues]:
    """Return earlier seatings, each somewhere else, of 10 to 40 setups or of `size`."""
    sizes = [size or int(chance.integers(10, 41)) for _ in range(count)]
    return [
        seating(f"e{number}", place_nm(chance) + sigma_nm * law.draw(chance, (many,)), control)
        for number, many in enumerate(sizes)
    ]


def stepped(values: Numbers, by: float, chance: np.random.Generator) -> Numbers:
    """Return the values with everything from some place on moved by so many spreads."""
    found = values.copy()
    found[int(chance.integers(1, len(values))) :] += by
    return found


def with_outlier(values: Numbers, by: float, chance: np.random.Generator) -> Numbers:
    """Return the values with one of them moved by so many spreads."""
    found = values.copy()
    found[int(chance.integers(len(values)))] += by
    return found


def creeping(values: Numbers, each: float) -> Numbers:
    """Return the values of a vise that creeps by so many spreads a setup."""
    return values + each * np.arange(len(values))


def lines(
    seatings: list[SeatingValues],
    control: Shown,
    floor: FloorInputs = NO_FLOOR,
    choice: LinesChoice = NO_CEILING,
) -> Usual:
    """Return the program's usual."""
    return usual(seatings, floor, choice, control.display)


def ask_chance(found: Usual, at_nm: float, sigma_nm: float, control: Shown, law: Law = NORMAL) -> float:
    """Return the chance that one more touch is asked about, exact for this history."""
    assert found.centre_nm is not None
    assert found.ask_nm is not None
    step = control.step_nm
    inside = [shown // step * step for shown in (found.centre_nm + found.ask_nm,)]
    low = -(-(found.centre_nm - found.ask_nm) // step) * step
    ends = np.array([low - step / 2, inside[0] + step / 2])
    return float(law.outside(*(ends - at_nm) / sigma_nm))


def places_nm(chance: np.random.Generator, count: int) -> Numbers:
    """Return where so many vises lie, one a row."""
    found: Numbers = -chance.uniform(100e6, 600e6, (count, 1))
    return found


def as_seatings(values_nm: Numbers, control: Shown) -> Seatings:
    """Return full seatings of these values, as shown, one a row."""
    return Seatings.of(np.rint(values_nm / control.step_nm).astype(np.int64) * control.step_nm)


def earlier_of(
    chance: np.random.Generator, count: int, rows: int, sigma_nm: float, control: Shown, law: Law = NORMAL
) -> list[Seatings]:
    """Return earlier seatings of so many histories, each somewhere else, of 10 to 40 setups."""
    found = []
    for _ in range(count):
        values = places_nm(chance, rows) + sigma_nm * law.draw(chance, (rows, 40))
        found.append(Seatings(as_seatings(values, control).values, chance.integers(10, 41, rows)))
    return found


def drawn_of(past: list[Seatings], now_nm: Numbers, control: Shown, floor: FloorInputs = NO_FLOOR) -> Drawn:
    """Return what the program draws for histories that end with these values."""
    now = as_seatings(now_nm, control)
    rows = len(now.values)
    u_b = np.full(rows, combined_uncertainty_nm(floor, control.display))
    return drawn(past, now, np.full(rows, control.display.resolution_nm), u_b)


def ask_chances(
    found: Drawn, at_nm: Numbers, sigma_nm: float, control: Shown, law: Law = NORMAL
) -> list[float]:
    """Return the chance that one more touch is asked about, exact for each history."""
    step = control.step_nm
    high = np.floor((found.centre_nm + found.ask_nm) / step) * step + step / 2
    low = np.ceil((found.centre_nm - found.ask_nm) / step) * step - step / 2
    shares: list[float] = law.outside((low - at_nm) / sigma_nm, (high - at_nm) / sigma_nm).tolist()
    return shares
