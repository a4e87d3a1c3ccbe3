"""Very many histories at once: what the program draws for each of them, in arrays.

A twin of `webapp.domain.usual` for normal counts of values, so that ten thousand histories take less than a
second. It decides nothing: a test holds centre, ask line, spread and degrees of freedom against the
program's, history by history. Values are whole nanometres, one row a history.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from webapp.domain.figures import alike, neighbours
from webapp.domain.figures.middle import MOST_FOR_MEDIAN, variance_of_middle
from webapp.domain.figures.spread import grubbs_critical
from webapp.domain.usual.usual import LATEST, LATEST_SEATINGS, LEAST_DEGREES_OF_FREEDOM, LEAST_FOR_STEP

Whole = NDArray[np.int64]
Numbers = NDArray[np.float64]
Yes = NDArray[np.bool_]
FAR = np.int64(2**62)


@dataclass(frozen=True)
class Seatings:
    """One seating of each history: values, of which the first `sizes` count."""

    values: Whole
    sizes: Whole

    @classmethod
    def of(cls, values: Whole) -> Seatings:
        """Return seatings that are full."""
        return cls(values, np.full(len(values), values.shape[1]))

    @property
    def counts(self) -> Yes:
        """Tell which values count."""
        found: Yes = np.arange(self.values.shape[1])[None, :] < self.sizes[:, None]
        return found

    def without(self, place: Whole) -> Seatings:
        """Return the seatings without the value at that place, -1 for none."""
        width = self.values.shape[1]
        gone = np.arange(width)[None, :] == place[:, None]
        order = np.argsort(gone, axis=1, kind="stable")
        return Seatings(np.take_along_axis(self.values, order, axis=1), self.sizes - (place >= 0))


@dataclass(frozen=True)
class Drawn:
    """What is drawn for each history: centre and ask line in nm, the spread and what it stands on."""

    centre_nm: Numbers
    ask_nm: Numbers
    s_nm: Numbers
    degrees: Numbers
    alone: Yes


def drawn(
    earlier: list[Seatings], now: Seatings, resolution_nm: Whole, u_b_nm: Numbers, ask_one_in: int = 100
) -> Drawn:
    """Return what the program draws: no ceiling, no least line;
    `resolution_nm` is that of each history's display.
    """
    seatings = [*earlier, now]
    step = shown_steps(seatings, resolution_nm)
    spread = _pooled(seatings, step)
    aside = set_aside(now, np.zeros_like(step))
    centre = middles(now.without(aside))
    n = now.values.shape[1]
    root = math.sqrt(1 + variance_of_middle(min(n, LATEST)))
    coverage = 1 - 1 / ask_one_in
    floor = float(special.ndtri((1 + coverage) / 2)) * u_b_nm * root
    known = spread.degrees >= LEAST_DEGREES_OF_FREEDOM
    t = special.stdtrit(np.where(known, spread.degrees, 1.0), (1 + coverage) / 2)
    half = np.maximum(floor, np.where(known, t * np.maximum(spread.s_nm, step / math.sqrt(12)) * root, 0.0))
    ask = np.floor(np.maximum(half, step) / step) * step
    return Drawn(np.rint(centre / step) * step, ask, spread.s_nm, spread.degrees, spread.alone)


def shown_steps(seatings: list[Seatings], resolution_nm: Whole) -> Whole:
    """Return the step that each history's last digit moves in."""
    latest = [
        np.where(
            one.counts & (np.arange(one.values.shape[1])[None, :] >= one.sizes[:, None] - LATEST),
            one.values,
            FAR,
        )
        for one in seatings[-LATEST_SEATINGS:]
    ]
    values = np.concatenate(latest, axis=1)
    counts = values != FAR
    on_fives = counts & (values % (5 * resolution_nm)[:, None] == 0)
    fives = np.where(on_fives, values, FAR)
    lowest = fives.min(axis=1)
    several = on_fives.any(axis=1) & np.any(on_fives & (values != lowest[:, None]), axis=1)
    told = (counts.sum(axis=1) >= LEAST_FOR_STEP) & several
    found: Whole = np.where(
        told & (counts.sum(axis=1) - on_fives.sum(axis=1) <= 1), 5 * resolution_nm, resolution_nm
    )
    return found


def set_aside(one: Seatings, step: Whole) -> Whole:
    """Return the place of the value that is set aside in each history, -1 for none.

    Seatings that are not full hold more values than are ever set one aside from.
    """
    n = one.values.shape[1]
    none: Whole = np.full(len(one.values), -1)
    if not neighbours.LEAST_FOR_SETTING_ASIDE <= n <= neighbours.MOST_FOR_SETTING_ASIDE:
        return none
    values = one.values.astype(np.float64)
    away = np.abs(values - values.mean(axis=1, keepdims=True))
    place = away.argmax(axis=1)
    deviation = values.std(axis=1, ddof=1)
    beyond = away.max(axis=1) > grubbs_critical(n, neighbours.SET_ASIDE_LEVEL) * deviation
    itself = np.take_along_axis(one.values, place[:, None], axis=1)
    others = np.where(np.arange(n)[None, :] == place[:, None], FAR, np.abs(one.values - itself))
    far = others.min(axis=1) > neighbours.STEPS_OF_ROUNDING * step
    found: Whole = np.where(beyond & far & (deviation > 0), place, none)
    return found


