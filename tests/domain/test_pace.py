"""Which steps are marked as fast, and that slow shops, short texts and few times mark nothing."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tests.rules.example_shop import sheet_value
from tests.rules.playing import FORWARD_MS_A_STEP, play
from webapp.domain.setup.fold import fold
from webapp.domain.setup.pace import (
    LEAST_TIMES,
    PaceTimeNegativeError,
    ReadingRateError,
    StepTime,
    mark,
    reading_ms,
    shop_pace,
)
from webapp.domain.setup.step_times import step_times


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


def test_twenty_times_are_the_first_that_say_how_fast_a_shop_is() -> None:
    assert shop_pace(times(19))["confirm"].first_percentile_ms is None
    assert shop_pace(times(20))["confirm"].first_percentile_ms is not None


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


QUESTION = {"question": "9b2f8c1e-0000-4000-8000-00000000000a", "axis": "X", "text": "A chip?"}
KEPT_WITH_A_QUESTION = (
    {"type": "question.put", "data": QUESTION},
    {"type": "touch.kept", "data": {"axis": "X", "because": "question"}},
)
BEYOND_ASK = {
    "axis": "X", "typed": "-381.205", "value_nm": -381_205_000, "verdict": "ask", "difference_nm": 45_000,
}  # fmt: skip


def walked(*lines: Any, sheet_name: str = "mm", speed: int = 1) -> tuple[dict[str, Any], dict[str, int]]:
    """A played setup: what it comes to, and the milliseconds of each step that has a time."""
    sheet: Any = sheet_value(sheet_name)
    events, decisions = play(sheet, {"play": list(lines)})
    timed = [event | {"elapsed_ms": event["elapsed_ms"] * speed} for event in events]
    state: Any = fold(sheet, timed, decisions)
    return state, {time.step: time.milliseconds for time in step_times(sheet, state, timed)}  # type: ignore[arg-type]


def test_a_step_stands_from_the_one_before_it_and_a_comparison_that_agrees_has_no_time() -> None:
    state, found = walked("until stow.up")
    done = [step for step, of in state["steps"].items() if of["state"] == "done"]
    assert list(found) == [step for step in done if step not in {"x.compare", "y.compare", "z.compare"}]
    assert set(found.values()) == {FORWARD_MS_A_STEP}


def test_a_comparison_that_somebody_answered_had_a_screen_and_has_a_time() -> None:
    entered = {"type": "touch.entered", "data": BEYOND_ASK}
    lines = ("until x.touch", entered, *KEPT_WITH_A_QUESTION, "until y.touch")
    state, found = walked(*lines, sheet_name="mm__first_format")
    assert state["problems"] == []
    assert found["x.compare"] == 2 * FORWARD_MS_A_STEP  # the question stood in between
    assert found["y.lower"] == FORWARD_MS_A_STEP


def test_a_step_after_a_pause_counts_from_where_the_setup_was_taken_up_again() -> None:
    _, found = walked(
        "until vise.bring", {"type": "setup.resumed", "data": {"away_ms": 5}}, "until vise.open"
    )
    assert found["vise.bring"] == FORWARD_MS_A_STEP


@pytest.mark.parametrize("speed", [0, -1], ids=["stood", "ran back"])
def test_a_clock_that_stood_or_ran_back_gives_a_step_no_time_and_never_less(speed: int) -> None:
    _, found = walked("until vise.bring", speed=speed)
    assert set(found.values()) == {0}
