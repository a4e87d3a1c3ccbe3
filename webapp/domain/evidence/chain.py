"""Where a tablet's chain of events splits: two different events with one number.

Rules of this module:
- One tablet numbers its events once. Two events with one number mean that its key was used from two places:
  the tablet was copied, or brought back from a backup. Both events are real and both are kept; which of them
  is right no program can tell.
- The same event twice is no fork.

Decision: a fork is a finding, not a failure. Failing such a record would throw away the only evidence of
what happened. So `verify` names the events and judges the rest, the pages and the desk say it before the
lead signs, and a record whose pages state its fork holds. A break of the chain before any fork still fails.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from webapp.domain.evidence.event_kinds import Event


@dataclass(frozen=True)
class Fork:
    """One number of one tablet that several events carry; ids in the order in which they stand."""

    device: str
    sequence: int
    events: tuple[str, ...]


def forks(events: Iterable[Event[Any]]) -> tuple[Fork, ...]:
    """Return every fork among these events, in the order of their first events."""
    held: dict[tuple[str, int], list[str]] = {}
    for event in events:
        ids = held.setdefault((event["device"], event["sequence"]), [])
        if event["id"] not in ids:
            ids.append(event["id"])
    return tuple(Fork(*place, tuple(ids)) for place, ids in held.items() if len(ids) > 1)
