"""A machine with all that belongs to it, and where a setup is made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple, cast

from webapp.domain.shop.shop import Fixture, Machine, Probe, ShopRules


class FittedMachine(NamedTuple):
    """A machine with one of the fixtures on it, the probe in it, and the rules of its shop."""

    rules: ShopRules
    machine: Machine
    fixture: Fixture
    probe: Probe

    @property
    def place(self) -> Place:
        """Return where a setup at this fixture is made."""
        return Place(self.machine.id, self.fixture.id)


class Place(NamedTuple):
    """Where a setup is made: the ids of a machine and of a fixture on it."""

    machine: str
    fixture: str


def fixtures_of(value: Mapping[str, object]) -> tuple[str, ...]:
    """Return the ids of the fixtures on a machine that is kept as plain data, the one offered first first."""
    more = cast("Sequence[str]", value.get("more_fixtures", ()))
    return (cast("str", value["fixture"]), *more)
