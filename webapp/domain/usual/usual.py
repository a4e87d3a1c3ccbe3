"""The usual of one fixture, axis and seating: where it lies, and the lines around it.

Rules of this module:
- Centre: the middle of this seating's last 20 accepted values (see `middle`), which one gross value among six
  or more hardly moves; rounded half to even to the display's step. Over all of them it would lag behind a
  vise that creeps by half its way; over 20 it lags by ten setups. What was set aside for the spread counts
  here neither. Verdicts compare the distance from that rounded centre with the lines; a value on a line is
  inside.
- Spread: from the differences of neighbours, so that no creep, step or single outlier widens the lines, and
  none depends on where a stretch of values begins (see `neighbours`); a property of the fixture, pooled over
  its seatings; a seating that scatters more stands alone (see `alike`). Prediction half-width for one more
  value, two-sided coverage p: t(p, v) * s * sqrt(1 + c), c the variance of the centre, 1/n for a mean (normal
  theory; Hahn and Meeker, Statistical Intervals, section 4.6). One setup counts once, however often it
  touched.
- Floor: k * u_B * sqrt(1 + c), with u_B from what the shop knows without history (JCGM 100:2008, 4.3 and
  5.1.2). k is the normal quantile of the line's own coverage; one that the lead names is the ask line's, and
  scales the stop line's. The floor alone rules below two degrees of freedom.
- Ask line: one false ask in N touches, and no finer than the lead lets it be. Stop line: the length that
  would hurt here, at least three times the ask line; or one false stop in a larger N where the lead chose so.
  Neither lies beyond the shop's ceiling, which wins over all else. Lines are rounded inward to the display's
  step, and none is narrower than one step, for a flip of the last digit is no difference; the stop line lies
  a step beyond the ask line at least.
- Until there are so many setups, over at least two days, a fixture is early: a touch is asked about,
  and stopped beyond the ceiling alone, or where a radius, an opening or a length explains it (see `sheet`).
- A seating of fewer than four values cannot show whether it scatters as those before: said beside the lines.
- No value in this seating: no lines, and every touch is asked about.
- Grubbs' suspects are hints: nobody but the lead leaves a value out.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from webapp.domain.figures import spread
from webapp.domain.figures.alike import pool_alike
from webapp.domain.figures.middle import middle, variance_of_middle
from webapp.domain.figures.neighbours import without_set_aside
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, format_length, round_inward_nm
from webapp.domain.plain.usual_errors import (
    CeilingNotPositiveError,
    FalseAskTooOftenError,
    SeatingListedTwiceError,
    SetupCountedTwiceError,
    StopLengthNotPositiveError,
    StopNotRarerThanAskError,
    UncertaintyNegativeError,
)

Verdict = Literal["agrees", "ask", "stop"]

LEAST_ONE_IN = 2
LEAST_DEGREES_OF_FREEDOM = 2
LEAST_FOR_SUSPECTS = 3
LEAST_STOP_IN_ASKS = 3
LATEST = 20
LEAST_TO_COMPARE = 4
LATEST_SEATINGS, LEAST_FOR_STEP = 3, 8


@dataclass(frozen=True)
class SetupValue:
    """The accepted value of one setup, in nanometres, machine coordinates."""

    setup_id: str
    value_nm: int


@dataclass(frozen=True)
class SeatingValues:
    """The accepted values of one seating in nm, in order of time,
    and the setup of each, one value for each setup.

    Two columns, not a list of pairs: a seating may hold a hundred thousand. There may be no value yet.
    `first_day` and `last_day` are those of its values, empty where nobody counts days.
    """

    seating_id: str
    setup_ids: tuple[str, ...] = ()
    values_nm: tuple[int, ...] = ()
    first_day: str = ""
    last_day: str = ""

    def __post_init__(self) -> None:
        if len(self.setup_ids) != len(self.values_nm):
            raise ValueError(f"{len(self.setup_ids)} setups for {len(self.values_nm)} values")
        if len(set(self.setup_ids)) < len(self.setup_ids):
            twice = next(setup for setup, times in Counter(self.setup_ids).items() if times > 1)
            raise SetupCountedTwiceError(setup=twice, seating=self.seating_id)

    @classmethod
    def of(cls, seating_id: str, values_nm: Iterable[int]) -> SeatingValues:
        """Return a seating of values that each come from a setup of their own, numbered from 1."""
        values = tuple(values_nm)
        return cls(seating_id, tuple(str(place) for place in range(1, len(values) + 1)), values)

    @classmethod
    def of_setups(cls, seating_id: str, values: Iterable[SetupValue]) -> SeatingValues:
        """Return a seating of these setups' values."""
        found = tuple(values)
        return cls(seating_id, tuple(one.setup_id for one in found), tuple(one.value_nm for one in found))


