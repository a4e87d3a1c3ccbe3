"""Putting the events of a tablet into its chain.

Rules:
- an event follows the one that it names as its predecessor; while that one has not come, it waits;
- two events with one number are a fork:
  both are kept, the tablet is flagged, what comes later is kept and marked;
- an event that was refused still counts as a predecessor,
  so that one bad event does not hold up all later ones;
- nothing is ever numbered anew.
  What is decided does not depend on the order in which events arrive, the flag and the marks aside.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.written_sheet import Said
from webapp.services.intake.reading import Refusal

Problem = Said


@dataclass(slots=True)
class Link:
    """What is known of an event as somebody's predecessor.
    `sequence` None: it was refused and could not be read.
    """

    device: str
    sequence: int | None
    refused: bool = False


@dataclass(slots=True)
class Chain:
    """What a batch has to be compared with, read once:
    links by event id, and who holds a number of a tablet.
    """

    links: dict[str, Link] = field(default_factory=dict)
    holders: dict[tuple[str, int], str] = field(default_factory=dict)
    forked: set[str] = field(default_factory=set)
    newly_forked: dict[str, tuple[str, str]] = field(default_factory=dict)

    def judge(self, event: Event[Any]) -> Refusal | str | list[Problem]:
        """A refusal, the id of the predecessor to wait for, or the problems that the event is taken with."""
        previous = event["previous"]
        if previous is None:
            return self._take(event, [])
        link = self.links.get(previous)
        if link is None:
            return str(previous)
        if link.device != event["device"]:
            return Refusal("chain.other_device", {})
        if link.sequence is not None and link.sequence + 1 != event["sequence"]:
            return Refusal(
                "chain.sequence_wrong", {"sequence": event["sequence"], "expected": link.sequence + 1}
            )
        return self._take(event, [_problem("chain.after_refused")] if link.refused else [])

    def refuse(self, event_id: str, device: str, sequence: int | None) -> None:
        """Remember an event that is set aside as a link of the chain."""
        self.links[event_id] = Link(device, sequence, refused=True)

    def _take(self, event: Event[Any], problems: list[Problem]) -> list[Problem]:
        device, place = event["device"], (event["device"], event["sequence"])
        holder = self.holders.setdefault(place, event["id"])
        if holder != event["id"]:
            problems.append(_problem("chain.forked", sequence=event["sequence"]))
            if device not in self.forked:
                self.forked.add(device)
                self.newly_forked[device] = (holder, event["id"])
        elif device in self.forked:
            problems.append(_problem("chain.device_forked"))
        self.links[event["id"]] = Link(device, event["sequence"])
        return problems


def _problem(code: str, **fields: str | int) -> Problem:
    return {"code": code, "fields": fields}
