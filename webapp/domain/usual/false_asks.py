"""How many clean setups a choice of line asks about: drawn and touched again in arithmetic, display and all.

Rules of this module:
- What is worked out is what a simulation counts: a fixture that scatters as this one seems to; histories like
  this one, each with the spread that it happens to show and the line that the choice draws from that; one
  more touch. Summed over how an estimated spread scatters (chi-squared) and over where the fixture lies
  within a step of the display.
- Shown values scatter by sigma^2 + q^2/12 - q^2/(2 pi^2) sum of exp(-4 pi^2 k^2 sigma^2 / q^2) / k^2, q the
  step: the mean square of two rounded normal values' difference, halved, over all places within a step
  (Fourier series of f (1 - f), f the difference's fraction; for sigma above half a step it is Sheppard's
  correction). The spread before rounding is read from that, and is a tenth of a step at least.
- A touch is inside as long as its true distance from the shown centre is within the line and half a step.
  Where the fixture lies beside that centre is spread evenly over a step. From seven values on, the middle of
  pairs mostly lies on half steps (found by simulation: all but 3 / n) and is rounded a second time, half to
  even: half of the time within a quarter of a step, else a quarter to three quarters away. The mean of a
  normal tail over such a stretch is closed: the integral of P(Z > z) is the density less z times the tail.
- Lines go in whole steps, so the rate goes up and down with the spread. Read at a spread that is itself
  estimated it is flattened once more than it is; what that takes is added once (a step of bias correction as
  with the bootstrap: Efron, Annals of Statistics 7, 1979; from memory): twice the rate, less its mean over
  the spreads that such a one would show.
- Where the display is coarse hardly any difference is left out (see `neighbours`),
  and the spread is known better than the lines count on: two in three degrees of freedom each, not 0.57.
- A present seating among others is judged with a test that lets 15 in 100 stand alone by chance,
  and its lines are wide then (see `alike`).
- Below two degrees of freedom the floor alone draws the line, and its u_B is taken as known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from webapp.domain.figures import special, spread
from webapp.domain.figures.alike import LEAST_DEGREES_TO_STAND_ALONE, SCATTERS_MORE_LEVEL
from webapp.domain.figures.middle import MOST_FOR_MEDIAN
from webapp.domain.figures.neighbours import DEGREES_EACH, LEAST_CUT_DEVIATIONS, degrees_of, share_kept
from webapp.domain.plain.lengths import Display
from webapp.domain.usual.usual import LinesChoice, Usual

Numbers = NDArray[np.float64]

LEAST_SPREAD_STEPS = 0.1
HIDDEN_STEPS = 1 / math.sqrt(12)
NODES, NODES_ALONE = 90, 40
NOT_ON_HALF_STEPS = 3.0
DEGREES_EACH_UNCUT, MEDIAN_OF_DIFFERENCES = 2 / 3, 0.95387
# What lies outside of these shares of the chi-squared distribution changes no digit that is said.
RAREST = 1e-10
HARMONICS = np.arange(1, 7)
TERMS_NEEDED_STEPS = 2.0


@dataclass(frozen=True)
class FalseAsks:
    """The share of clean setups that is asked about,
    and the least and the greatest by where the fixture lies.
    """

    mean: float
    least: float
    most: float


def shown_variance(scatter: Numbers) -> Numbers:
    """Return the variance of shown values in squares of the step, for spreads in steps before rounding."""
    near = np.minimum(scatter, TERMS_NEEDED_STEPS)[..., None]
    waves = np.exp(-4 * (math.pi * HARMONICS * near) ** 2) / HARMONICS**2
    found: Numbers = scatter**2 + HIDDEN_STEPS**2 - waves.sum(axis=-1) / (2 * math.pi**2)
    return found


def before_rounding(shown: Numbers) -> Numbers:
    """Return the spread in steps before rounding that shows as these spreads, a tenth at least."""
    low = np.full_like(shown, LEAST_SPREAD_STEPS)
    high = np.maximum(shown, LEAST_SPREAD_STEPS)
    for _ in range(30):
        middle = (low + high) / 2
        above = shown_variance(middle) > shown**2
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return high


@dataclass(frozen=True)
class _Rule:
    """How a choice draws lines, in steps: its coverage, its narrowest and widest line,
    the centre's variance, and where fixtures lie beside the shown centre.
    """

    coverage: float
    least: float
    ceiling: float
    centre_variance: float
    beside: tuple[tuple[float, float], ...]

    def lines(self, shown: Numbers, degrees: float) -> Numbers:
        """Return the lines, in whole steps, of spreads as shown."""
        factor = spread.t_quantile(self.coverage, degrees) * math.sqrt(1 + self.centre_variance)
        wide = np.maximum(factor * np.maximum(shown, HIDDEN_STEPS), max(self.least, 1.0))
        return np.asarray(np.floor(np.minimum(wide, self.ceiling)), dtype=np.float64)

    def error(self, scatter: Numbers) -> Numbers:
        """Return how a true value scatters about the centre before both are rounded, in steps."""
        return scatter * math.sqrt(1 + self.centre_variance)

    def asked(self, line: Numbers, error: Numbers, place: float | None) -> Numbers:
        """Return the chance of a question, at one place within a step or over all of them."""
        if place is not None:
            return at_place(line, error, place)
        return over_a_step(line, error, self.beside)


def beside_the_centre(n: int) -> tuple[tuple[float, float], ...]:
    """Return where a fixture lies beside the shown middle of n values: weights, and half-lengths in steps."""
    twice = 1 - NOT_ON_HALF_STEPS / n if n > MOST_FOR_MEDIAN else 0.0
    return ((1 - twice, 0.5), (0.75 * twice, 0.75), (0.25 * twice, 0.25))


def over_a_step(line: Numbers, error: Numbers, stretches: Sequence[tuple[float, float]]) -> Numbers:
    """Return the chance of a question for a line in steps,
    averaged over stretches of places: weight, half-length.
    """
    found = np.zeros(np.broadcast(line, error).shape)
    for weight, half in stretches:
        ends = _tail((line + 0.5 - half) / error) - _tail((line + 0.5 + half) / error)
        found += weight * error / half * ends
    return np.clip(found, 0.0, 1.0)


def _tail(z: Numbers) -> Numbers:
    """Return the integral of P(Z > z) from z on."""
    found: Numbers = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi) - z * special.ndtr(-z)
    return found


def at_place(line: Numbers, error: Numbers, place: float) -> Numbers:
    """Return the chance of a question where the fixture lies so many steps from the middle of one."""
    found: Numbers = special.ndtr(-(line + 0.5 + place) / error) + special.ndtr(-(line + 0.5 - place) / error)
    return found


@dataclass(frozen=True)
class _Drawn:
    """Histories like one: what spreads they show, and what a rule's lines then ask."""

    usual: Usual
    rule: _Rule
    shown: float

    @cached_property
    def ratios(self) -> tuple[Numbers, Numbers]:
        return _shown_over_true(self.usual.degrees_of_freedom * _better_known(self.shown))

    @cached_property
    def alone(self) -> tuple[float, Numbers, Numbers]:
        """Return the degrees of freedom of the present seating by itself,
        and what it shows where it stands alone.
        """
        own = degrees_of(self.usual.n_values - 1)
        return own, *_shown_over_true(own, SCATTERS_MORE_LEVEL)

    @property
    def may_stand_alone(self) -> bool:
        own = degrees_of(self.usual.n_values - 1)
        others = self.usual.degrees_of_freedom - own
        return self.usual.n_seatings > 1 and min(own, others) >= LEAST_DEGREES_TO_STAND_ALONE

    def rates(self, scatter: Numbers, place: float | None = None) -> Numbers:
        """Return the share asked about for each spread before rounding;
        at one place within a step if so wished.
        """
        together = self._rates(scatter, *self.ratios, self.usual.degrees_of_freedom, place)
        if not self.may_stand_alone:
            return together
        own, ratios, weights = self.alone
        alone = self._rates(scatter, ratios, weights, own, place)
        return (1 - SCATTERS_MORE_LEVEL) * together + SCATTERS_MORE_LEVEL * alone

    def _rates(
        self, scatter: Numbers, ratios: Numbers, weights: Numbers, degrees: float, place: float | None
    ) -> Numbers:
        shown = np.sqrt(shown_variance(scatter))[:, None] * ratios
        lines, error = self.rule.lines(shown, degrees), self.rule.error(scatter)[:, None]
        asked = self.rule.asked(lines, error, place)
        found: Numbers = asked @ weights
        return found


