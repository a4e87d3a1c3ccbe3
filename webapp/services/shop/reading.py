"""Reading the shop for pages: names, its zone, the registers of its machines, its people.

Rules: each function is one view of the store and changes nothing;
what comes back is ready to be shown, and no page asks the store for more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.lengths import Display
from webapp.domain.plain.zones import UTC_NAME
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.slots import SlotRow as DomainSlotRow
from webapp.services.errors import NoSuchPerson
from webapp.services.people.accounts import version_of_person
from webapp.services.setups.half_set import half_set_slots
from webapp.services.setups.touched_at import touched_at
from webapp.services.sheets.stored_rows import slot_row
from webapp.services.shop.slots import slot_now, version_of

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import AuthorisationRow, PersonRow, SlotRow

PEOPLE_A_PAGE = 100
MOST_TO_CHOOSE = 100
# How the ledger names the server, and how a page does.
SERVER_NAME = {"server": "the server"}


def names(store: Store) -> dict[str, str]:
    """Names by id, of people and machines; ids of people and of machines never meet in one column."""
    with store.reading():
        people = store.people.names()
        return {**SERVER_NAME, **_names_of(store, "machine"), **people}


def people_to_choose_from(store: Store) -> dict[str, str] | None:
    """Names of all accounts by id, None where they are too many to be chosen from."""
    with store.reading():
        found = store.people.listed(most=MOST_TO_CHOOSE + 1)
    return {row["id"]: row["name"] for row in found} if len(found) <= MOST_TO_CHOOSE else None


def names_of_machines(store: Store) -> dict[str, str]:
    """Names of the machines in use, by id."""
    with store.reading():
        return _names_of(store, "machine")


def names_of_fixtures(store: Store) -> dict[str, str]:
    """Names of the fixtures in use, by id."""
    with store.reading():
        return _names_of(store, "fixture")


def _names_of(store: Store, kind: str) -> dict[str, str]:
    return {key: str(value["name"]) for key, value in store.shop.items(kind).items()}


def time_zone(store: Store) -> str:
    """The zone that the shop's file names; UTC without a shop or without a name."""
    with store.reading():
        shop = store.shop.item("shop", "shop")
    return str((shop or {}).get("time_zone", UTC_NAME))


@dataclass(frozen=True)
class Register:
    """One machine's slots in its control's order; `half_set` holds the axes without a value by slot, `free`
    the labels that nobody has, `touched_at` the fixture's name by slot where the machine has several.
    """

    id: str
    name: str
    display: Display
    half_set: dict[str, tuple[str, ...]]
    touched_at: dict[str, str]
    rows: tuple[SlotRow, ...]
    free: tuple[str, ...]


def registers(store: Store, now: datetime) -> tuple[Register, ...]:
    """The register of every machine."""
    with store.reading():
        machines = [from_plain(Machine, value) for value in store.shop.items("machine").values()]
        return tuple(
            Register(
                machine.id,
                machine.name,
                machine.display,
                half_set_slots(store, machine.id, now),
                touched_at(store, machine),
                *_taken_and_free(machine, store.shop.slots(machine.id)),
            )
            for machine in machines
        )


def _taken_and_free(machine: Machine, rows: list[SlotRow]) -> tuple[tuple[SlotRow, ...], tuple[str, ...]]:
    taken = [row for row in rows if row["kind"] != "free" or row["last_setup"]]
    return in_family_order(taken, machine.labels), tuple(_free(machine, rows))


@dataclass(frozen=True)
class OneSlot:
    """A slot with its machine: the row as the domain has it, its version, and the row as it is stored."""

    machine: Machine
    row: DomainSlotRow
    version: str
    stored: SlotRow | None
    missing: tuple[str, ...]


def one_slot(store: Store, machine_id: str, label: str, now: datetime) -> OneSlot:
    """One slot of the register. Raises NoSuchMachine, NoSuchSlot."""
    with store.reading():
        row = slot_now(store, machine_id, label)
        value = store.shop.item("machine", machine_id)
        machine = from_plain(Machine, value or {})
        half_set = half_set_slots(store, machine_id, now).get(row.label, ())
        return OneSlot(machine, row, version_of(row), store.shop.slot(machine_id, row.label), half_set)


