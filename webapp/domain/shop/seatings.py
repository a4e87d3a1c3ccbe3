"""Seatings of one fixture: how they lie in time, which is the present one, and in which a setup's values lie.

Rules: a seating lasts until the next one of its fixture in time begins, whenever somebody told of either; of
two that begin at one time the one that was told last is the later one. A file may bring an older one at any
time: it lies in front of the present one and moves no value. One that is begun back takes the values that
were touched since out of the one that was the present one then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Start:
    """A seating as somebody told of it, in the order in which they did. `begun_back`: values went with it.
    `by_turn`: from before the ledger said when a seating begins, and each ended the one told before it.
    """

    seating: str
    since_utc: str
    begun_back: bool = False
    by_turn: bool = False


def in_time(starts: Sequence[Start]) -> list[Start]:
    """The same in the order of time."""
    return sorted(starts, key=lambda one: one.since_utc)  # a stable sort: the one told last is the later one


def ends(starts: Sequence[Start]) -> dict[str, str | None]:
    """When each ended, by its id; None for the last one in time."""
    ordered = in_time(starts)
    ended = [*(one.since_utc for one in ordered[1:]), None]
    return {one.seating: until for one, until in zip(ordered, ended, strict=bool(ordered))}


def present(starts: Sequence[Start]) -> str:
    """The seating that the fixture is in once all these were told; empty for none."""
    found: Start | None = None
    for one in starts:
        if found is None or one.by_turn or one.since_utc >= found.since_utc:
            found = one
    return found.seating if found else ""


def lie_by_turn(starts: Sequence[Start]) -> bool:
    """Whether those that ended each other by turn came in the order of time, as all others lie."""
    turns = [one.since_utc for one in starts if one.by_turn]
    return turns == sorted(turns)


def seating_then(starts: Sequence[Start], named: str, started_at_utc: str) -> str:
    """The seating of a setup's values: as its sheet named it, or one begun back since to a time before it."""
    ended = ends(starts)
    for one in in_time(starts):
        if one.begun_back and one.since_utc <= started_at_utc and ended.get(named) == one.since_utc:
            named = one.seating
    return named