def _better_known(shown: float) -> float:
    """Return by how much more is known of a spread of so many steps, as shown, than the lines count on."""
    farther = 1 + 1 / (2 * MEDIAN_OF_DIFFERENCES * max(shown, HIDDEN_STEPS))
    cut = float((1 - share_kept(LEAST_CUT_DEVIATIONS * farther)) / (1 - share_kept(LEAST_CUT_DEVIATIONS)))
    return 1 + (DEGREES_EACH_UNCUT / DEGREES_EACH - 1) * (1 - cut)


def _shown_over_true(degrees: float, upper: float = 1.0) -> tuple[Numbers, Numbers]:
    """Return by how much an estimated spread may differ from the true one, and the weight of each;
    of the upper share only if so wished.
    """
    ends = np.array([max(RAREST, 1 - upper), 1 - RAREST])
    low, high = np.log(2 * special.gammaincinv(degrees / 2, ends))
    count = NODES if upper == 1 else NODES_ALONE
    logs = low + (np.arange(count) + 0.5) * (high - low) / count
    heights = degrees / 2 * logs - np.exp(logs) / 2
    weights = np.exp(heights - heights.max())  # else no numbers any more, from thousands of degrees on
    return np.exp(logs / 2) / math.sqrt(degrees), weights / weights.sum()


