"""Which seatings of a fixture scatter alike, and the spread that they give together.

Rules of this module:
- How setups scatter is a property of the fixture, so it is pooled over its seatings; what each says comes
  from its neighbours (see `neighbours`). Of fewer than five differences, which hold no good median, the
  median of all pooled differences says which are kept.
- One after the other, the seating that differs most from the pooled others is left out, until none differs: F
  test, two-sided, at 1 % over all that are tested (Bonferroni), where both sides know at least five degrees
  of freedom. With fewer, two values that happen to agree would make a seating look so still that its lines
  ask about every touch.
- The present seating stands alone as soon as it scatters more than the pooled others at 15 % of a one-sided F
  test: a line that is drawn from quiet years asks about everything, and one too wide by a few per cent costs
  little.
- Where a seating has no more than twenty values, its sample variance within runs is what is tested, else that
  of its neighbours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from webapp.domain.figures.neighbours import Differences, Lengths, distances, kept, twice_median, within_runs
from webapp.domain.figures.spread import Pooled, VarianceTest, variance_test

VARIANCE_TEST_LEVEL = 0.01
LEAST_DEGREES_TO_DIFFER = 5
SCATTERS_MORE_LEVEL = 0.15
LEAST_DEGREES_TO_STAND_ALONE = 2
MOST_TESTED_WITHIN_RUNS = 20
LEAST_WITH_OWN_MEDIAN = 5
MOST_OF_EACH_IN_COMMON_MEDIAN = 200


@dataclass(frozen=True)
class _Seating:
    """One seating's differences, and the variance that it is judged by."""

    values: Sequence[int]
    resolution_nm: int

    @cached_property
    def lengths(self) -> Lengths:
        return distances(self.values, self.resolution_nm)

    @cached_property
    def own(self) -> Differences:
        return kept(self.lengths, self.resolution_nm)

    @cached_property
    def judged(self) -> Pooled:
        if len(self.values) > MOST_TESTED_WITHIN_RUNS:
            return Pooled(self.own.of_variance / self.own.count, self.own.degrees_of_freedom, ())
        squares, degrees = within_runs(self.values, self.resolution_nm)
        return Pooled(squares / degrees if degrees else Fraction(0), degrees, ())


def pool_alike(seatings: Sequence[Sequence[int]], current: int, resolution_nm: int) -> Pooled | None:
    """Return the spread that holds for the seating `current`: alone, or pooled with those that scatter alike.

    Seatings are in order of time. Of two that are left and differ, the older one is left out,
    unless it is the current one. None where no seating has two values.
    """
    known = {i: _Seating(values, resolution_nm) for i, values in enumerate(seatings) if len(values) > 1}
    if not known:
        return None
    members = _alike(known, current, resolution_nm)
    if current in members and _scatters_more(known, members, current, resolution_nm):
        members = [current]
    return _together(known, members, resolution_nm)


def _alike(known: dict[int, _Seating], current: int, resolution_nm: int) -> list[int]:
    members = list(known)
    while len(members) > 1:
        tests = _judged(known, members, resolution_nm)
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
    return members


def _tests_made(members: int, judged: int) -> int:
    """Return how many tests are made at once: two are each other's."""
    return 1 if members == 2 else judged


def _judged(
    known: dict[int, _Seating], members: Sequence[int], resolution_nm: int
) -> dict[int, VarianceTest]:
    """Return the test of each seating against the others together,
    where both sides know enough to be judged.
    """
    tests = {}
    for i in members:
        one, others = known[i].judged, _judged_together(known, members, i)
        if min(one.degrees_of_freedom, others.degrees_of_freedom) >= LEAST_DEGREES_TO_DIFFER:
            tests[i] = variance_test(one, others, resolution_nm)
    return tests


def _judged_together(known: dict[int, _Seating], members: Sequence[int], without: int) -> Pooled:
    judged = [known[i].judged for i in members if i != without and known[i].judged.degrees_of_freedom]
    degrees = sum(one.degrees_of_freedom for one in judged)
    total = sum((one.variance * Fraction(one.degrees_of_freedom) for one in judged), Fraction(0))
    return Pooled(total / Fraction(degrees) if degrees else Fraction(0), degrees, ())


def _scatters_more(
    known: dict[int, _Seating], members: Sequence[int], current: int, resolution_nm: int
) -> bool:
    """Tell whether the present seating scatters more than the others, and knows enough to stand alone."""
    one, others = known[current].judged, _judged_together(known, members, current)
    own = known[current].own.degrees_of_freedom
    if min(one.degrees_of_freedom, own, others.degrees_of_freedom) < LEAST_DEGREES_TO_STAND_ALONE:
        return False
    return variance_test(one, others, resolution_nm).above < SCATTERS_MORE_LEVEL


def _together(known: dict[int, _Seating], members: Sequence[int], resolution_nm: int) -> Pooled:
    scale_nm = _common_scale(known, members)
    counted = [
        known[i].own
        if len(known[i].lengths) >= LEAST_WITH_OWN_MEDIAN
        else kept(known[i].lengths, resolution_nm, scale_nm)
        for i in members
    ]
    count = sum(one.count for one in counted)
    total = sum((one.of_variance for one in counted), Fraction(0))
    degrees = sum(one.degrees_of_freedom for one in counted)
    return Pooled(total / count if count else Fraction(0), degrees, tuple(members))


def _common_scale(known: dict[int, _Seating], members: Sequence[int]) -> int:
    """Return twice the median of the members' latest differences."""
    return twice_median(np.concatenate([known[i].lengths[-MOST_OF_EACH_IN_COMMON_MEDIAN:] for i in members]))
