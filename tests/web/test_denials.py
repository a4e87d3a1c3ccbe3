"""What was denied lately is noted once, in a bounded memory. The figures are decided here, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from webapp.web.edge.denials import Denials

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TEN_MINUTES = timedelta(minutes=10)


def test_the_same_is_noted_again_after_ten_minutes_and_not_a_moment_before() -> None:
    denials = Denials()
    assert denials.is_new("mara", "desk.queue", NOW)
    assert not denials.is_new("mara", "desk.queue", NOW + TEN_MINUTES - timedelta(milliseconds=1))
    assert denials.count("mara", NOW + TEN_MINUTES - timedelta(milliseconds=1)) == 1
    assert denials.count("tomas", NOW) == 0
    assert denials.is_new("mara", "desk.queue", NOW + TEN_MINUTES)


def test_what_is_noted_in_the_same_moment_is_the_same_and_a_clock_that_went_back_hides_nothing() -> None:
    denials = Denials()
    assert denials.is_new("mara", "desk.queue", NOW)
    assert not denials.is_new("mara", "desk.queue", NOW)
    assert denials.is_new("mara", "desk.queue", NOW - timedelta(milliseconds=1))


def test_ten_thousand_are_remembered_and_the_oldest_makes_room() -> None:
    denials = Denials()
    for number in range(10_000):
        assert denials.is_new("mara", str(number), NOW)
    assert not denials.is_new("mara", "0", NOW)
    assert denials.is_new("mara", "one more", NOW)
    assert denials.is_new("mara", "0", NOW)
    assert not denials.is_new("mara", "2", NOW)


def test_what_could_not_be_noted_is_new_again() -> None:
    denials = Denials()
    assert denials.is_new("mara", "desk.queue", NOW)
    denials.forget("mara", "desk.queue")
    assert denials.is_new("mara", "desk.queue", NOW)
    denials.forget("mara", "never asked for")
