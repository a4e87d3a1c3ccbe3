"""What stands in the shop, the slot register, the seatings."""

import json
from collections.abc import Collection
from typing import Any, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import AxisChoiceRow, SeatingRow, SlotRow
from webapp.store.tables.shop import AxisChoice, Item, Seating, Slot

SEE_SLOT = (
    "UPDATE slot SET last_values = ?, last_seen_at_utc = ?, last_setup = ? "
    "WHERE machine = ? AND label = ? AND (last_seen_at_utc IS NULL OR last_seen_at_utc <= ?)"
)
CHOSEN = ("ask_one_in", "stop_one_in", "ceiling_nm", "coverage_factor", "stop_length_nm")


class ShopRepository(Repository):
    """Items are values of the domain in JSON, by kind (shop, machine, fixture, probe, procedure) and id."""

    def item(self, kind: str, item_id: str) -> dict[str, Any] | None:
        """The value of one item in use, or None."""
        row = self._row(Item.select().where((Item.kind == kind) & (Item.id == item_id) & Item.active))
        return json.loads(row["value"]) if row else None

    def items(self, kind: str) -> dict[str, dict[str, Any]]:
        """Values of all items of a kind that are in use, by id."""
        query = Item.select().where((Item.kind == kind) & Item.active).order_by(Item.id)
        return {row["id"]: json.loads(row["value"]) for row in self._rows(query)}

    def put(self, kind: str, item_id: str, value: dict[str, Any]) -> None:
        """Set the value of an item and take it into use."""
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        fields = {"kind": kind, "id": item_id, "value": text, "active": True}
        key = [Item.kind, Item.id]
        self._run(Item.insert(fields).on_conflict(conflict_target=key, preserve=[Item.value, Item.active]))

    def retire(self, kind: str, item_id: str) -> None:
        """Take an item out of use; its value stays."""
        self._run(Item.update(active=False).where((Item.kind == kind) & (Item.id == item_id)))

    def slots_of(self, people: Collection[str]) -> list[SlotRow]:
        """The slots of every machine that belong to one of these people, by machine and label."""
        query = Slot.select().where(Slot.owner.in_(list(people))).order_by(Slot.machine, Slot.label)
        return [_read_slot(row) for row in self._rows(query)]

    def slots(self, machine: str) -> list[SlotRow]:
        """The register of one machine. `last_values` is a dict of whole nanometres by axis, or None."""
        query = Slot.select().where(Slot.machine == machine).order_by(Slot.label)
        return [_read_slot(row) for row in self._rows(query)]

    def slot(self, machine: str, label: str) -> SlotRow | None:
        """One row of the register, or None."""
        row = self._row(Slot.select().where((Slot.machine == machine) & (Slot.label == label)))
        return _read_slot(row) if row else None

    def put_slot(
        self,
        machine: str,
        label: str,
        kind: str,
        owner: str | None,
        until_utc: str | None,
        *,
        held_back: bool = False,
    ) -> None:
        """Set whose a slot is; what was last seen in it stays."""
        fields = {"kind": kind, "owner": owner, "until_utc": until_utc, "held_back": held_back}
        changed = self._run(Slot.update(fields).where((Slot.machine == machine) & (Slot.label == label)))
        if not changed:
            self._run(Slot.insert({"machine": machine, "label": label, **fields}))

    def remove_slot(self, machine: str, label: str) -> None:
        """Take a row out of the register."""
        self._run(Slot.delete().where((Slot.machine == machine) & (Slot.label == label)))

    def see_slot(self, machine: str, label: str, values_nm: dict[str, int], at_utc: str, setup: str) -> None:
        """Keep what was seen in a slot, unless something later was seen already."""
        values = (json.dumps(values_nm), at_utc, setup, machine, label, at_utc)
        self._database.run_many(SEE_SLOT, [values])

    def seating_now(self, fixture: str) -> SeatingRow | None:
        """The seating that the fixture is in, or None."""
        return self._row(Seating.select().where((Seating.fixture == fixture) & Seating.until_utc.is_null()))

    def seatings(self, fixture: str) -> list[SeatingRow]:
        """All seatings of a fixture, oldest first."""
        return self._rows(Seating.select().where(Seating.fixture == fixture).order_by(Seating.since_utc))

    def start_seating(self, seating: str, fixture: str, since_utc: str, reason: str) -> None:
        """End the seating that the fixture was in and start another."""
        now = (Seating.fixture == fixture) & Seating.until_utc.is_null()
        self._run(Seating.update(until_utc=since_utc).where(now))
        self._run(Seating.insert(id=seating, fixture=fixture, since_utc=since_utc, reason=reason))

    def choice(self, fixture: str, axis: str) -> AxisChoiceRow | None:
        """Where the lead chose other lines than the shop's for an axis: that choice, else None."""
        return self._row(AxisChoice.select().where(_of(fixture, axis)))

    def put_choice(self, fixture: str, axis: str, **choice: Any) -> None:
        """Set the choice of an axis: ask_one_in, stop_one_in, ceiling_nm, coverage_factor, stop_length_nm."""
        key, row = [AxisChoice.fixture, AxisChoice.axis], {"fixture": fixture, "axis": axis, **choice}
        others = [getattr(AxisChoice, name) for name in CHOSEN]
        self._run(AxisChoice.insert(row).on_conflict(conflict_target=key, preserve=others))

    def remove_choice(self, fixture: str, axis: str) -> int:
        """Let the shop's choice hold again; how many rows went (0 or 1)."""
        return self._run(AxisChoice.delete().where(_of(fixture, axis)))


def _of(fixture: str, axis: str) -> Any:
    return (AxisChoice.fixture == fixture) & (AxisChoice.axis == axis)


def _read_slot(row: Any) -> SlotRow:
    return cast(
        "SlotRow", {**row, "last_values": json.loads(row["last_values"]) if row["last_values"] else None}
    )