def owned_slots(store: Store) -> tuple[tuple[str, str, tuple[SlotRow, ...]], ...]:
    """Every machine with the slots that are somebody's: id, name, rows in its control's order."""
    with store.reading():
        machines = [from_plain(Machine, value) for value in store.shop.items("machine").values()]
        return tuple(
            (
                one.id,
                one.name,
                in_family_order([row for row in store.shop.slots(one.id) if row["owner"]], one.labels),
            )
            for one in machines
        )


def in_family_order(rows: list[SlotRow], family: tuple[str, ...]) -> tuple[SlotRow, ...]:
    """Register rows in the order in which the control counts its slots;
    labels outside the family come last.
    """
    places = {label: place for place, label in enumerate(family)}
    return tuple(sorted(rows, key=lambda row: (places.get(row["label"], len(places)), row["label"])))


@dataclass(frozen=True)
class Everybody:
    """A page of accounts by name; by person what they may run, and the slots that are theirs as words.

    `more` is the id to ask for the next page with, None where there is none.
    """

    people: tuple[PersonRow, ...]
    given: dict[str, list[AuthorisationRow]]
    slots: dict[str, list[str]]
    more: str | None


def everybody(store: Store, find: str = "", after: str = "") -> Everybody:
    """Accounts whose name or id has `find` in it, with what they have;
    those behind the account `after`, if any.
    """
    given: dict[str, list[AuthorisationRow]] = {}
    slots: dict[str, list[str]] = {}
    with store.reading():
        last = store.people.person(after) if after else None
        place = (last["name"], last["id"]) if last else None
        found = store.people.listed(find=find, after=place, most=PEOPLE_A_PAGE + 1)
        shown = tuple(found[:PEOPLE_A_PAGE])
        ids = [person["id"] for person in shown]
        for right in store.people.running(ids):
            given.setdefault(right["person"], []).append(right)
        machines = _names_of(store, "machine")
        for slot in store.shop.slots_of(ids):
            if slot["owner"] and slot["machine"] in machines:
                slots.setdefault(slot["owner"], []).append(f"{slot['label']} on {machines[slot['machine']]}")
    return Everybody(shown, given, slots, ids[-1] if len(found) > PEOPLE_A_PAGE else None)


@dataclass(frozen=True)
class OwnPage:
    """A person's own account, what they may run, and the machines' names."""

    person: PersonRow | None
    authorisations: tuple[AuthorisationRow, ...]
    machines: dict[str, str]


def own_page(store: Store, person_id: str) -> OwnPage:
    """What somebody may see of themselves."""
    with store.reading():
        rights = store.people.authorisations(person=person_id)
        running = tuple(one for one in rights if one["withdrawn_at_utc"] is None)
        return OwnPage(store.people.person(person_id), running, _names_of(store, "machine"))


@dataclass(frozen=True)
class PersonsPage:
    """All that a lead may change about somebody: the account, what they may run, their slots, and free ones.

    `slots` are rows of the register with `machine`, `slot_versions` says by "machine label" what tells each
    from the same slot after a change; `free` are (machine, label) that nobody has.
    """

    person: PersonRow
    authorisations: tuple[AuthorisationRow, ...]
    slots: tuple[SlotRow, ...]
    slot_versions: dict[str, str]
    free: tuple[tuple[str, str], ...]
    machines: dict[str, str]
    version: str


def persons_page(store: Store, person_id: str) -> PersonsPage:
    """What the shop has of one person. Raises NoSuchPerson."""
    with store.reading():
        person = store.people.person(person_id)
        if person is None:
            raise NoSuchPerson(person=person_id[:80])
        machines = [from_plain(Machine, value) for value in store.shop.items("machine").values()]
        free = tuple(
            (machine.id, label)
            for machine in machines
            for label in _free(machine, store.shop.slots(machine.id))
        )
        slots, called = tuple(store.shop.slots_of([person_id])), {person_id: person["name"]}
        return PersonsPage(
            person,
            tuple(store.people.running([person_id])),
            slots,
            {f"{one['machine']} {one['label']}": version_of(slot_row(one, called)) for one in slots},
            free,
            {machine.id: machine.name for machine in machines},
            version_of_person(store, person),
        )


def _free(machine: Machine, rows: list[SlotRow]) -> list[str]:
    taken = {row["label"] for row in rows if row["kind"] != "free"}
    return [label for label in machine.labels if label not in taken]
