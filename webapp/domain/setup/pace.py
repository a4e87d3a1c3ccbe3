"""Pace: which steps were done faster than the shop does them and faster than they can be read.
It marks, it does not accuse.

Rules of this module:
- Times on a step are taken as lognormal, kind of step by kind (common practice, no source).
- The shop's first percentile for one more time: exp(mean - t s sqrt(1 + 1/n)) of the logs,
  t one-sided at 1 % (the same normal theory as for lengths). Below 20 times of the shop nothing is said.
- Reading time: words over a fast reader's rate. Silent reading of plain prose lies near 240 words a minute
  (Brysbaert, Journal of Memory and Language 109, 2019; from memory); the shipped 480 is twice that, so that
  only what nobody reads is marked.
- A step is marked below both. A time of zero counts as one millisecond.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from webapp.domain.figures import special
from webapp.domain.plain.errors import DomainError

FIRST_PERCENTILE = 0.01
LEAST_TIMES = 20
WORDS_PER_MINUTE = 480


class PaceError(DomainError):
    """A time or a rate cannot be."""


class PaceTimeNegativeError(PaceError):
    """A step took less than no time."""

    code = "pace.time_negative"
    field_names = ("step", "milliseconds")


class ReadingRateError(PaceError):
    """A reading rate is not above zero."""

    code = "pace.reading_rate"
    field_names = ("words_per_minute",)


@dataclass(frozen=True)
class StepTime:
    """How long a step stood on the tablet before it was closed; `words` is how many words it holds."""

    step: str
    kind: str
    milliseconds: int
    words: int

    def __post_init__(self) -> None:
        if self.milliseconds < 0:
            raise PaceTimeNegativeError(step=self.step, milliseconds=self.milliseconds)


@dataclass(frozen=True)
class KindPace:
    """The shop's times of one kind of step:
    how many, the middle one and the first percentile, in milliseconds.
    """

    times: int
    middle_ms: float
    first_percentile_ms: float | None


@dataclass(frozen=True)
class MarkedStep:
    """A step with the shop's pace beside it. `reading_ms` is what reading it takes a fast reader."""

    step: str
    kind: str
    milliseconds: int
    reading_ms: float
    shop: KindPace | None
    is_marked: bool


def shop_pace(times: Iterable[StepTime]) -> dict[str, KindPace]:
    """Return the shop's pace by kind of step."""
    logs: dict[str, list[float]] = {}
    for time in times:
        logs.setdefault(time.kind, []).append(math.log(max(1, time.milliseconds)))
    return {kind: _kind(values) for kind, values in sorted(logs.items())}


def _kind(logs: Sequence[float]) -> KindPace:
    n, mean = len(logs), math.fsum(logs) / len(logs)
    if n < LEAST_TIMES:
        return KindPace(n, math.exp(mean), None)
    s = math.sqrt(math.fsum((value - mean) ** 2 for value in logs) / (n - 1))
    t = float(special.stdtrit(n - 1, 1 - FIRST_PERCENTILE))
    return KindPace(n, math.exp(mean), math.exp(mean - t * s * math.sqrt(1 + 1 / n)))


def reading_ms(words: int, words_per_minute: float = WORDS_PER_MINUTE) -> float:
    """Return the time that a fast reader takes. Raises `ReadingRateError`."""
    if not 0 < words_per_minute < math.inf:
        raise ReadingRateError(words_per_minute=str(words_per_minute))
    return words / words_per_minute * 60_000


def mark(
    steps: Iterable[StepTime], shop: Mapping[str, KindPace], words_per_minute: float = WORDS_PER_MINUTE
) -> tuple[MarkedStep, ...]:
    """Return every step with the shop's pace beside it, marked where it was faster than both limits."""
    return tuple(_mark(step, shop.get(step.kind), words_per_minute) for step in steps)


def _mark(step: StepTime, kind: KindPace | None, words_per_minute: float) -> MarkedStep:
    reads_ms = reading_ms(step.words, words_per_minute)
    fast = kind is not None and kind.first_percentile_ms is not None
    is_marked = fast and step.milliseconds < min(reads_ms, (kind and kind.first_percentile_ms) or 0.0)
    return MarkedStep(step.step, step.kind, step.milliseconds, reads_ms, kind, is_marked)
