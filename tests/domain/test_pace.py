"""Which steps are marked as fast, and that slow shops, short texts and few times mark nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from webapp.domain.setup.pace import (
    LEAST_TIMES,
    PaceTimeNegativeError,
    ReadingRateError,
    StepTime,
    mark,
    reading_ms,
    shop_pace,
)


def times(n: int, kind: str = "confirm", middle_ms: float = 12_000, seed: int = 1) -> list[StepTime]:
    drawn = np.random.default_rng(seed).lognormal(math.log(middle_ms), 0.4, n)
    return [StepTime(f"step-{place}", kind, round(value), 40) for place, value in enumerate(drawn)]


def test_the_shops_first_percentile_is_the_prediction_bound_of_the_logs() -> None:
    shop = times(60)
    found = shop_pace(shop)["confirm"]
    logs = np.log([time.milliseconds for time in shop])
    by_hand = logs.mean() - stats.t.ppf(0.99, 59) * logs.std(ddof=1) * math.sqrt(1 + 1 / 60)
    assert found.first_percentile_ms == pytest.approx(math.exp(by_hand))
    assert found.middle_ms == pytest.approx(math.exp(logs.mean()))


def test_one_in_a_hundred_honest_times_lies_below_it() -> None:
    below = 0
    for seed in range(400):
        limit = shop_pace(times(40, seed=seed))["confirm"].first_percentile_ms or 0
        below += sum(time.milliseconds < limit for time in times(25, seed=10_000 + seed))
    assert below / 10_000 == pytest.approx(0.01, abs=0.004)


def test_a_step_is_marked_only_when_it_is_below_both() -> None:
    shop = shop_pace(times(60))
    limit = shop["confirm"].first_percentile_ms or 0
    assert reading_ms(40) == 5_000
    assert limit > 3_000
    quick, readable, unread = (
        StepTime("s", "confirm", ms, words) for ms, words in ((900, 40), (900, 4), (5_100, 400))
    )
    assert [step.is_marked for step in mark([quick, readable, unread], shop)] == [True, False, False]


def test_a_kind_of_step_that_the_shop_hardly_knows_marks_nothing() -> None:
    shop = shop_pace(times(LEAST_TIMES - 1))
    assert shop["confirm"].first_percentile_ms is None
    marked = mark([StepTime("s", "confirm", 1, 400), StepTime("t", "touch", 1, 400)], shop)
    assert [step.is_marked for step in marked] == [False, False]
    assert marked[1].shop is None


def test_a_time_of_zero_counts_as_one_millisecond() -> None:
    zero = [StepTime("s", "confirm", 0, 40)] * 30
    assert shop_pace(zero)["confirm"].middle_ms == pytest.approx(1)


def test_a_negative_time_is_refused() -> None:
    with pytest.raises(PaceTimeNegativeError):
        StepTime("s", "confirm", -1, 40)


@pytest.mark.parametrize("rate", [0.0, -5.0, math.nan, math.inf])
def test_a_reading_rate_of_nothing_is_refused(rate: float) -> None:
    with pytest.raises(ReadingRateError):
        reading_ms(40, rate)