@dataclass(frozen=True)
class FloorInputs:
    """What the shop knows without history: standard uncertainties in nm, and what expansion takes.

    `u_probe_nm`: probing repeatability (ISO 230-10); `u_axis_nm`: the machine's repeatability statement (ISO
    230-2); `u_seat_nm`: how the fixture seats. Expansion: coefficient per kelvin, expanding length,
    temperature within ± of the usual, rectangular. `u_more_nm`: what the lead's budget adds; `shared_nm2`:
    what its lines share where they hang together, in nm^2, below zero where they take away (JCGM 100:2008,
    5.2.2); `degrees_of_freedom`: how well all of it is known (None: exactly; JCGM 100:2008, G.4).
    """

    u_probe_nm: float
    u_axis_nm: float
    u_seat_nm: float = 0.0
    expansion_per_kelvin: float = 0.0
    length_nm: float = 0.0
    temperature_half_range_kelvin: float = 0.0
    u_more_nm: float = 0.0
    degrees_of_freedom: float | None = None
    shared_nm2: float = 0.0

    def __post_init__(self) -> None:
        parts = {
            "part.probe": self.u_probe_nm,
            "part.axis": self.u_axis_nm,
            "part.seat": self.u_seat_nm,
            "part.expansion": self.expansion_per_kelvin,
            "part.length": self.length_nm,
            "part.temperature": self.temperature_half_range_kelvin,
            "part.more": self.u_more_nm,
        }
        for part_code, value in parts.items():
            if not math.isfinite(value) or value < 0:
                raise UncertaintyNegativeError(part_code=part_code, value=str(value))


def combined_uncertainty_nm(floor: FloorInputs, display: Display) -> float:
    """Return u_B in nm: root sum of squares of probe, axis, seat,
    display step q/sqrt(12), expansion a*L*dT/sqrt(3), and of what they share.
    """
    resolution = display.resolution_nm / math.sqrt(12)
    thermal = (
        floor.expansion_per_kelvin * floor.length_nm * floor.temperature_half_range_kelvin / math.sqrt(3)
    )
    alone = math.hypot(
        floor.u_probe_nm, floor.u_axis_nm, floor.u_seat_nm, floor.u_more_nm, resolution, thermal
    )
    return math.sqrt(max(0.0, alone**2 + floor.shared_nm2)) if floor.shared_nm2 else alone


@dataclass(frozen=True)
class LinesChoice:
    """What the lead chose: one false ask in so many touches,
    one false stop in so many, the ceiling, a factor k.

    With `stop_length_nm` the stop line is that length, and `stop_one_in` counts for nothing. No ask line is
    finer than `least_ask_nm`. `early_setups`: how many there have to be before a stop line holds.
    """

    ask_one_in: int = 100
    stop_one_in: int = 1000
    ceiling_nm: int = 500_000
    coverage_factor: float | None = None
    stop_length_nm: int | None = None
    least_ask_nm: int = 0
    early_setups: int = 0

    def __post_init__(self) -> None:
        if self.stop_length_nm is not None and self.stop_length_nm <= 0:
            raise StopLengthNotPositiveError(length=str(self.stop_length_nm), unit="nm")
        for one_in in (self.ask_one_in, self.stop_one_in):
            if one_in < LEAST_ONE_IN:
                raise FalseAskTooOftenError(one_in=one_in, least=LEAST_ONE_IN)
        if self.stop_one_in <= self.ask_one_in:
            raise StopNotRarerThanAskError(ask_one_in=self.ask_one_in, stop_one_in=self.stop_one_in)
        if self.ceiling_nm <= 0:
            raise CeilingNotPositiveError(ceiling=str(self.ceiling_nm), unit="nm")
        if self.coverage_factor is not None and not 0 <= self.coverage_factor < math.inf:
            raise UncertaintyNegativeError(part_code="part.coverage_factor", value=str(self.coverage_factor))

    def factor(self, coverage: float, degrees_of_freedom: float | None = None) -> float:
        """Return k for a line of that coverage;
        with degrees of freedom Student's t for the next whole number below.

        A factor that the lead names is the ask line's;
        the stop line's is as much larger as it would be without.
        """
        own = _quantile(coverage, degrees_of_freedom)
        if self.coverage_factor is None:
            return own
        return self.coverage_factor * own / _quantile(1 - 1 / self.ask_one_in, degrees_of_freedom)


