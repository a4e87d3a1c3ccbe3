"""Seatings of a fixture in time, whatever the order in which somebody told of them."""

from webapp.domain.shop.seatings import Start, ends, lie_by_turn, present, seating_then

FIRST, OLDER, NEWEST = Start("a", "2026-11-10"), Start("b", "2026-11-02"), Start("c", "2026-11-20", True)


def test_a_seating_lasts_until_the_next_in_time_whenever_it_was_told() -> None:
    assert ends([FIRST, OLDER, NEWEST]) == {"b": "2026-11-10", "a": "2026-11-20", "c": None}
    assert ends([]) == {}


def test_of_two_that_begin_at_one_time_the_one_told_last_is_the_later_one() -> None:
    twin = Start("d", FIRST.since_utc)
    assert ends([FIRST, twin]) == {"a": FIRST.since_utc, "d": None}
    assert present([FIRST, twin]) == "d"


def test_an_older_one_told_later_is_not_the_present_one() -> None:
    assert present([]) == ""
    assert present([FIRST, OLDER]) == "a"
    assert present([FIRST, OLDER, NEWEST]) == "c"


def test_by_turn_the_one_told_last_was_the_present_one() -> None:
    turns = [Start(one.seating, one.since_utc, by_turn=True) for one in (FIRST, OLDER)]
    assert present(turns) == "b"
    assert not lie_by_turn(turns)
    assert lie_by_turn(turns[::-1])
    assert lie_by_turn([FIRST, OLDER])


def test_values_lie_in_one_begun_back_to_before_their_setup_where_it_ended_the_one_that_was_named() -> None:
    assert seating_then([FIRST, NEWEST], "a", "2026-11-20") == "c"
    assert seating_then([FIRST, NEWEST], "a", "2026-11-19") == "a"
    assert seating_then([OLDER, FIRST, NEWEST], "b", "2026-11-21") == "b"
    again = Start("e", "2026-11-21", begun_back=True)
    assert seating_then([FIRST, NEWEST, again], "a", "2026-11-22") == "e"
    plain = Start("c", "2026-11-20")
    assert seating_then([FIRST, plain], "a", "2026-11-22") == "a"