def false_asks(usual: Usual, one_in: int, choice: LinesChoice, display: Display) -> FalseAsks:
    """Return what lines drawn for one false ask in `one_in` ask about,
    for fixtures like this one with a value.
    """
    step_nm = usual.step_nm or display.resolution_nm
    coverage = 1 - 1 / one_in
    floor_nm = choice.factor(coverage, usual.u_b_degrees_of_freedom) * usual.u_b_nm * usual.root
    least = max(floor_nm, choice.least_ask_nm) / step_nm
    rule = _Rule(
        coverage,
        least,
        choice.ceiling_nm / step_nm,
        usual.centre_variance,
        beside_the_centre(usual.n_in_centre),
    )
    if usual.known_s_nm is None:
        return _known(rule, usual.u_b_nm / step_nm)
    drawn = _Drawn(usual, rule, usual.known_s_nm / step_nm)
    here = before_rounding(np.array([drawn.shown]))
    ratios, weights = drawn.ratios
    others = before_rounding(np.sqrt(shown_variance(here)) * ratios)
    rate = float(drawn.rates(here)[0])
    mean = min(1.0, max(0.0, 2 * rate - float(drawn.rates(others) @ weights)))
    ends = [float(drawn.rates(here, place)[0]) for place in (0.0, 0.5)]
    return FalseAsks(mean, min(mean, *ends), max(mean, *ends))


def _known(rule: _Rule, u_b: float) -> FalseAsks:
    """Return what the floor's line asks about where fixtures scatter by u_B, in steps."""
    line = np.floor(np.minimum(max(rule.least, 1.0), rule.ceiling)) * np.ones(1)
    error = rule.error(before_rounding(np.array([u_b])))
    mean, *ends = (float(rule.asked(line, error, place)[0]) for place in (None, 0.0, 0.5))
    return FalseAsks(mean, min(mean, *ends), max(mean, *ends))
