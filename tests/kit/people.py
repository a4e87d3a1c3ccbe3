"""A person more, without secrets: nobody of the invented shop, whom a test may do with as it likes."""

from __future__ import annotations

from tests.kit.house import House
from webapp.services.evidence.ledger import change
from webapp.services.people import names


def one_more(house: House, person: str, name: str) -> None:
    """Open an operator's account, as letting somebody in does, and say so on the ledger."""
    with house.store.writing():
        added = names.add(house.store, person, name, ["operator"])
        change(house.store, "person.added", "ines", person, None, added, house.clock())
