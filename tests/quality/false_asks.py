"""How often a clean touch is asked about, by history and by how values scatter.

A history is drawn, its usual worked out by the program, and the chance of a question for one more touch
follows exactly from the distribution that the touch comes from: one history stands for very many touches. The
interval is the 95 % binomial one of as many touches as there were histories.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy import stats

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, usual

VALUES = (1, 2, 3, 5, 10, 30, 100)
EARLIER = (0, 1, 4)
CHOICE = LinesChoice(ceiling_nm=10**9)
DISPLAYS = (Display(Unit.MM, 3), Display(Unit.MM, 4), Display(Unit.INCH, 4))
# Up to three values of a first seating tell no spread: the floor rules, and is taken to be right.
T5_SIGMA = math.sqrt(5 / 3)

Draw = Callable[[np.random.Generator, int], np.ndarray]


@dataclass(frozen=True)
class Rate:
    """The chance of a question, its standard error, and the binomial interval that it should lie in."""

    name: str
    n: int
    earlier: int
    histories: int
    rate: float
    error: float

    @property
    def interval(self) -> tuple[float, float]:
        p = 1 / CHOICE.ask_one_in
        half = 1.96 * math.sqrt(p * (1 - p) / self.histories)
        return p - half, p + half


def history(
    chance: np.random.Generator,
    n: int,
    earlier: int,
    display: Display,
    sigma_steps: float,
    kind: str,
    creep: float,
) -> tuple[list[SeatingValues], float]:
    """Seatings of one fixture, and where the next touch of the last one lies on average, in steps."""
    seatings, place = [], 0.0
    sizes = [*chance.integers(5, 25, earlier), n]
    for number, size in enumerate(sizes):
        place = float(chance.integers(-300_000, -100_000))
        noise = chance.standard_t(5, size) / T5_SIGMA if kind == "t5" else chance.standard_normal(size)
        steps = place + sigma_steps * (noise + creep * np.arange(size))
        values = [int(value) * display.resolution_nm for value in np.rint(steps)]
        seatings.append(SeatingValues.of(str(number), values))
    return seatings, place + sigma_steps * creep * sizes[-1]


def ask_chance(
    seatings: list[SeatingValues],
    place: float,
    sigma_steps: float,
    display: Display,
    floor: FloorInputs,
    kind: str,
) -> float:
    """The chance that the next touch is asked about, worked out from its distribution."""
    found = usual(seatings, floor, CHOICE, display)
    assert found.centre_nm is not None
    assert found.ask_nm is not None
    centre, ask = found.centre_nm / display.resolution_nm, found.ask_nm / display.resolution_nm
    scale = sigma_steps / T5_SIGMA if kind == "t5" else sigma_steps
    law = stats.t(5) if kind == "t5" else stats.norm()
    # The display rounds: shown inside means truly inside by half a step more.
    high, low = (centre + ask + 0.5 - place) / scale, (centre - ask - 0.5 - place) / scale
    return float(law.sf(high) + law.cdf(low))


def measure(
    n: int, earlier: int, histories: int, seed: int, kind: str = "normal", creep: float = 0.0
) -> Rate:
    """The rate of one cell of the table. Values scatter by 2 to 40 steps of the display; no floor, but
    where it rules.
    """
    chance = np.random.default_rng([seed, n, earlier, round(1000 * creep), len(kind)])
    rates = np.empty(histories)
    for place in range(histories):
        display = DISPLAYS[int(chance.integers(len(DISPLAYS)))]
        sigma = float(np.exp(chance.uniform(math.log(2), math.log(40))))
        seatings, at = history(chance, n, earlier, display, sigma, kind, creep)
        # The floor counts the display's own q^2/12 already; the rest of sigma is the probe's.
        rules = earlier == 0 and n < 4
        floor = FloorInputs(sigma * display.resolution_nm if rules else 0, 0)
        rates[place] = ask_chance(seatings, at, sigma, display, floor, kind)
    return Rate(
        kind if creep == 0 else f"creep {creep}",
        n,
        earlier,
        histories,
        rates.mean(),
        rates.std() / math.sqrt(histories),
    )


def table(histories: int, seed: int) -> Iterator[Rate]:
    """Every cell: normal, heavy-tailed, and creeping by a hundredth,
    a fiftieth and a twentieth of a spread a setup.
    """
    for kind in ("normal", "t5"):
        for n in VALUES:
            for earlier in EARLIER:
                yield measure(n, earlier, histories, seed, kind)
    for creep in (0.01, 0.02, 0.05):
        for n in (10, 30, 100):
            for earlier in (0, 4):
                yield measure(n, earlier, max(200, histories // 4), seed, creep=creep)
