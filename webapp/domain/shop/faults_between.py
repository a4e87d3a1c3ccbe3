"""What is wrong between the items of a shop that are sound each by itself, or against what stands already."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.shop.slots import SlotFamily, SlotRow, normalise_label, why_no_slot
from webapp.domain.shop.told_shop import Shop


def seatings_to_come(shop: Shop, now_utc: str) -> list[Finding]:
    """Return a fault for each seating that would begin only later: where a fixture stands is known of now."""
    return [
        Finding(
            "shop_file.seating_in_future",
            {"place": f"fixture “{one.fixture}”, seating", "id": one.id, "at_utc": one.since_utc},
        )
        for one in shop.seatings
        if one.since_utc > now_utc
    ]


def faults_between(shop: Shop, ids: Mapping[str, set[str]]) -> Iterator[Finding]:
    """What is wrong between items, among those that are sound each by itself."""
    for machine in shop.machines:
        for kind, name in (*(("fixture", one) for one in machine.fixtures), ("probe", machine.probe)):
            if name not in ids.get(kind, ()):
                yield _unknown(f"machine “{machine.id}”", kind, name)
    bolted: dict[str, str] = {}
    for machine_id, fixture in ((one.id, name) for one in shop.machines for name in one.fixtures):
        if bolted.setdefault(fixture, machine_id) != machine_id:
            said = {"fixture": fixture, "one": bolted[fixture], "other": machine_id}
            yield Finding("shop_file.fixture_twice", {"place": f"machine “{machine_id}”", **said})
    for name in shop.rules.cautions_once_a_shift:
        if name not in ids.get("person", ()):
            yield _unknown("shop, cautions_once_a_shift", "person", name)
    for given in shop.authorisations:
        if given.machine not in ids.get("machine", ()):
            yield _unknown(f"person “{given.person}”, authorised", "machine", given.machine)
    if shop.people and not any("lead" in person.roles and person.in_use for person in shop.people):
        yield Finding("shop_file.no_lead", {"place": "person"})
    yield from _slot_faults(shop, ids)
    names = [one.id for one in shop.seatings]
    for name in sorted({one for one in names if names.count(one) > 1}):
        yield Finding("shop_file.id_twice", {"place": "seating", "id": name})


def _slot_faults(shop: Shop, ids: Mapping[str, set[str]]) -> Iterator[Finding]:
    machines = {one.id: one for one in shop.machines}
    taken: set[tuple[str, str]] = set()
    for slot in shop.slots:
        place = f"slot {slot.machine} {slot.label}"
        if slot.owner is not None and slot.owner not in ids.get("person", ()):
            yield _unknown(place, "person", slot.owner)
        if slot.machine not in ids.get("machine", ()):
            yield _unknown(place, "machine", slot.machine)
        if slot.machine not in machines:
            continue
        try:
            label = normalise_label(slot.label, SlotFamily.parse(machines[slot.machine].slot_family))
            SlotRow(label, slot.kind, slot.owner, slot.owner)  # type: ignore[arg-type]
        except DomainError as error:
            yield Finding(error.code, {**error.fields, "place": place})
            continue
        if (slot.machine, label) in taken:
            yield Finding("shop_file.slot_twice", {"place": place})
        taken.add((slot.machine, label))


def new_owner_faults(
    shop: Shop, owners: Mapping[tuple[str, str], str | None], machines: Collection[str]
) -> list[Finding]:
    """Return a fault for each slot that the file gives to somebody who can have none (`slots.why_no_slot`).

    `owners` says whose each slot is by machine and label, `machines` which machines there are: what stands
    may stay, and at a machine that is new the file says what stood elsewhere.
    """
    out_of_use = {one.id for one in shop.people if not one.in_use}
    stay = {one for one in shop.slots if one.owner and owners.get((one.machine, one.label)) == one.owner}
    having = defaultdict[str, set[str]](set)
    for one in stay:
        having[one.machine].add(one.owner or "")
    faults = []
    for slot in shop.slots:
        if slot.owner is None or slot in stay:
            continue
        others = having[slot.machine]
        in_use = slot.owner not in out_of_use or slot.machine not in machines
        why = why_no_slot(slot.owner, in_use=in_use, owners=others)
        if why is not None:
            place = f"slot {slot.machine} {slot.label}"
            faults.append(Finding(f"shop_file.owner_{why}", {"place": place, "owner": slot.owner}))
        others.add(slot.owner)
    return faults


def _unknown(place: str, kind: str, name: str) -> Finding:
    return Finding("shop_file.unknown_name", {"place": place, "kind": kind, "name": name})
