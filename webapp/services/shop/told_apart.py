"""What people at a tablet choose by its name has that name alone: machines, and the fixtures of one machine.

Rules:
- where the probe may go down, and how far, hangs on which machine and which vise were chosen; they are chosen
  by their names, so two of one name could send it into the other. Capitals and blanks tell nothing apart;
- a change is refused for two that it would call the same, never for two that were called so before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING, NamedTuple

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.fitted_machine import fixtures_of
from webapp.services.errors import FixtureNameTaken, MachineNameTaken

if TYPE_CHECKING:
    from webapp.store import Store


class OneName(NamedTuple):
    """Two things or more that are called the same but for capitals and blanks: machines, or (`machine`: its
    id) fixtures of one.
    """

    machine: str
    plain_name: str
    ids: frozenset[str]


def called_the_same(store: Store) -> frozenset[OneName]:
    """All in use that cannot be told apart at a tablet, inside the caller's transaction."""
    machines, fixtures = store.shop.items("machine"), store.shop.items("fixture")
    found = set(_of_one_name("", {key: str(one["name"]) for key, one in machines.items()}))
    for key, one in machines.items():
        on_it = {name: str(fixtures[name]["name"]) for name in fixtures_of(one) if name in fixtures}
        found |= set(_of_one_name(key, on_it))
    return frozenset(found)


def faults(store: Store, before: Collection[OneName]) -> Iterator[DomainError]:
    """What is called the same now and was not before, inside the caller's transaction: MachineNameTaken,
    FixtureNameTaken.
    """
    machines, fixtures = store.shop.items("machine"), store.shop.items("fixture")
    for one in sorted(called_the_same(store), key=lambda each: each[:2]):
        if any(one[:2] == other[:2] and one.ids <= other.ids for other in before):
            continue
        name = str((fixtures if one.machine else machines)[min(one.ids)]["name"])
        if one.machine:
            yield FixtureNameTaken(name=name, machine=str(machines[one.machine]["name"]))
        else:
            yield MachineNameTaken(name=name)


def _of_one_name(machine: str, names: dict[str, str]) -> Iterator[OneName]:
    by_name = defaultdict[str, list[str]](list)
    for key, name in names.items():
        by_name[" ".join(name.casefold().split())].append(key)
    for plain_name, ids in by_name.items():
        if len(ids) > 1:
            yield OneName(machine, plain_name, frozenset(ids))
