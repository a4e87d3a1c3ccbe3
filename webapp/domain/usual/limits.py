"""When a difference matters: what a chosen line asks by chance, and which shift it catches.

Rules of this module:
- One more value x beside the mean m of the n values in the centre: (x - m) / (s * sqrt(1 + 1/n)) follows Student's t
  with the spread's degrees of freedom, and the noncentral t where the fixture has shifted (normal theory; Hahn and
  Meeker, Statistical Intervals). Below two degrees of freedom the floor's u_B is taken as known, and the normal
  distribution takes t's place.
- The display rounds what it shows: a shown value is inside a line as long as the true one is inside the line and
  half a step. That half step is counted, here and nowhere else.
- Equal values show no spread; a display of step q hides q/sqrt(12), and no less than that is taken.
- "Nine times in ten": the least shift whose touch is asked about with probability 0.9.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scipy import special

from webapp.domain.figures import spread
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.lengths import Display, format_length, round_inward_nm
from webapp.domain.usual.usual import LEAST_DEGREES_OF_FREEDOM, LinesChoice, SetupValue, Usual

CAUGHT = 0.9
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

    `false_asks_per_100` is what this line gives with the spread at hand, floor and ceiling included; `caught_nm` the
    shift that it catches nine times in ten.
    """

    one_in: int
    ask_nm: int
    false_asks_per_100: float
    caught_nm: float


def line(usual: Usual, one_in: int, choice: LinesChoice, display: Display) -> Line:
    """Return the ask line for one false ask in `one_in`. Raises `LimitsWithoutValueError`."""
    ask_nm = line_nm(usual, one_in, choice, display)
    rate = ask_rate(ask_nm, usual, display)
    return Line(one_in, ask_nm, 100 * rate, caught_shift_nm(ask_nm, usual, display))


def curve(
    usual: Usual, choice: LinesChoice, display: Display, one_in: Iterable[int] = CHOICES_ONE_IN
) -> tuple[Line, ...]:
    """Return the line of every choice, in the order given."""
    return tuple(line(usual, number, choice, display) for number in one_in)


def line_nm(usual: Usual, one_in: int, choice: LinesChoice, display: Display) -> int:
    """Return where the line lies, as `usual` draws it: prediction or floor, ceiling, rounded inward."""
    coverage = 1 - 1 / LinesChoice(one_in, one_in + 1).ask_one_in
    half_nm = choice.factor(coverage, usual.u_b_degrees_of_freedom) * usual.u_b_nm * _root(usual)
    if usual.s_nm is not None and usual.degrees_of_freedom >= LEAST_DEGREES_OF_FREEDOM:
        predicted_nm = spread.prediction_half_width(
            usual.s_nm, usual.degrees_of_freedom, usual.centre_variance, coverage
        )
        half_nm = max(half_nm, predicted_nm)
    return round_inward_nm(min(max(half_nm, choice.least_ask_nm), choice.ceiling_nm), display)


def _root(usual: Usual) -> float:
    if usual.n_values < 1:
        raise LimitsWithoutValueError
    return usual.root


def _standard(line_nm: float, usual: Usual, display: Display) -> tuple[float, float, float]:
    """Return the line in standard errors of one more value, that error in nm, and the degrees of freedom."""
    known = usual.s_nm is None or usual.degrees_of_freedom < LEAST_DEGREES_OF_FREEDOM
    s_nm = usual.u_b_nm if known else float(usual.s_nm or 0.0)
    error_nm = max(s_nm, display.resolution_nm / math.sqrt(12)) * _root(usual)
    degrees = math.inf if known else float(usual.degrees_of_freedom)
    return (line_nm + display.resolution_nm / 2) / error_nm, error_nm, degrees


def ask_rate(line_nm: float, usual: Usual, display: Display, shift_nm: float = 0.0) -> float:
    """Return the probability that a touch is asked about when the fixture sits `shift_nm` from the usual."""
    at, error_nm, degrees = _standard(line_nm, usual, display)
    return _beyond(at, abs(shift_nm) / error_nm, degrees)


def _beyond(at: float, shift: float, degrees: float) -> float:
    """Return P(|T| > at) of the noncentral t; of the normal for infinitely many degrees of freedom."""
    if math.isinf(degrees):
        return float(special.ndtr(shift - at) + special.ndtr(-shift - at))
    if shift == 0:
        return float(2 * special.stdtr(degrees, -at))
    inside = _noncentral_t(at, shift, degrees) - _noncentral_t(-at, shift, degrees)
    return min(1.0, max(0.0, 1 - inside))


def _noncentral_t(at: float, shift: float, degrees: float) -> float:
    """Return P(T <= at). Far out in a tail the library gives no number; there it is 0 or 1 to the last digit."""
    found = float(special.nctdtr(degrees, shift, at))
    return found if math.isfinite(found) else float(at > shift)


def caught_shift_nm(line_nm: float, usual: Usual, display: Display, chance: float = CAUGHT) -> float:
    """Return the least shift that this line asks about with that probability (strictly between 0 and 1)."""
    if not 0 < chance < 1:
        raise ChanceNotBetweenError(chance=str(chance))
    at, error_nm, degrees = _standard(line_nm, usual, display)
    if _beyond(at, 0.0, degrees) >= chance:
        return 0.0
    low, high = 0.0, at + 1.0
    while _beyond(at, high, degrees) < chance:
        low, high = high, 2 * high
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _beyond(at, middle, degrees) < chance else (low, middle)
    return high * error_nm


def would_have_asked(values: Sequence[SetupValue], centre_nm: int, ask_nm: int) -> tuple[SetupValue, ...]:
    """Return the past touches that lie beyond this line today."""
    return tuple(value for value in values if abs(value.value_nm - centre_nm) > ask_nm)


def in_words(usual: Usual, chosen: Line, display: Display) -> tuple[Finding, ...]:
    """Return the sentences for the lead, the plainest first."""
    unit = display.unit.value
    within = format_length(chosen.ask_nm, display, sign=False)
    caught = format_length(math.ceil(chosen.caught_nm), display, sign=False)
    asks = f"{chosen.false_asks_per_100:.2g}"
    said = [
        Finding("limits.matters", {"within": within, "unit": unit, "asks": asks}),
        Finding("limits.caught", {"caught": caught, "unit": unit}),
    ]
    if usual.s_nm is None or usual.degrees_of_freedom < LEAST_DEGREES_OF_FREEDOM:
        return (*said, Finding("limits.spread_not_known"))
    s = format_length(math.ceil(usual.s_nm), display, sign=False)
    seen: dict[str, str | int] = {
        "spread": s,
        "unit": unit,
        "values": usual.n_in_spread,
    }
    return (*said, Finding("limits.spread", seen))
