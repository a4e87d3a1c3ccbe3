"""How many tries are free of waiting, how the waits grow, where trying stops, and what is forgotten.

The figures are the shop's own decisions, as the head of `throttle.py` words them; that waits grow and that a
PIN stops is NIST SP 800-63B-4 and OWASP ASVS 5.0, 6.3.1.
"""

from __future__ import annotations

import re
from hashlib import sha256
from itertools import pairwise

import pytest

from tests.kit.house import House
from webapp.services.people import throttle
from webapp.services.people.throttle import Limit, Wait

MINUTE, HOUR, DAY = 60, 3600, 86_400
QUARTER_OF_AN_HOUR = 15 * MINUTE


def tried(house: House, limit: Limit, subject: str = "somebody") -> Wait | None:
    with house.store.writing():
        return throttle.begin_try(house.store, ((subject, limit),), house.clock())


def counted(house: House, subject: str = "somebody") -> int:
    with house.store.reading():
        row = house.store.access.failures(subject)
    return row["failures"] if row else 0


@pytest.mark.parametrize(
    ("limit", "free", "waits", "stops"),
    [
        (throttle.PIN_ON_DEVICE, 5, [30, 60, 120], True),
        (throttle.PIN_ANYWHERE, 10, [], True),
        (throttle.DEVICE, 13, [30, 60, 120, 240, 480, QUARTER_OF_AN_HOUR, QUARTER_OF_AN_HOUR], False),
        (throttle.SIGNING_ACT, 4, [HOUR, 2 * HOUR, 4 * HOUR, 8 * HOUR, 16 * HOUR, DAY, DAY], False),
        (throttle.PASSPHRASE_FROM_SOURCE, 5, [15, 30, 60, 120, 240, 480, QUARTER_OF_AN_HOUR], False),
        (
            throttle.PASSPHRASE_ANYWHERE,
            21,
            [15, 30, 60, 120, 240, 480, 960, 1920, HOUR, HOUR],
            False,
        ),
        (throttle.SOURCE, 21, [15, 30, 60, 120, 240, 480, QUARTER_OF_AN_HOUR], False),
    ],
)
def test_tries_are_free_then_wait_twice_as_long_each_time_and_stop_where_they_do(
    house: House, limit: Limit, free: int, waits: list[int], stops: bool
) -> None:
    assert [tried(house, limit) for _ in range(free)] == [None] * free
    for seconds in waits:
        assert tried(house, limit) == Wait(seconds)
        house.clock.forward(seconds=seconds)
        assert tried(house, limit) is None
    assert all(after in {before, 2 * before} or after in {QUARTER_OF_AN_HOUR, HOUR, DAY}
               for before, after in pairwise(waits))  # fmt: skip
    if stops:
        house.clock.forward(days=400)
        assert tried(house, limit) == Wait(None)


@pytest.mark.parametrize(
    ("limit", "seconds"),
    [
        (throttle.DEVICE, HOUR),
        (throttle.PASSPHRASE_FROM_SOURCE, HOUR),
        (throttle.PASSPHRASE_ANYWHERE, DAY),
        (throttle.SOURCE, HOUR),
    ],
)
def test_what_is_older_than_its_time_counts_no_more_and_what_is_as_old_still_does(
    house: House, limit: Limit, seconds: int
) -> None:
    for _ in range(3):
        tried(house, limit)
    house.clock.forward(seconds=seconds)
    tried(house, limit)
    assert counted(house) == 4
    house.clock.forward(seconds=seconds, milliseconds=1)
    tried(house, limit)
    assert counted(house) == 1


@pytest.mark.parametrize("limit", [throttle.PIN_ON_DEVICE, throttle.PIN_ANYWHERE, throttle.SIGNING_ACT])
def test_wrong_pins_of_a_person_are_not_forgotten_with_time(house: House, limit: Limit) -> None:
    tried(house, limit)
    house.clock.forward(days=400)
    tried(house, limit)
    assert counted(house) == 2


def test_a_wait_is_told_in_whole_seconds_and_never_as_none_while_there_is_one(house: House) -> None:
    limit = Limit(free=0, first_wait_seconds=15, longest_wait_seconds=15)
    tried(house, limit)
    house.clock.forward(seconds=12.4)
    assert tried(house, limit) == Wait(3)
    house.clock.forward(seconds=2.3)
    assert tried(house, limit) == Wait(1)
    house.clock.forward(seconds=0.3)
    assert tried(house, limit) is None


def test_a_clock_that_was_set_back_makes_no_wait_longer_than_a_whole_one(house: House) -> None:
    limit = Limit(free=0, first_wait_seconds=15, longest_wait_seconds=15)
    tried(house, limit)
    house.clock.forward(days=-1)
    assert tried(house, limit) == Wait(15)


def test_the_longest_of_several_waits_is_told_and_a_stop_before_every_one(house: House) -> None:
    short, long = Limit(0, 15, 15), Limit(0, 40, 40)
    subjects = (("short", short), ("long", long))
    with house.store.writing():
        assert throttle.begin_try(house.store, subjects, house.clock()) is None
        assert throttle.begin_try(house.store, subjects, house.clock()) == Wait(40)
        stopped = (*subjects, ("stopped", Limit(free=1, stop=1)))
        house.store.access.fail("stopped", house.clock.text)
        assert throttle.begin_try(house.store, stopped, house.clock()) == Wait(None)
    assert (counted(house, "short"), counted(house, "long"), counted(house, "stopped")) == (1, 1, 1)


def test_what_stands_for_a_name_that_nobody_has_is_four_digits_of_its_hash() -> None:
    said = throttle.nobody("the rain fell on quiet barns")
    assert re.fullmatch(r"\?[0-9a-f]{4}", said)
    assert sha256(b"the rain fell on quiet barns").hexdigest().startswith(said[1:])
