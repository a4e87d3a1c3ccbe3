"""That the arrays which most figures come from draw what the program draws, history by history."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.quality import arrays
from tests.quality.histories import CONTROLS, NO_CEILING, Shown, as_shown, place_nm
from tests.quality.rows import Row
from webapp.domain.usual import usual as program
from webapp.domain.usual.usual import FloorInputs, SeatingValues, Usual, combined_uncertainty_nm

FLOOR = FloorInputs(400, 0)
SHAPES = ((1, 2), (2, 1), (5, 3), (6, 0), (9, 1), (14, 0), (30, 3), (60, 0))
RELATIVE = 1e-9


@dataclass(frozen=True)
class Twin:
    """One history's centre, ask line, spread and degrees of freedom, from the arrays and from the program."""

    ours: tuple[float, float, float, float]
    program: Usual

    @property
    def is_alike(self) -> bool:
        """Tell whether both draw the same, spread and degrees of freedom to nine digits."""
        one = self.program
        theirs = (one.centre_nm, one.ask_nm, one.s_nm or 0.0, one.degrees_of_freedom)
        return self.ours[:2] == theirs[:2] and bool(
            np.allclose(self.ours[2:], theirs[2:], rtol=RELATIVE, atol=1e-6)
        )


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield how many histories the arrays and the program see differently."""
    found = [
        twin
        for n, before in SHAPES
        for control in CONTROLS
        for twin in twins(np.random.default_rng([seed, n, before]), control, n, before, max(8, count // 400))
    ]
    apart = sum(not one.is_alike for one in found)
    yield Row(3, f"of {len(found)} histories, arrays and program draw otherwise", apart, None, 0)


def twins(chance: np.random.Generator, control: Shown, n: int, before: int, count: int) -> Iterator[Twin]:
    """Yield histories of seatings that scatter alike or do not,
    the present one with heavy tails, seen by both.
    """
    spread = control.step_nm * np.exp(chance.uniform(np.log(0.1), np.log(20), (count, before + 1)))
    spread[: count // 2] = spread[: count // 2, :1]
    sizes = [chance.integers(10, 41, count) for _ in range(before)]
    values = [
        np.array(
            [as_shown(place_nm(chance) + s * chance.standard_normal(40), control) for s in spread[:, place]]
        )
        for place in range(before)
    ]
    now = np.array([as_shown(place_nm(chance) + s * chance.standard_t(2, n), control) for s in spread[:, -1]])
    resolution = np.full(count, control.display.resolution_nm)
    u_b = np.full(count, combined_uncertainty_nm(FLOOR, control.display))
    earlier = [arrays.Seatings(one, size) for one, size in zip(values, sizes, strict=True)]
    found = arrays.drawn(earlier, arrays.Seatings.of(now), resolution, u_b)
    for row in range(count):
        history = [
            SeatingValues.of(str(place), map(int, one[row, : size[row]]))
            for place, (one, size) in enumerate(zip(values, sizes, strict=True))
        ]
        expected = program.usual(
            [*history, SeatingValues.of("now", map(int, now[row]))], FLOOR, NO_CEILING, control.display
        )
        ours = (found.centre_nm[row], found.ask_nm[row], found.s_nm[row], found.degrees[row])
        yield Twin(ours, expected)
