"""What a tablet went by beside what the shop says, as the lead is shown it."""

from __future__ import annotations

from dataclasses import dataclass, field

from webapp.domain.plain.errors import Fields


@dataclass(frozen=True)
class Side:
    """One side: a code of the catalogue with its fields, the person that it names by id, and the time that
    belongs to it (UTC), if any.
    """

    code: str
    fields: Fields = field(default_factory=dict)
    who: str | None = None
    at_utc: str | None = None


@dataclass(frozen=True)
class Difference:
    """What it is about (right, account, slot, procedure, seating, usual, probe and its measures), as the
    tablet and as the shop has it; `axis` where it is about one.
    """

    about: str
    then: Side
    now: Side
    axis: str = ""