def _quantile(coverage: float, degrees_of_freedom: float | None) -> float:
    if degrees_of_freedom is None:
        return spread.normal_quantile(coverage)
    return spread.t_quantile(coverage, spread.whole_degrees(degrees_of_freedom))


@dataclass(frozen=True)
class Suspect:
    """A value that lies farther from its seating's others than chance explains,
    by Grubbs' two-sided test at 5 %.
    """

    seating_id: str
    setup_id: str
    value_nm: int
    statistic: float
    critical: float

    def finding(self, display: Display) -> Finding:
        """Return the hint for the lead."""
        value = format_length(self.value_nm, display)
        return Finding("usual.suspect", {"value": value, "unit": display.unit.value, "setup": self.setup_id})


@dataclass(frozen=True)
class Usual:
    """Centre and lines in whole nanometres on the display's grid (None without a value), and what they stand
    on.

    `n_values` counts this seating's values; `n_seatings` the seatings whose spread was pooled,
    `pooled_seating_ids`, `n_in_spread` their values; `step_nm` is the step that the display's last digit
    moves in. `reasons` are the names of sentences `usual.<reason>`. `is_early`: too few setups yet for a stop
    line of their own. `standing_nm` are the least and the largest of the values that the centre stands on,
    `ceiling_nm` is the ceiling that the lines were drawn under.
    """

    seating_id: str | None
    centre_nm: int | None
    ask_nm: int | None
    stop_nm: int | None
    n_values: int
    n_seatings: int
    pooled_seating_ids: tuple[str, ...]
    left_out_seating_ids: tuple[str, ...]
    s_nm: float | None
    degrees_of_freedom: float
    u_b_nm: float
    reasons: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    u_b_degrees_of_freedom: float | None = None
    n_in_spread: int = 0
    is_early: bool = False
    standing_nm: tuple[int, int] | None = None
    ceiling_nm: int | None = None
    step_nm: int | None = None

    @property
    def known_s_nm(self) -> float | None:
        """Return the spread that the values show, None where too few of them do."""
        return self.s_nm if self.degrees_of_freedom >= LEAST_DEGREES_OF_FREEDOM else None

    @property
    def n_in_centre(self) -> int:
        """Return how many values the centre is the middle of."""
        return min(self.n_values, LATEST)

    @property
    def centre_variance(self) -> float:
        """Return the variance of the centre, in squares of the spread;
        that of one value where there is none yet.
        """
        return variance_of_middle(max(self.n_in_centre, 1))

    @property
    def root(self) -> float:
        """Return the standard error of one more value beside the centre, in spreads."""
        return math.sqrt(1 + self.centre_variance)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Return the reasons as codes of the words catalogue."""
        return tuple(Finding(f"usual.{reason}") for reason in self.reasons)


def usual(
    history: Sequence[SeatingValues], floor: FloorInputs, choice: LinesChoice, display: Display
) -> Usual:
    """Return the usual of the last seating in `history`, seatings in order of time, each listed once."""
    _check_listed_once(history)
    values = [seating.values_nm for seating in history]
    now = values[-1] if values else ()
    step_nm = shown_step_nm(values, display)
    pooled = pool_alike(values, len(values) - 1, step_nm)
    members = pooled.members if pooled else ()
    apart = [i for i, seating in enumerate(values) if len(seating) > 1 and i not in members]
    reasons: list[str] = []
    if apart:
        reasons.append("stands_alone" if members == (len(values) - 1,) else "seatings_left_out")
    if 0 < len(now) < LEAST_TO_COMPARE and pooled and set(members) - {len(values) - 1}:
        reasons.append("too_few_to_compare")
    u_b_nm = combined_uncertainty_nm(floor, display)
    ask_nm, stop_nm, early = None, None, False
    if now:
        rules = [
            _half_width_nm(
                1 - 1 / one_in,
                pooled,
                variance_of_middle(min(len(now), LATEST)),
                choice.factor(1 - 1 / one_in, floor.degrees_of_freedom) * u_b_nm,
                step_nm,
                choice,
            )
            for one_in in (choice.ask_one_in, choice.stop_one_in)
        ]
        early = _is_early([history[i] for i in {*members, len(values) - 1}], choice)
        (ask_half_nm, ask_why), (stop_half_nm, stop_why) = rules
        ask_half_nm = max(ask_half_nm, choice.least_ask_nm)
        if choice.stop_length_nm is not None:
            stop_half_nm, stop_why = max(choice.stop_length_nm, LEAST_STOP_IN_ASKS * ask_half_nm), []
        stop_half_nm = choice.ceiling_nm if early else max(stop_half_nm, ask_half_nm)
        halves = ask_half_nm, stop_half_nm
        ask_nm, stop_nm = (inward_nm(half, choice, step_nm, display) for half in halves)
        stop_nm = max(stop_nm, inward_nm(ask_nm + step_nm, choice, step_nm, display))
        reasons.extend(dict.fromkeys([*ask_why, *([] if early else stop_why)]))
        reasons.extend(_why_of_lengths(halves, choice, early=early))
        if ask_nm == 0:
            reasons.append("narrower_than_display")
    else:
        reasons.append("no_value_yet")
    return Usual(
        seating_id=history[-1].seating_id if history else None,
        centre_nm=centre_nm(in_centre(now), display, step_nm) if now else None,
        ask_nm=ask_nm,
        stop_nm=stop_nm,
        n_values=len(now),
        n_seatings=len(members),
        pooled_seating_ids=tuple(history[i].seating_id for i in members),
        left_out_seating_ids=tuple(history[i].seating_id for i in apart),
        s_nm=pooled.s_nm if pooled else None,
        degrees_of_freedom=pooled.degrees_of_freedom if pooled else 0,
        u_b_nm=u_b_nm,
        reasons=tuple(reasons),
        suspects=tuple(_suspects(history)),
        u_b_degrees_of_freedom=floor.degrees_of_freedom,
        n_in_spread=sum(len(values[i]) for i in members),
        step_nm=step_nm,
        is_early=early,
        standing_nm=(min(in_centre(now)), max(in_centre(now))) if now else None,
        ceiling_nm=choice.ceiling_nm,
    )


def _is_early(seatings: Sequence[SeatingValues], choice: LinesChoice) -> bool:
    """Tell whether these seatings have too few setups, or all of one day."""
    if sum(len(seating.values_nm) for seating in seatings) < choice.early_setups:
        return True
    days = {day for seating in seatings for day in (seating.first_day, seating.last_day) if day}
    return bool(choice.early_setups) and len(days) == 1


def _why_of_lengths(halves: tuple[float, float], choice: LinesChoice, *, early: bool) -> list[str]:
    """Return why the lines lie where they lie, beside what the values say."""
    ask_half_nm, stop_half_nm = halves
    found = ["early"] if early else []
    if choice.least_ask_nm and ask_half_nm == choice.least_ask_nm:
        found.append("least_ask")
    if choice.stop_length_nm is not None and not early and stop_half_nm > choice.ceiling_nm >= ask_half_nm:
        found.append("ceiling_before_stop")
    return found


def inward_nm(half_width_nm: float, choice: LinesChoice, step_nm: int, display: Display) -> int:
    """Return the line of a half-width:
    within the ceiling, rounded inward, no narrower than a step of what is shown.

    A flip of the last digit is no difference. The ceiling wins over that as well.
    """
    if choice.ceiling_nm < step_nm:
        return round_inward_nm(choice.ceiling_nm, display)
    return math.floor(min(max(half_width_nm, step_nm), choice.ceiling_nm) / step_nm) * step_nm


def shown_step_nm(values: Sequence[Sequence[int]], display: Display) -> int:
    """Return the step that the last digit moves in: some displays go in fives (0.0005 in, 0.005 mm).

    It takes eight values of the latest seatings, all but one of them on fives, and on two of these at least.
    """
    latest = [value for seating in values[-LATEST_SEATINGS:] for value in seating[-LATEST:]]
    in_fives_nm = 5 * display.resolution_nm
    on_fives = [value for value in latest if value % in_fives_nm == 0]
    told = len(latest) >= LEAST_FOR_STEP and len(set(on_fives)) > 1
    return in_fives_nm if told and len(latest) - len(on_fives) <= 1 else display.resolution_nm


def _check_listed_once(history: Sequence[SeatingValues]) -> None:
    seen: set[str] = set()
    for seating in history:
        if seating.seating_id in seen:
            raise SeatingListedTwiceError(seating=seating.seating_id)
        seen.add(seating.seating_id)


def _half_width_nm(
    coverage: float,
    pooled: spread.Pooled | None,
    centre_variance: float,
    known_nm: float,
    step_nm: int,
    choice: LinesChoice,
) -> tuple[float, list[str]]:
    """Return the half-width before the ceiling, and the reasons for it. `known_nm` is k times u_B."""
    floor_nm = known_nm * math.sqrt(1 + centre_variance)
    reasons: list[str] = []
    half_width_nm = floor_nm
    if pooled is None or pooled.degrees_of_freedom < LEAST_DEGREES_OF_FREEDOM:
        reasons.append("floor_rules")
    else:
        # Equal values show no spread; a display of step q hides q/sqrt(12).
        predicted_nm = spread.prediction_half_width(
            max(pooled.s_nm, step_nm / math.sqrt(12)), pooled.degrees_of_freedom, centre_variance, coverage
        )
        half_width_nm = max(floor_nm, predicted_nm)
        if floor_nm > predicted_nm:
            reasons.append("floor_widens")
    if half_width_nm > choice.ceiling_nm:
        reasons.append("ceiling_narrows")
    return half_width_nm, reasons


def in_centre(values_nm: Sequence[int]) -> Sequence[int]:
    """Return the values that the centre of these is the middle of: the latest, without the one set aside."""
    return without_set_aside(values_nm)[-LATEST:]


def centre_nm(values_nm: Sequence[int], display: Display, step_nm: int | None = None) -> int:
    """Return the exact middle rounded once, half to even, to the display's step or the one it moves in."""
    step = step_nm or display.resolution_nm
    return round(Fraction(middle(values_nm), step)) * step


def _suspects(history: Sequence[SeatingValues]) -> Iterable[Suspect]:
    for seating in history:
        if len(seating.values_nm) < LEAST_FOR_SUSPECTS:
            continue
        test = spread.grubbs(seating.values_nm)
        if test.is_suspect:
            setup_id, value_nm = seating.setup_ids[test.index], seating.values_nm[test.index]
            yield Suspect(seating.seating_id, setup_id, value_nm, test.statistic, test.critical)


def verdict(value_nm: int, usual_now: Usual) -> Verdict:
    """Return `agrees` up to the ask line, `ask` up to the stop line, `stop` beyond;
    both lines belong inside.
    """
    if usual_now.centre_nm is None or usual_now.ask_nm is None or usual_now.stop_nm is None:
        return "ask"
    distance_nm = abs(value_nm - usual_now.centre_nm)
    if distance_nm <= usual_now.ask_nm:
        return "agrees"
    return "ask" if distance_nm <= usual_now.stop_nm else "stop"
