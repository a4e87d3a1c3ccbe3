"""An invented shop with as many machines and people as are asked for, each machine with a tablet of its own.

Every machine has five slots with owners, who may run it, and everybody else may run one machine. The kit's
four people are there with their secrets; owners of slots have a PIN each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import MILL, PROBE, SHOP, VISE, load_shop
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.evidence.ledger import change
from webapp.services.people import names
from webapp.services.people.secret_digests import digests_of
from webapp.services.people.secret_rules import hash_pin
from webapp.services.shop.slots import give_slot
from webapp.services.times import utc_text
from webapp.store.engines.opening import Address

OWNERS = 5
PIN = "738542"
LABELS = ("G54", "G55", "G56", "G57", "G58")
UNTIL = "2031-01-31T00:00:00.000Z"
FROM = "2010-01-04T09:00:00.000Z"


@dataclass(frozen=True)
class Size:
    """How many machines and people there are, and how many owners of slots at each have walked setups."""

    machines: int
    people: int
    walkers: int = OWNERS


def person_id(number: int) -> str:
    """The short id of one of the people, counted from 0."""
    return f"p{number:04d}"


def owners(machine: int) -> list[str]:
    """Who has a slot at this machine, counted from 0."""
    return [person_id(machine * OWNERS + place) for place in range(OWNERS)]


def shop_of(size: Size) -> Shop:
    """The shop's file: machines, vises and their seatings, without people."""
    numbers = range(1, size.machines + 1)
    return replace(
        SHOP,
        machines=tuple(
            replace(MILL, id=f"mill-{n}", name=f"Mill {n}", fixture=f"vise-{n}", probe=f"probe-{n}")
            for n in numbers
        ),
        fixtures=tuple(replace(VISE, id=f"vise-{n}", name=f"Vise {n}") for n in numbers),
        probes=tuple(replace(PROBE, id=f"probe-{n}", name=f"Probe {n}") for n in numbers),
        authorisations=(Authorisation("mara", "mill-1", UNTIL),),
        slots=(SlotAssignment("mill-1", "G59", "person", "mara", None),),
        seatings=tuple(SeatingStart(f"vise-{n}-1", f"vise-{n}", FROM, "Bolted down.") for n in numbers),
    )


def make(
    folder: Path, keyring: KeyRing, size: Size, address: Address | None = None
) -> tuple[House, list[Device]]:
    """The shop in this folder, and the tablet of each machine."""
    house = House(folder, keyring, loaded=True, address=address)
    load_shop(house.store, keyring, house.clock, shop_of(size))
    _add_people(house, size)
    _give_slots(house, size)
    devices = [Device(90_001 + n, f"Tablet {n + 1}") for n in range(size.machines)]
    for number, device in enumerate(devices):
        device.enrol(house.store, keyring, house.clock, f"7QF3KM9X{number:03d}")
    return house, devices


def _add_people(house: House, size: Size) -> None:
    """Let everybody in as a lead does; hashing two thousand first secrets is left out."""
    store, now = house.store, house.clock()
    with store.writing():
        for number in range(max(size.people - 5, size.machines * OWNERS)):
            person, owner = person_id(number), number < size.machines * OWNERS
            machine = f"mill-{(number // OWNERS if owner else number % size.machines) + 1}"
            added = names.add(store, person, f"Person {number:04d}", ["operator"])
            change(store, "person.added", "ines", person, None, added, now)
            store.people.authorise(person, machine, utc_text(now), UNTIL)
            data = {"machine": machine, "until_utc": UNTIL}
            change(store, "person.authorised", "ines", person, None, data, now)
        for number in range(size.machines):
            for person in owners(number):
                _give_pin(house, person)


def _give_slots(house: House, size: Size) -> None:
    for number in range(size.machines):
        for label, person in zip(LABELS, owners(number), strict=True):
            give_slot(house.store, f"mill-{number + 1}", label, person, None, "ines", house.clock())


def _give_pin(house: House, person: str) -> None:
    people = house.store.people
    people.change(person, pin_hash=hash_pin(house.keyring.pepper, person, PIN), must_change_pin=False)
    row = people.person(person)
    said = {"secret": "pin", "first": False, "digests": digests_of(row)} if row else {}
    change(house.store, "secret.changed", person, person, None, said, house.clock())
