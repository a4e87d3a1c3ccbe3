"""False asks of a choice: each part of the arithmetic against numerical integration,
and against drawn histories.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.false_asks import (
    at_place,
    before_rounding,
    beside_the_centre,
    false_asks,
    over_a_step,
    shown_variance,
)
from webapp.domain.usual.usual import FloorInputs, LinesChoice, SeatingValues, Usual, usual

STEP = 10_000
HUNDREDTHS = Display(Unit.MM, 2)
NO_FLOOR, CHOICE = FloorInputs(0, 0), LinesChoice(ceiling_nm=10**9)


def seen(*seatings: np.ndarray, choice: LinesChoice = CHOICE, floor: FloorInputs = NO_FLOOR) -> Usual:
    """The usual of values in steps."""
    history = [
        SeatingValues.of(str(n), [int(v) * STEP for v in np.rint(one)]) for n, one in enumerate(seatings)
    ]
    return usual(history, floor, choice, HUNDREDTHS)


@pytest.mark.parametrize("scatter", [0.1, 0.2, 0.35, 0.5, 1.0, 4.0])
def test_the_variance_of_shown_values_is_that_of_rounded_ones(scatter: float) -> None:
    steps = np.arange(-60, 61)

    def variance(place: float) -> float:
        shares = np.diff(stats.norm.cdf((np.append(steps, 61) - 0.5 - place) / scatter))
        return float(shares @ steps**2 - (shares @ steps) ** 2)

    by_hand, _ = integrate.quad(variance, -0.5, 0.5, points=[0], limit=200)
    assert shown_variance(np.array([scatter]))[0] == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("scatter", [0.1, 0.3, 0.7, 2.0, 1000.0])
def test_the_spread_before_rounding_is_found_again(scatter: float) -> None:
    shown = np.sqrt(shown_variance(np.array([scatter])))
    assert before_rounding(shown)[0] == pytest.approx(scatter, rel=1e-6)


def test_equal_values_are_given_a_tenth_of_a_step() -> None:
    assert before_rounding(np.zeros(1))[0] == pytest.approx(0.1)


@pytest.mark.parametrize("n", [5, 8, 20])
@pytest.mark.parametrize(("line", "error"), [(0.0, 0.3), (1.0, 0.6), (2.0, 0.9), (9.0, 4.0)])
def test_the_mean_over_places_is_their_integral(line: float, error: float, n: int) -> None:
    stretches = beside_the_centre(n)
    assert sum(weight for weight, _ in stretches) == pytest.approx(1)
    by_hand = 0.0
    for weight, half in stretches:
        whole, _ = integrate.quad(
            lambda place: at_place(np.array([line]), np.array([error]), place)[0], -half, half
        )
        by_hand += weight * whole / (2 * half)
    assert over_a_step(np.array([line]), np.array([error]), stretches)[0] == pytest.approx(by_hand, rel=1e-8)


def test_a_middle_on_half_steps_lies_where_it_is_said_to() -> None:
    # A place anywhere, taken to half steps and then to whole ones, half to even.
    place = np.linspace(0, 2, 400_001)
    beside = np.abs(np.rint(np.rint(2 * place) / 2) - place)
    for weight, half in ((1.0, 0.75), (0.5, 0.25)):
        assert np.mean(beside <= half) == pytest.approx(weight, abs=1e-4)
    assert np.mean(beside**2) == pytest.approx(
        sum(w * h**2 / 3 for w, h in beside_the_centre(10**9)), abs=1e-4
    )


@pytest.mark.parametrize(("scatter", "n", "before"), [(0.7, 30, 0), (1.5, 30, 2), (3.0, 12, 0)])
def test_a_choice_asks_as_often_as_histories_that_are_drawn(scatter: float, n: int, before: int) -> None:
    chance = np.random.default_rng(20261129)
    asked, said = [], []
    for number in range(1200):
        places = chance.uniform(0, 1000, before + 1)
        drawn = [
            at + scatter * chance.standard_normal(size)
            for at, size in zip(places, (*[25] * before, n), strict=True)
        ]
        found = seen(*drawn)
        assert found.centre_nm is not None
        assert found.ask_nm is not None
        centre, line = found.centre_nm / STEP, found.ask_nm // STEP
        asked.append(float(at_place(np.array([line]), np.array([scatter]), places[-1] - centre)[0]))
        if number % 20 == 0:
            said.append(false_asks(found, CHOICE.ask_one_in, CHOICE, HUNDREDTHS).mean)
    error = math.hypot(np.std(asked) / math.sqrt(len(asked)), np.std(said) / math.sqrt(len(said)))
    assert abs(np.mean(said) - np.mean(asked)) < max(0.25 * np.mean(asked), 0.002) + 3 * error


def test_the_least_and_the_greatest_stand_around_the_mean_and_a_ceiling_counts() -> None:
    values = 0.4 * np.random.default_rng(3).standard_normal(30) + 0.3
    found = seen(values)
    one = false_asks(found, 100, CHOICE, HUNDREDTHS)
    assert 0 <= one.least < one.mean < one.most < 0.2
    wide = seen(20 * values)
    low = LinesChoice(ceiling_nm=5 * STEP)
    assert false_asks(wide, 100, low, HUNDREDTHS).mean > 0.3 > false_asks(wide, 100, CHOICE, HUNDREDTHS).mean


def test_without_a_spread_the_floor_is_taken_as_known() -> None:
    found = seen(np.zeros(1), floor=FloorInputs(3 * STEP, 4 * STEP))
    assert false_asks(found, 100, CHOICE, HUNDREDTHS).mean == pytest.approx(0.01, rel=0.15)


def test_of_thousands_of_values_there_are_as_many_false_asks_as_chosen() -> None:
    """The weights of a spread with thousands of degrees of freedom stay numbers."""
    values = np.random.default_rng(5).normal(0, 4, 20_000)
    found = false_asks(seen(values), 100, CHOICE, HUNDREDTHS)
    assert found.mean == pytest.approx(0.01, rel=0.15)