def middles(one: Seatings) -> Numbers:
    """Return the middle of the latest values of each history."""
    found = np.empty(len(one.values))
    for size in np.unique(one.sizes):
        rows = one.sizes == size
        values = one.values[rows, max(0, size - LATEST) : size].astype(np.float64)
        if min(size, LATEST) > MOST_FOR_MEDIAN:
            first, second = np.triu_indices(values.shape[1])
            values = (values[:, first] + values[:, second]) / 2
        found[rows] = np.median(values, axis=1)
    return found


@dataclass(frozen=True)
class _Kept:
    total: Numbers
    count: Numbers

    @property
    def degrees(self) -> Numbers:
        found: Numbers = np.where(
            self.count > 0, neighbours.DEGREES_EACH * self.count + neighbours.DEGREES_MORE, 0.0
        )
        return found


@dataclass(frozen=True)
class _Spread:
    s_nm: Numbers
    degrees: Numbers
    alone: Yes


def twice_medians(lengths: Whole, counts: Yes) -> Whole:
    """Return twice the median of the lengths that count, 0 where none do."""
    if not lengths.shape[1]:
        return np.zeros(len(lengths), dtype=np.int64)
    ordered = np.sort(np.where(counts, lengths, FAR), axis=1)
    number = counts.sum(axis=1)
    places = np.maximum(0, np.stack([(number - 1) // 2, number // 2], axis=1))
    found: Whole = np.where(number > 0, np.take_along_axis(ordered, places, axis=1).sum(axis=1), 0)
    return found


def _kept(lengths: Whole, counts: Yes, step: Whole, twice: Whole, *, own: bool) -> _Kept:
    number = counts.sum(axis=1)
    sizes = np.unique(number)
    cuts = np.array([neighbours.cut_deviations(max(1, int(size))) for size in sizes])[
        np.searchsorted(sizes, number)
    ]
    thousandths = np.rint(neighbours.THOUSANDTHS_OF_A_DEVIATION * cuts).astype(np.int64)
    near = counts & (lengths <= (thousandths * (twice + step) // 2000)[:, None])
    share = np.where(twice > 0, _shares(cuts * (twice + step) / np.maximum(twice, 1)), 1.0)
    if own:
        lost = 1 - _shares(cuts)
        cut = np.where(lost > 0, (1 - share) / np.where(lost > 0, lost, 1.0), 0.0)
        share -= (
            np.rint(1e5 * neighbours.MORE_CUT_BY_OWN_MEDIAN * cut / (number + neighbours.MORE_OF_THEM)) / 1e5
        )
    return _Kept(
        (near * lengths.astype(np.float64) ** 2).sum(axis=1) / 2 / share, near.sum(axis=1).astype(np.float64)
    )


def _shares(deviations: Numbers) -> Numbers:
    density = np.exp(-(deviations**2) / 2) / math.sqrt(2 * math.pi)
    within = special.erf(deviations / math.sqrt(2))
    found: Numbers = np.rint(1e5 * (1 - 2 * deviations * density / within)) / 1e5
    return found


class _Judged:
    """One seating of each history: its differences, and the variance that it is judged by."""

    def __init__(self, one: Seatings, step: Whole) -> None:
        counted = one.without(set_aside(one, step))
        self.size = one.sizes
        self.lengths = np.abs(np.diff(counted.values, axis=1))
        self.counts = np.arange(self.lengths.shape[1])[None, :] < counted.sizes[:, None] - 1
        twice = twice_medians(self.lengths, self.counts)
        self.own = _kept(self.lengths, self.counts, step, twice, own=True)
        squares, degrees = _within_runs(counted, self.lengths, self.counts, twice, step)
        few = one.sizes <= alike.MOST_TESTED_WITHIN_RUNS
        self.degrees = np.where(few, degrees, self.own.degrees)
        variance = np.where(
            few, squares / np.maximum(degrees, 1), self.own.total / np.maximum(self.own.count, 1)
        )
        self.variance = np.where(self.degrees > 0, variance, 0.0)


def _within_runs(
    counted: Seatings, lengths: Whole, counts: Yes, twice: Whole, step: Whole
) -> tuple[Numbers, Numbers]:
    far = counts & (lengths > (neighbours.RUN_CUT_THOUSANDTHS * (twice + step) // 2000)[:, None])
    run = np.concatenate([np.zeros((len(far), 1), dtype=np.int64), np.cumsum(far, axis=1)], axis=1)
    values = (counted.values - counted.values[:, :1]).astype(np.float64)
    inside = counted.counts
    squares = (inside * values**2).sum(axis=1)
    for number in range(int(run.max()) + 1):
        mine = inside & (run == number)
        squares -= (mine * values).sum(axis=1) ** 2 / np.maximum(mine.sum(axis=1), 1)
    degrees = counted.sizes - 1 - far.sum(axis=1)
    return np.maximum(squares, 0.0), np.maximum(degrees, 0).astype(np.float64)


def _pooled(seatings: list[Seatings], step: Whole) -> _Spread:
    parts = [_Judged(one, step) for one in seatings]
    known = np.stack([one.sizes > 1 for one in seatings], axis=1)
    variance = np.stack([one.variance for one in parts], axis=1)
    degrees = np.stack([one.degrees for one in parts], axis=1)
    members = _alike(known, variance, degrees, step)
    alone = _scatters_more(members, variance, degrees, parts[-1].own.degrees, step)
    only = np.zeros_like(members)
    only[:, -1] = True
    members = np.where(alone[:, None], only, members)
    scale = _common_scale(parts, members)
    total, count, all_degrees = np.zeros(len(step)), np.zeros(len(step)), np.zeros(len(step))
    for place, one in enumerate(parts):
        many = one.counts.sum(axis=1) >= alike.LEAST_WITH_OWN_MEDIAN
        other = _kept(one.lengths, one.counts, step, scale, own=False)
        inside = members[:, place]
        total += inside * np.where(many, one.own.total, other.total)
        count += inside * np.where(many, one.own.count, other.count)
        all_degrees += inside * np.where(many, one.own.degrees, other.degrees)
    s_nm = np.sqrt(np.where(count > 0, total / np.maximum(count, 1), 0.0))
    return _Spread(s_nm, all_degrees, alone)


def _alike(known: Yes, variance: Numbers, degrees: Numbers, step: Whole) -> Yes:
    members, current = known.copy(), known.shape[1] - 1
    active = members.sum(axis=1) > 1
    while active.any():
        above, below, ratio = _tests(members, variance, degrees, step)
        p_value = np.minimum(1.0, 2 * np.minimum(above, below))
        others = (members * degrees).sum(axis=1, keepdims=True) - degrees
        tested = members & (np.minimum(degrees, others) >= alike.LEAST_DEGREES_TO_DIFFER)
        p_value = np.where(tested, p_value, 2.0)
        most = np.where(tested & (p_value == p_value.min(axis=1, keepdims=True)), np.abs(np.log(ratio)), -1.0)
        differs = most.argmax(axis=1)
        size = members.sum(axis=1)
        made = np.where(size == 2, 1, np.maximum(1, tested.sum(axis=1)))
        active &= (p_value.min(axis=1) < alike.VARIANCE_TEST_LEVEL / made) & tested.any(axis=1)
        rows = np.flatnonzero(active)
        last = members.shape[1] - 1 - members[:, ::-1].argmax(axis=1)
        keep_one = (size == 2) | (differs == current)
        kept_place = np.where(size == 2, np.where(members[:, current], current, last), current)
        for row in rows:
            if keep_one[row]:
                members[row] = False
                members[row, kept_place[row]] = True
            else:
                members[row, differs[row]] = False
        active &= members.sum(axis=1) > 1
    return members


def _tests(
    members: Yes, variance: Numbers, degrees: Numbers, step: Whole
) -> tuple[Numbers, Numbers, Numbers]:
    """Return the F test of each seating against the other members: above, below, and the ratio."""
    rounding = (step.astype(np.float64) ** 2 / 12)[:, None]
    weighed = members * degrees
    others = weighed.sum(axis=1, keepdims=True) - weighed
    squares = weighed * variance
    together = (squares.sum(axis=1, keepdims=True) - squares) / np.where(others > 0, others, 1.0)
    ratio = (variance + rounding) / (np.maximum(together, 0.0) + rounding)
    one, other = np.maximum(degrees, 1e-9), np.maximum(others, 1e-9)
    return special.fdtrc(one, other, ratio), special.fdtr(one, other, ratio), ratio


def _scatters_more(members: Yes, variance: Numbers, degrees: Numbers, own: Numbers, step: Whole) -> Yes:
    above, _, _ = _tests(members, variance, degrees, step)
    others = (members * degrees).sum(axis=1) - degrees[:, -1]
    least = np.minimum(np.minimum(degrees[:, -1], own), others)
    found: Yes = (
        members[:, -1]
        & (least >= alike.LEAST_DEGREES_TO_STAND_ALONE)
        & (above[:, -1] < alike.SCATTERS_MORE_LEVEL)
    )
    return found


def _common_scale(parts: list[_Judged], members: Yes) -> Whole:
    lengths = np.concatenate([one.lengths for one in parts], axis=1)
    counts = np.concatenate([one.counts & members[:, place, None] for place, one in enumerate(parts)], axis=1)
    return twice_medians(lengths, counts)
