"""How soon a moved vise is signalled, and how often a steady one is signalled falsely.

Detection runs the program's own charts. False signals need very long runs: there the same recursion runs over
many charts at once in arrays, and a test holds it against the program's charts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.quality.run_length import PUBLISHED, ewma_run_length, individuals_run_length
from webapp.domain.usual.drift import BASELINE, D2, WEIGHT, ChartLimits, DatedValue, chart

WITHIN = 8
KINDS = ("individuals", "ewma", "either")
MOST_SETUPS = 20_000


@dataclass(frozen=True)
class Seen:
    """The share of shifts that are signalled within eight setups, by chart, and its standard error."""

    shift: float
    share: dict[str, float]
    error: float


def dated(values: np.ndarray) -> list[DatedValue]:
    """Values in sigma as setups of 10 um sigma, in order."""
    return [
        DatedValue(f"s{place:06}", f"2026-01-01T00:00:{place:06}Z", round(float(value) * 10_000))
        for place, value in enumerate(values)
    ]


def detection(shift: float, counted: int, seed: int) -> Seen:
    """Move a vise by so many spreads after 30 setups, and look for a signal in the eight that follow."""
    chance = np.random.default_rng([seed, round(shift * 100)])
    seen = dict.fromkeys(KINDS, 0)
    for _ in range(counted):
        values = chance.standard_normal(BASELINE + WITHIN)
        values[BASELINE:] += shift
        found = chart(dated(values), hidden_nm=1000 / math.sqrt(12))
        signalled = {
            one.kind for one in found.signals if one.last >= BASELINE and one.shift_nm * shift > 0
        } & {"individuals", "ewma"}
        for kind in signalled:
            seen[kind] += 1
        seen["either"] += bool(signalled)
    share = {kind: count / counted for kind, count in seen.items()}
    return Seen(shift, share, math.sqrt(share["either"] * (1 - share["either"]) / counted))


def first_signals(
    values: np.ndarray, centre: np.ndarray, sigma: np.ndarray, limits: ChartLimits
) -> dict[str, np.ndarray]:
    """The number of setups until the first signal of each chart, along the second axis; its length
    where there is none.
    """
    z = (values - centre[:, None]) / sigma[:, None]
    average, averages = np.zeros(len(z)), np.empty_like(z)
    for place in range(z.shape[1]):
        average = WEIGHT * z[:, place] + (1 - WEIGHT) * average
        averages[:, place] = average
    beyond = {
        "individuals": np.abs(z) > limits.individuals,
        "ewma": np.abs(averages) > limits.ewma * math.sqrt(WEIGHT / (2 - WEIGHT)),
    }
    beyond["either"] = beyond["individuals"] | beyond["ewma"]
    return {
        kind: np.where(hit.any(axis=1), hit.argmax(axis=1) + 1, z.shape[1]) for kind, hit in beyond.items()
    }


@dataclass(frozen=True)
class RunLength:
    """Mean and middle run length, the share of charts with a false signal within 100 setups, the
    standard error of the mean.
    """

    kind: str
    known: bool
    mean: float
    error: float
    middle: float
    within_100: float


def run_lengths(counted: int, seed: int, *, known: bool, limits: ChartLimits = PUBLISHED) -> list[RunLength]:
    """False signals of a steady vise; with centre and sigma known, or from its first 30 setups."""
    chance = np.random.default_rng([seed, known])
    lengths: dict[str, list[np.ndarray]] = {kind: [] for kind in KINDS}
    for start in range(0, counted, 50):
        many = min(50, counted - start)
        centre, sigma = np.zeros(many), np.ones(many)
        if not known:
            first = chance.standard_normal((many, BASELINE))
            centre, sigma = first.mean(axis=1), np.abs(np.diff(first, axis=1)).mean(axis=1) / D2
        for kind, found in first_signals(
            chance.standard_normal((many, MOST_SETUPS)), centre, sigma, limits
        ).items():
            lengths[kind].append(found)
    rows = []
    for kind, parts in lengths.items():
        found = np.concatenate(parts)
        rows.append(
            RunLength(
                kind,
                known,
                float(found.mean()),
                float(found.std() / math.sqrt(len(found))),
                float(np.median(found)),
                float((found <= 100).mean()),
            )
        )
    return rows


def published() -> dict[str, float]:
    """The run lengths with known parameters: 370.4, 500 (Lucas and Saccucci), and both together by the
    Markov chain.
    """
    return {
        "individuals": individuals_run_length(),
        "ewma": ewma_run_length(WEIGHT, PUBLISHED.ewma),
        "either": ewma_run_length(WEIGHT, PUBLISHED.ewma, individuals_limit=PUBLISHED.individuals),
    }
