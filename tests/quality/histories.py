"""Histories of fixtures as shops have them: how values scatter, and what happens to a vise that nobody told of.

Lengths are in spreads until they are rounded to what a control shows. Displays, and from how many of their steps to
how many micrometres setups scatter, are a shop's: nothing is tuned to a rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual

Numbers = np.ndarray
NO_FLOOR = FloorInputs(0, 0)
NO_CEILING = LinesChoice(ceiling_nm=10**9)
MOST_SPREAD_NM = 50_000
LEAST_SPREAD_STEPS = 0.1
T5 = math.sqrt(5 / 3)


@dataclass(frozen=True)
class Shown:
    """What a control shows: a display, and the step in which its last digit moves (0.0005 in moves in fives)."""

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
    below: Callable[[float], float]

    def outside(self, low: float, high: float) -> float:
        """Return the chance of a value below `low` or above `high`."""
        return self.below(low) + 1 - self.below(high)


NORMAL = Law("normal", lambda chance, shape: chance.standard_normal(shape), lambda x: float(special.ndtr(x)))
HEAVY = Law(
    "t with 5 degrees",
    lambda chance, shape: chance.standard_t(5, shape) / T5,
    lambda x: float(special.stdtr(5, x * T5)),
)
SKEWED = Law(
    "exponential",
    lambda chance, shape: chance.exponential(1, shape) - 1,
    lambda x: 1 - math.exp(-(x + 1)) if x > -1 else 0.0,
)


def spread_nm(chance: np.random.Generator, control: Shown) -> float:
    """Return how far setups scatter on one machine: from a tenth of a step to 50 um, as often in each decade."""
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
    return law.outside((low - step / 2 - at_nm) / sigma_nm, (inside[0] + step / 2 - at_nm) / sigma_nm)
