"""Mean, spread and suspects of repeated values.

Rules of this module:
- Sums are exact: values are whole nanometres (or fractions), so mean and variance are exact fractions, and
  only the last step, a square root, rounds. Far-off means lose no digits (NIST StRD univariate sets NumAcc1
  to NumAcc4).
- Within a seating, deviations count from the mean of stretches of 20 values, from the latest backwards: a vise that
  creeps does not widen its own lines. Means and deviations within stretches are independent, so Student's t holds
  exactly.
- Spread is pooled over seatings: s^2 = sum of squares / degrees of freedom, both summed over the seatings.
- A seating whose variance differs stands alone: two-sided F test against the pooled others, at 1 % over all the tests
  that are made (NIST/SEMATECH e-Handbook 1.3.5.9; Bonferroni). A display rounds what it shows, so q^2/12 of its step
  q is added to both variances first: else two equal readings would pass for a fixture without any spread.
- Only what has five degrees of freedom is judged by that test, on both sides. With fewer, chance makes a seating
  look so still (two values that happen to agree) that its lines, drawn from itself alone, would ask about nearly
  every touch.
- Grubbs' test points at one suspect (NIST/SEMATECH e-Handbook 1.3.5.17.1; Grubbs and Beck 1972). It is a hint
  only.
- Quantiles come from scipy.special, whose import is light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scipy import special

from webapp.domain.figures.exact_sums import times_n_squares, times_n_squares_in_pieces
from webapp.domain.plain.errors import TooFewValuesError

VARIANCE_TEST_LEVEL = 0.01
LEAST_DEGREES_TO_DIFFER = 5
STRETCH = 20
SUSPECT_LEVEL = 0.05
# A thousand times what sixty lines' sums can lose, and far below anything that degrees of freedom are known to.
ROUNDING = 1e-11


def mean(values: Sequence[int | Fraction]) -> Fraction:
    """Return the exact mean. Raises `TooFewValuesError` for no value."""
    if not values:
        raise TooFewValuesError(n=0, least=1)
    return Fraction(sum(values)) / len(values)


def squares(values: Sequence[int | Fraction]) -> Fraction:
    """Return the exact sum of squared deviations from the mean; 0 for one value or none."""
    if len(values) < 2:
        return Fraction(0)
    return Fraction(times_n_squares(values)) / len(values)


def standard_deviation(values: Sequence[int | Fraction]) -> float:
    """Return the sample standard deviation (divisor n - 1). Raises `TooFewValuesError` below two values."""
    if len(values) < 2:
        raise TooFewValuesError(n=len(values), least=2)
    return math.sqrt(squares(values) / (len(values) - 1))


@dataclass(frozen=True)
class Pooled:
    """A variance in nm^2, exact, its degrees of freedom, and the indices of the seatings it stands on."""

    variance: Fraction
    degrees_of_freedom: int
    members: tuple[int, ...]

    @property
    def s_nm(self) -> float:
        """Return the standard deviation in nanometres."""
        return math.sqrt(self.variance)


def pool(seatings: Sequence[Sequence[int]], members: Sequence[int]) -> Pooled:
    """Return the pooled variance of the named seatings, which need one degree of freedom between them."""
    lengths = [len(seatings[i]) for i in members]
    degrees = sum(length - math.ceil(length / STRETCH) for length in lengths)
    if degrees < 1:
        raise TooFewValuesError(n=max(lengths, default=0), least=2)
    total = sum((_squares_within_stretches(seatings[i]) for i in members), Fraction(0))
    return Pooled(total / degrees, degrees, tuple(members))


def _squares_within_stretches(values: Sequence[int]) -> Fraction:
    """Return squared deviations within stretches of 20, counted from the latest; the oldest stretch may be shorter."""
    oldest = len(values) % STRETCH
    whole = times_n_squares_in_pieces(values[oldest:], STRETCH)
    return squares(values[:oldest]) + Fraction(whole, STRETCH)


def pool_alike(seatings: Sequence[Sequence[int]], current: int, resolution_nm: int) -> Pooled | None:
    """Return the spread that holds for the seating `current`: alone, or pooled with those that scatter alike.

    Seatings are in order of time. One after the other, the seating that differs most from the pooled others is
    set aside, until none differs at 1 %; when that is the current one, it stands alone. Of two that are left and
    differ, the older one is set aside, unless it is the current one. A seating of fewer than six values is never
    judged. None where no seating has two values.
    """
    members = [i for i, values in enumerate(seatings) if len(values) >= 2]
    alone = {i: pool(seatings, [i]) for i in members}
    while len(members) > 1:
        tests = _judged(alone, members, resolution_nm)
        differs = min(tests, key=lambda i: (tests[i].p_value, -abs(math.log(tests[i].ratio))), default=None)
        if differs is None or tests[differs].p_value >= VARIANCE_TEST_LEVEL / _tests_made(
            len(members), len(tests)
        ):
            break
        if len(members) == 2:
            members = [current if current in members else members[-1]]
        elif differs == current:
            members = [current]
        else:
            members.remove(differs)
    return _together(alone, members) if members else None


def _tests_made(members: int, judged: int) -> int:
    """Return how many tests are made at once, so that all together stay at the level (Bonferroni): two
    are each other's.
    """
    return 1 if members == 2 else judged


def _judged(alone: dict[int, Pooled], members: Sequence[int], resolution_nm: int) -> dict[int, VarianceTest]:
    """Return the test of each seating against the pooled others, where both sides know enough to be judged."""
    tests = {}
    for i in members:
        others = _together(alone, members, i)
        if min(alone[i].degrees_of_freedom, others.degrees_of_freedom) >= LEAST_DEGREES_TO_DIFFER:
            tests[i] = variance_test(alone[i], others, resolution_nm)
    return tests


def _together(alone: dict[int, Pooled], members: Sequence[int], without: int | None = None) -> Pooled:
    kept = [i for i in members if i != without]
    degrees = sum(alone[i].degrees_of_freedom for i in kept)
    total = sum((alone[i].variance * alone[i].degrees_of_freedom for i in kept), Fraction(0))
    return Pooled(total / degrees, degrees, tuple(kept))


@dataclass(frozen=True)
class VarianceTest:
    """The ratio of two variances and the two-sided p-value of the F test that they are equal."""

    ratio: float
    p_value: float


def variance_test(one: Pooled, other: Pooled, resolution_nm: int) -> VarianceTest:
    """Return the F test of two variances, each widened by q^2/12 of the display's step q."""
    rounding = Fraction(resolution_nm**2, 12)
    ratio = float((one.variance + rounding) / (other.variance + rounding))
    low = float(special.fdtr(one.degrees_of_freedom, other.degrees_of_freedom, ratio))
    high = float(special.fdtrc(one.degrees_of_freedom, other.degrees_of_freedom, ratio))
    return VarianceTest(ratio, min(1.0, 2 * min(low, high)))


