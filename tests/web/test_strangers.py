"""Counting strangers by address: what an address is, how its count comes back, how many are kept."""

from datetime import UTC, datetime, timedelta

import pytest

from webapp.web.edge.strangers import Strangers

# The figures that the head of `strangers.py` says (decided here, no source).
AT_ONCE, SECONDS_EACH, MOST_ADDRESSES = 30, 10, 4096
NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


def used_up(address: str = "10.0.0.1") -> Strangers:
    strangers = Strangers()
    for _ in range(AT_ONCE):
        strangers.count(address, NOW)
    return strangers


def test_an_address_may_call_so_often_at_once_and_then_waits() -> None:
    strangers = Strangers()
    for _ in range(AT_ONCE):
        assert strangers.wait_seconds("10.0.0.1", NOW) == 0
        strangers.count("10.0.0.1", NOW)
    assert strangers.wait_seconds("10.0.0.1", NOW) == SECONDS_EACH
    assert strangers.wait_seconds("10.0.0.2", NOW) == 0


def test_the_count_comes_back_one_by_one_and_never_beyond_the_first() -> None:
    strangers = used_up()
    half = NOW + timedelta(seconds=SECONDS_EACH / 2)
    assert strangers.wait_seconds("10.0.0.1", half) == SECONDS_EACH / 2
    much_later = NOW + timedelta(days=1)
    for _ in range(AT_ONCE):
        strangers.count("10.0.0.1", much_later)
    assert strangers.wait_seconds("10.0.0.1", much_later) == SECONDS_EACH


def test_a_clock_that_was_set_back_gives_nothing_and_counts_on_from_there() -> None:
    strangers, yesterday = used_up(), NOW - timedelta(days=1)
    assert strangers.wait_seconds("10.0.0.1", yesterday) == SECONDS_EACH
    assert strangers.wait_seconds("10.0.0.1", yesterday + timedelta(seconds=SECONDS_EACH)) == 0


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", True),
        ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
        ("::ffff:10.0.0.1", "10.0.0.1", True),
        ("a pipe", "a pipe", True),
    ],
)
def test_one_network_is_one_address(one: str, other: str, same: bool) -> None:
    assert (used_up(one).wait_seconds(other, NOW) > 0) == same


def test_only_so_many_addresses_are_kept() -> None:
    strangers = used_up()
    for number in range(MOST_ADDRESSES):
        strangers.count(f"10.{number >> 16}.{number >> 8 & 255}.{number & 255}x", NOW)
    assert len(strangers._left) == MOST_ADDRESSES
    assert strangers.wait_seconds("10.0.0.1", NOW) == 0
