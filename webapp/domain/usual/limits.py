"""When a difference matters: what a chosen line asks by chance, and which shift it catches.

Rules of this module:
- One more value x beside the mean m of the n values in the centre: (x - m) / (s * sqrt(1 + 1/n)) follows
  Student's t with the spread's degrees of freedom, and the noncentral t where the fixture has shifted (normal
  theory; Hahn and Meeker, Statistical Intervals). Below two degrees of freedom the floor's u_B is taken as
  known, and the normal distribution takes t's place.
- The display rounds what it shows, and the centre too: a shown value is inside a line as long as the true one
  is within the line and half a step of the rounded centre. Where the fixture lies within a step nobody knows,
  so chances are averaged over it; below one step of spread the least and the greatest are said as well. A
  line counts in whole steps.
- What a choice asks about by chance, and how values scatter before they are rounded, is worked out in
  `false_asks`.
- "Nine times in ten": the least shift whose touch is asked about with probability 0.9.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from webapp.domain.figures import special, spread
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.usual.false_asks import before_rounding, false_asks
from webapp.domain.usual.usual import LinesChoice, Usual, inward_nm

CAUGHT = 0.9
BY_CHANCE = 0.001
LEAST_SAID, MOST_SAID = 0.0005, 0.994
PLACES_IN_A_STEP = 16
BISECTIONS = 40

Chances = NDArray[np.float64]
CHOICES_ONE_IN = (10, 20, 30, 50, 75, 100, 150, 200, 300, 500, 750, 1000, 2000, 5000, 10_000)


class LimitsError(DomainError):
    """Nothing can be said about lines."""


class LimitsWithoutValueError(LimitsError):
    """The seating has no value yet."""

    code = "limits.no_value_yet"


class ChanceNotBetweenError(LimitsError):
    """A probability of 0 or 1, or none at all, was asked for."""

    code = "limits.chance_not_between"
    field_names = ("chance",)


@dataclass(frozen=True)
class Line:
    """One possible ask line: chosen as one false ask in `one_in`, where it lies, what it asks and catches.

    `false_asks_per_100` is what this choice gives with the spread at hand, floor and ceiling included,
    averaged over where the fixture lies within a step of the display; `range_per_100` is the least and the
    greatest of that, None from one step of spread on, where it hardly matters. `caught_nm` is the shift that
    this line catches nine times in ten.
    """

    one_in: int
    ask_nm: int
    false_asks_per_100: float
    caught_nm: float
    range_per_100: tuple[float, float] | None = None

    @property
    def said(self) -> str:
        """Return the false asks of 100 setups as people read them, with the range where there is one."""
        asks = of_100(self.false_asks_per_100 / 100)
        if self.range_per_100 is None:
            return asks
        low, high = (of_100(rate / 100) for rate in self.range_per_100)
        return asks if low == high else f"{asks} ({low} to {high})"


def of_100(chance: float) -> str:
    """Return a chance as so many of 100, as people read it."""
    if chance < LEAST_SAID:
        return "fewer than 0.1"
    if chance > MOST_SAID:
        return "more than 99"
    return f"{100 * chance:.1f}".removesuffix(".0") if chance < 0.0995 else f"{100 * chance:.0f}"


def line(usual: Usual, one_in: int, choice: LinesChoice, display: Display) -> Line:
    """Return the ask line for one false ask in `one_in`. Raises `LimitsWithoutValueError`."""
    ask_nm = line_nm(usual, one_in, choice, display)
    asked = false_asks(usual, one_in, choice, display)
    scatter_nm = usual.u_b_nm if usual.known_s_nm is None else usual.known_s_nm
    fine = scatter_nm >= (usual.step_nm or display.resolution_nm)
    ends = None if fine else (100 * asked.least, 100 * asked.most)
    return Line(one_in, ask_nm, 100 * asked.mean, caught_shift_nm(ask_nm, usual, display), ends)


def curve(
    usual: Usual, choice: LinesChoice, display: Display, one_in: Iterable[int] = CHOICES_ONE_IN
) -> tuple[Line, ...]:
    """Return the line of every choice, in the order given."""
    return tuple(line(usual, number, choice, display) for number in one_in)


def line_nm(usual: Usual, one_in: int, choice: LinesChoice, display: Display) -> int:
    """Return where the line lies, as `usual` draws it: prediction or floor, ceiling, rounded inward."""
    coverage = 1 - 1 / LinesChoice(one_in, one_in + 1).ask_one_in
    step_nm = usual.step_nm or display.resolution_nm
    half_nm = choice.factor(coverage, usual.u_b_degrees_of_freedom) * usual.u_b_nm * _root(usual)
    if usual.known_s_nm is not None:
        predicted_nm = spread.prediction_half_width(
            max(usual.known_s_nm, step_nm / math.sqrt(12)),
            usual.degrees_of_freedom,
            usual.centre_variance,
            coverage,
        )
        half_nm = max(half_nm, predicted_nm)
    return inward_nm(max(half_nm, choice.least_ask_nm), choice, step_nm, display)


def _root(usual: Usual) -> float:
    if usual.n_values < 1:
        raise LimitsWithoutValueError
    return usual.root


@dataclass(frozen=True)
class _Seen:
    """One more touch as the display shows it:
    where its true value may lie and be inside, and how it scatters.

    `error_nm` is how its distance from the centre scatters before both are rounded,
    `degrees` how well that is known.
    """

    inside_nm: float
    step_nm: int
    error_nm: float
    degrees: float

    def chances(self, shift_nm: float = 0.0) -> Chances:
        """Return the chance of a question for places of the fixture all over one step of the display."""
        within = self.step_nm * ((np.arange(PLACES_IN_A_STEP) + 0.5) / PLACES_IN_A_STEP - 0.5)
        shift = shift_nm / self.error_nm
        high = _above((self.inside_nm + within) / self.error_nm, shift, self.degrees)
        low = _above((self.inside_nm - within) / self.error_nm, -shift, self.degrees)
        both: Chances = high + low
        return both


def _seen(line_nm: float, usual: Usual, display: Display) -> _Seen:
    step_nm = usual.step_nm or display.resolution_nm
    shown_nm = max(usual.u_b_nm if usual.known_s_nm is None else usual.known_s_nm, step_nm / math.sqrt(12))
    scatter_nm = step_nm * float(before_rounding(np.array([shown_nm / step_nm]))[0])
    return _Seen(
        line_nm // step_nm * step_nm + step_nm / 2,
        step_nm,
        scatter_nm * _root(usual),
        math.inf if usual.known_s_nm is None else usual.degrees_of_freedom,
    )


def ask_rate(line_nm: float, usual: Usual, display: Display, shift_nm: float = 0.0) -> float:
    """Return the probability that a touch is asked about when the fixture sits `shift_nm` from the usual."""
    return float(_seen(line_nm, usual, display).chances(shift_nm).mean())


def _above(at: Chances, shift: float, degrees: float) -> Chances:
    """Return P(T > at) of the noncentral t; of the normal for infinitely many degrees of freedom.

    Far out in a tail the library gives no number; there it is 0 or 1 to the last digit.
    """
    if math.isinf(degrees):
        found = np.asarray(special.ndtr(shift - at), dtype=np.float64)
    elif shift == 0:
        found = np.asarray(special.stdtr(degrees, -at), dtype=np.float64)
    else:
        below = special.nctdtr(degrees, shift, at)
        found = np.asarray(1 - np.where(np.isfinite(below), below, at > shift), dtype=np.float64)
    within: Chances = np.clip(found, 0.0, 1.0)
    return within


def caught_shift_nm(line_nm: float, usual: Usual, display: Display, chance: float = CAUGHT) -> float:
    """Return the least shift that this line asks about with that probability (strictly between 0 and 1)."""
    if not 0 < chance < 1:
        raise ChanceNotBetweenError(chance=str(chance))
    seen = _seen(line_nm, usual, display)

    def asked(shift_nm: float) -> float:
        return float(seen.chances(shift_nm).mean())

    if asked(0.0) >= chance:
        return 0.0
    low, high = 0.0, seen.inside_nm + seen.error_nm
    while asked(high) < chance:
        low, high = high, 2 * high
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if asked(middle) < chance else (low, middle)
    return high


def not_around(beyond: int, count: int, chosen: Line) -> tuple[Finding, ...]:
    """Return that the fixture does not lie at its usual, where so many of its latest touches lie beyond the
    ask line that chance would have it in fewer than one seating in a thousand (binomial).
    """
    chance = max(chosen.false_asks_per_100 / 100, 1 / chosen.one_in)
    if not beyond or special.bdtrc(beyond - 1, count, chance) >= BY_CHANCE:
        return ()
    return (Finding("limits.not_around", {"beyond": beyond, "count": count}),)


def factor_in_words(usual: Usual, choice: LinesChoice, display: Display) -> tuple[Finding, ...]:
    """Return what a factor that the lead named does:
    how near the lines may come by it, and whether it rules now.
    """
    if choice.coverage_factor is None or usual.n_values < 1:
        return ()
    floors = [
        choice.factor(1 - 1 / one_in, usual.u_b_degrees_of_freedom) * usual.u_b_nm * usual.root
        for one_in in (choice.ask_one_in, choice.stop_one_in)
    ]
    ask, stop = (format_length(round(one), display, sign=False) for one in floors)
    fields: dict[str, str | int] = {
        "factor": f"{choice.coverage_factor:g}",
        "ask": ask,
        "stop": stop,
        "unit": display.unit.value,
    }
    rules = {"floor_rules", "floor_widens"} & set(usual.reasons)
    return (Finding("limits.factor_rules" if rules else "limits.factor_rests", fields),)


def in_words(usual: Usual, chosen: Line, display: Display) -> tuple[Finding, ...]:
    """Return the sentences for the lead, the plainest first."""
    unit = display.unit.value
    within = format_length(chosen.ask_nm, display, sign=False)
    caught = format_length(math.ceil(chosen.caught_nm), display, sign=False)
    asks = chosen.said
    said = [
        Finding("limits.matters", {"within": within, "unit": unit, "asks": asks}),
        Finding("limits.caught", {"caught": caught, "unit": unit}),
    ]
    if usual.known_s_nm is None:
        return (*said, Finding("limits.spread_not_known"))
    s = format_length(math.ceil(usual.known_s_nm), display, sign=False)
    seen: dict[str, str | int] = {
        "spread": s,
        "unit": unit,
        "values": usual.n_in_spread,
    }
    return (*said, Finding("limits.spread", seen))
