"""The shop as it stands, as one value: what a shop file would have to say to make it again.

Rules: one view of the store, nothing is changed. A shop file does not know a slot that is held back: it is
written as its owner's. An account out of use is written as such where a slot, a right or the list of the
practised still names it, and left out elsewhere, as are a machine out of use, its slots and the rights to it.
Without a shop's own rules there is nothing to write.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from webapp.domain.plain.levels import ALONE
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Fixture, Machine, Person, Probe, ShopRules
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment
from webapp.services.errors import NoShopYet

if TYPE_CHECKING:
    from webapp.store import Store


def shop_of(store: Store) -> Shop:
    """The whole shop. Raises NoShopYet."""
    with store.reading():
        rules = store.shop.item("shop", "shop")
        if rules is None:
            raise NoShopYet
        machines = [from_plain(Machine, value) for value in store.shop.items("machine").values()]
        fixtures = [from_plain(Fixture, value) for value in store.shop.items("fixture").values()]
        probes = [from_plain(Probe, value) for value in store.shop.items("probe").values()]
        slots = tuple(slot for machine in machines for slot in _slots(store, machine.id))
        rights = _authorisations(store, {one.id for one in machines})
        shop = from_plain(ShopRules, rules)
        named = {one.owner for one in slots} | {one.person for one in rights} | {*shop.cautions_once_a_shift}
        return Shop(
            shop,
            tuple(machines),
            tuple(fixtures),
            tuple(probes),
            _people(store, named),
            rights,
            slots,
            tuple(seating for fixture in fixtures for seating in _seatings(store, fixture.id)),
        )


def _people(store: Store, named: Collection[str | None]) -> tuple[Person, ...]:
    return tuple(
        Person(one["id"], one["name"], tuple(one["roles"]), in_use=one["active"])
        for one in store.people.everybody()
        if one["active"] or one["id"] in named
    )


def _authorisations(store: Store, machines: Collection[str]) -> tuple[Authorisation, ...]:
    return tuple(
        Authorisation(row["person"], row["machine"], row["until_utc"], row["level"] or ALONE, row["training"])
        for row in store.people.authorisations()
        if row["withdrawn_at_utc"] is None and row["machine"] in machines
    )


def _slots(store: Store, machine: str) -> list[SlotAssignment]:
    return [
        SlotAssignment(machine, row["label"], row["kind"], row["owner"], row["until_utc"])
        for row in store.shop.slots(machine)
        if row["kind"] != "free"
    ]


def _seatings(store: Store, fixture: str) -> list[SeatingStart]:
    return [
        SeatingStart(row["id"], fixture, row["since_utc"], row["reason"])
        for row in store.shop.seatings(fixture)
    ]
