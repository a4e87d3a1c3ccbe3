"""Checks of probes on a ring:
what is said of three lobes, how often the radius is right, chords beside the middle.

A display of 0.001 mm; touches scatter from nothing to eight of its steps; the ring's middle lies anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from tests.quality.rows import Row
from webapp.domain.probe.ring_check import Known, RingCheck, from_diametral, from_points

RING_NM, EFFECTIVE_NM, STEP_NM = 50_000_000, 2_996_000, 1_000
PATH_NM = RING_NM / 2 - EFFECTIVE_NM
KNOWN = Known(step_nm=STEP_NM, u_probe_nm=500)
SCATTERS_NM = (0, 300, 1_500, 8_000)
LOBES_NM, LOBES_SCATTER_NM = 5_000, 300


def shown(value_nm: float) -> int:
    return int(np.rint(value_nm / STEP_NM)) * STEP_NM


def all_round(chance: np.random.Generator, count: int, amplitude_nm: float, scatter_nm: float) -> RingCheck:
    """A check of so many places, on a probe with three lobes of this amplitude that stand anyhow."""
    x, y = chance.uniform(-3e8, -2e8, 2)
    phase, places = chance.uniform(0, 2 * math.pi), []
    for turn in np.arange(count) * 2 * math.pi / count:
        radius = PATH_NM + amplitude_nm * math.cos(3 * turn + phase)
        dx, dy = chance.normal(0, scatter_nm, 2)
        places.append(
            (float(shown(x + radius * math.cos(turn) + dx)), float(shown(y + radius * math.sin(turn) + dy)))
        )
    return from_points(places, RING_NM, "ring", 0, KNOWN)


def two_on_each_axis(chance: np.random.Generator, scatter_nm: float, beside_nm: float = 0.0) -> RingCheck:
    """A check of two touches on each axis, those on Y so far beside the middle."""
    x, y = chance.uniform(-3e8, -2e8, 2)
    half = {"X": PATH_NM, "Y": math.sqrt(PATH_NM**2 - beside_nm**2)}
    ends = {}
    for axis, at in (("X", x), ("Y", y)):
        low, high = (shown(at + side * half[axis] + chance.normal(0, scatter_nm)) for side in (-1, 1))
        ends[axis] = (low, high)
    return from_diametral(ends, RING_NM, "ring", 0, KNOWN)


def held(found: list[RingCheck]) -> float:
    return sum(abs(one.effective_radius_nm - EFFECTIVE_NM) <= (one.expanded_nm or 0) for one in found) / len(
        found
    )


def _share(what: str, share: float, count: int, low: float | None = None, high: float | None = None) -> Row:
    return Row(7, what, 100 * share, low, high, 100 * math.sqrt(share * (1 - share) / count))


def rows(count: int, seed: int) -> Iterator[Row]:
    """The figures of a probe's check, with their bounds; a bound of 95 leaves three standard errors below."""
    chance = np.random.default_rng([seed, 7])
    says = {4: "cannot_show", 5: "not_how", 6: "may_miss", 7: "named", 8: "named", 12: "named"}
    for places, form in says.items():
        found = [all_round(chance, places, LOBES_NM, LOBES_SCATTER_NM) for _ in range(count)]
        right = (
            sum(one.form == form and one.lobes == (3 if form == "named" else None) for one in found) / count
        )
        yield _share(
            f"three lobes, {places} places: {form.replace('_', ' ')}, per cent", right, count, low=95
        )
    for places in (7, 8, 12):
        found = [all_round(chance, places, 0, 1_000) for _ in range(count)]
        wrong = sum(one.form == "named" for one in found) / count
        yield _share(
            f"round, {places} places: lobes named, per cent",
            wrong,
            count,
            high=5 + 300 * math.sqrt(0.05 * 0.95 / count),
        )
    low = 95 - 300 * math.sqrt(0.05 * 0.95 / count)
    for places in (4, 5, 6, 8, 12):
        worst = min(
            held([all_round(chance, places, 0, scatter) for _ in range(count)]) for scatter in SCATTERS_NM
        )
        yield _share(
            f"{places} places: radius within what is stated, worst scatter, per cent", worst, count, low=low
        )
    found = [two_on_each_axis(chance, scatter) for scatter in SCATTERS_NM for _ in range(count)]
    worst = min(held(found[at * count : (at + 1) * count]) for at in range(len(SCATTERS_NM)))
    yield _share(
        "two on each axis: radius within what is stated, worst scatter, per cent", worst, count, low=low
    )
    nothing = sum(one.uncertainty_nm == 0 for one in found) / len(found)
    yield _share("two on each axis: stated uncertainty is zero, per cent", nothing, len(found), high=0)
    chords = [two_on_each_axis(chance, LOBES_SCATTER_NM, 1_000_000) for _ in range(count)]
    yield _share(
        "Y 1 mm beside the middle: found, per cent",
        sum(one.chord_axis == "Y" for one in chords) / count,
        count,
        low=99,
    )