def t_quantile(coverage: float, degrees_of_freedom: float) -> float:
    """Return t such that the two-sided coverage lies between -t and t (Student)."""
    return float(special.stdtrit(degrees_of_freedom, (1 + coverage) / 2))


def whole_degrees(degrees_of_freedom: float) -> int:
    """Return the whole degrees of freedom that a table of t is entered with: the next whole number below, at least 1.

    Sums of floating numbers fall short of a whole number by a few parts in 10^16, and by others in another unit (JCGM
    100:2008, G.4.1, note 1, means the number itself): what lies within ROUNDING of itself below one is that one.
    """
    return max(1, math.floor(degrees_of_freedom * (1 + ROUNDING)))


def normal_quantile(coverage: float) -> float:
    """Return z such that the two-sided coverage lies between -z and z (standard normal)."""
    return float(special.ndtri((1 + coverage) / 2))


def prediction_half_width(s: float, degrees_of_freedom: float, n: int, coverage: float) -> float:
    """Return the half-width for one more value beside the mean of n: t * s * sqrt(1 + 1/n).

    Source: normal theory for one future observation (Hahn and Meeker, Statistical Intervals, section 4.6).
    """
    return t_quantile(coverage, degrees_of_freedom) * s * math.sqrt(1 + 1 / n)


@dataclass(frozen=True)
class Grubbs:
    """The value farthest from the mean: its place, its distance in standard deviations, and the critical distance."""

    index: int
    statistic: float
    critical: float

    @property
    def is_suspect(self) -> bool:
        """Tell whether chance alone does not explain the distance at the chosen level."""
        return self.statistic > self.critical


def grubbs_critical(n: int, level: float = SUSPECT_LEVEL, sides: int = 2) -> float:
    """Return the critical value of Grubbs' statistic for n >= 3 values; `sides` is 1 for one named end, else 2."""
    if n < 3:
        raise TooFewValuesError(n=n, least=3)
    t = float(special.stdtrit(n - 2, 1 - level / (sides * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def grubbs(values: Sequence[int | Fraction], level: float = SUSPECT_LEVEL) -> Grubbs:
    """Return Grubbs' two-sided test of the farthest value. Raises `TooFewValuesError` below three values."""
    critical = grubbs_critical(len(values), level)
    centre, variance = mean(values), squares(values) / (len(values) - 1)
    # The farthest value is an end of the range; of two as far, the first.
    ends = {values.index(min(values)), values.index(max(values))}
    index = max(sorted(ends), key=lambda i: abs(values[i] - centre))
    distance = abs(values[index] - centre)
    statistic = math.sqrt(distance**2 / variance) if variance else 0.0
    return Grubbs(index, statistic, critical)
