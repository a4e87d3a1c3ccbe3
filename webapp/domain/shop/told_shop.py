"""All that a shop is told to have, as one value: what a shop file says, and what is written out as one."""

from __future__ import annotations

from dataclasses import dataclass

from webapp.domain.procedure.procedure import Procedure
from webapp.domain.procedure.shipped import SHIPPED
from webapp.domain.shop.shop import Fixture, Machine, Person, Probe, ShopRules


@dataclass(frozen=True)
class Authorisation:
    """A person may run setups on a machine until a time (exclusive; None: until withdrawn).
    `until_utc` is in the format of events; a level or a training that is None is not said, and stays.
    """

    person: str
    machine: str
    until_utc: str | None
    level: str | None = None
    training: str | None = None


@dataclass(frozen=True)
class SlotAssignment:
    """A slot that belongs to a person until a time (None: no end), or is kept for the shop."""

    machine: str
    label: str
    kind: str
    owner: str | None
    until_utc: str | None


@dataclass(frozen=True)
class SeatingStart:
    """A fixture was seated anew."""

    id: str
    fixture: str
    since_utc: str
    reason: str


@dataclass(frozen=True)
class Shop:
    """All that one shop file says, and the procedure to work by. Seatings of a fixture stand oldest first."""

    rules: ShopRules
    machines: tuple[Machine, ...]
    fixtures: tuple[Fixture, ...]
    probes: tuple[Probe, ...]
    people: tuple[Person, ...]
    authorisations: tuple[Authorisation, ...]
    slots: tuple[SlotAssignment, ...]
    seatings: tuple[SeatingStart, ...]
    procedure: Procedure = SHIPPED
