"""How far an axis runs on, and the fastest first touch."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.touch.feeds import (
    format_feed,
    largest_feed_mm_per_min,
    round_feed_down,
    stopping_distance_mm,
    stopping_distance_nm,
)

MM = Display(Unit.MM, 3)
INCH = Display(Unit.INCH, 4)
displays = st.sampled_from([MM, INCH])
decelerations = st.floats(10, 10_000)
latencies = st.floats(0, 0.1)
STEP = {MM: 1.0, INCH: 2.54}


@given(st.integers(1, 10**7), decelerations, latencies, displays)
def test_the_largest_feed_stops_in_time_and_the_next_one_does_not(
    allowed_nm: int, deceleration: float, latency: float, display: Display
) -> None:
    feed = largest_feed_mm_per_min(allowed_nm, deceleration, latency, display)
    assert stopping_distance_nm(feed, deceleration, latency) <= allowed_nm or feed == 0
    # A step and a thousandth: at the very edge the float of the root may fall on either side.
    faster = (feed + STEP[display] * 1.001) / 60
    assert stopping_distance_mm(faster, deceleration, latency) * 1_000_000 > allowed_nm * (1 - 1e-9)


@given(st.integers(1, 10**7), decelerations, latencies, displays)
def test_the_largest_feed_is_one_that_can_be_typed(
    allowed_nm: int, deceleration: float, latency: float, display: Display
) -> None:
    feed = largest_feed_mm_per_min(allowed_nm, deceleration, latency, display)
    assert round_feed_down(feed, display) == pytest.approx(feed, abs=1e-9)


@given(st.integers(1, 10**6), st.integers(0, 10**6), decelerations, latencies, displays)
def test_more_overtravel_never_lowers_the_feed(
    allowed_nm: int, more_nm: int, deceleration: float, latency: float, display: Display
) -> None:
    less = largest_feed_mm_per_min(allowed_nm, deceleration, latency, display)
    assert less <= largest_feed_mm_per_min(allowed_nm + more_nm, deceleration, latency, display)


def test_the_stopping_distance_is_rounded_up() -> None:
    # 60 mm/min is 1 mm/s: 1/(2*3) mm is 166 666.67 nm.
    assert stopping_distance_nm(60, 3, 0) == 166_667


@pytest.mark.parametrize(
    ("feed", "display", "text"),
    [
        (1200.0, MM, "1200 mm/min"),
        (1200.9, MM, "1200 mm/min"),
        (1198.88, INCH, "47.2 in/min"),
        (1200.0, INCH, "47.2 in/min"),
        (2.54, INCH, "0.1 in/min"),
        (25.4, INCH, "1.0 in/min"),
        (2540.0, INCH, "100.0 in/min"),
        (0.5, MM, "0 mm/min"),
    ],
)
def test_a_feed_is_shown_as_it_is_typed_at_the_control(feed: float, display: Display, text: str) -> None:
    assert format_feed(feed, display) == text


@given(st.integers(1, 10_000))
def test_every_tenth_of_an_inch_per_minute_is_kept_as_it_is(tenths: int) -> None:
    feed = tenths * 254 / 100
    assert round_feed_down(feed, INCH) == feed
    assert format_feed(feed, INCH) == f"{tenths / 10:.1f} in/min"
