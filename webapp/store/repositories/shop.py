"""What stands in the shop, the slot register, the seatings."""

import json
from collections.abc import Collection
from typing import Any, cast

from peewee import JOIN

from webapp.store.repositories.base import Repository
from webapp.store.rows import AxisChoiceRow, SeatingRow, SlotRow
from webapp.store.tables.people import PersonName
from webapp.store.tables.shop import AxisChoice, Item, Seating, Slot

# What an upload asks of each setup is written out: building a query takes longer than running it.
LAST_SEEN = "SELECT last_setup, last_seen_at_utc FROM slot WHERE machine = ? AND label = ?"
SEE_SLOT = (
    "UPDATE slot SET last_values = ?, last_seen_at_utc = ?, last_setup = ?, used_otherwise = ? "
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

    def item_out_of_use(self, kind: str, item_id: str) -> dict[str, Any] | None:
        """The value that an item had when it was taken out of use, or None for one in use or unknown."""
        here = (Item.kind == kind) & (Item.id == item_id) & ~Item.active
        row = self._row(Item.select().where(here))
        return json.loads(row["value"]) if row else None

    def items_out_of_use(self, kind: str) -> dict[str, dict[str, Any]]:
        """The values that items of a kind had when they were taken out of use, by id."""
        query = Item.select().where((Item.kind == kind) & ~Item.active).order_by(Item.id)
        return {row["id"]: json.loads(row["value"]) for row in self._rows(query)}

    def is_known(self, kind: str, item_id: str) -> bool:
        """Whether there is, or ever was, an item of this id."""
        return self._row(Item.select(Item.id).where((Item.kind == kind) & (Item.id == item_id))) is not None

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

    def slots_found(
        self,
        *,
        machine: str | None = None,
        owner: str | None = None,
        only: str | None = None,
        now_utc: str = "",
        words: str | None = None,
        after: tuple[str, str] | None = None,
        most: int,
    ) -> list[SlotRow]:
        """Rows of the register of machines in use that all of this fits, by machine and label.

        `only`: "person", "shop", "ended" (by `now_utc`), "held_back" or "used"; `words` stands in the label,
        or in the owner's name or id; `after` is machine and label of the last row of the page before.
        """
        in_use = Item.select(Item.id).where((Item.kind == "machine") & Item.active)
        query = Slot.select().join(PersonName, JOIN.LEFT_OUTER, on=PersonName.person == Slot.owner)
        query = query.where(Slot.machine.in_(in_use)).order_by(Slot.machine, Slot.label).limit(most)
        if machine is not None:
            query = query.where(Slot.machine == machine)
        if owner is not None:
            query = query.where(Slot.owner == owner)
        if only is not None:
            query = query.where(_only(only, now_utc))
        if words is not None:
            named = PersonName.name.contains(words) | Slot.owner.contains(words)
            query = query.where(Slot.label.contains(words) | named)
        if after is not None:
            behind = (Slot.machine > after[0]) | ((Slot.machine == after[0]) & (Slot.label > after[1]))
            query = query.where((Slot.machine >= after[0]) & behind)
        return [_read_slot(row) for row in self._rows(query)]

    def slot(self, machine: str, label: str) -> SlotRow | None:
        """One row of the register, or None."""
        row = self._row(Slot.select().where((Slot.machine == machine) & (Slot.label == label)))
        return _read_slot(row) if row else None

    def last_seen(self, machine: str, label: str) -> tuple[str | None, str | None]:
        """Which setup saw a row of the register last, and when; twice None where nobody did."""
        rows = self._database.raw(LAST_SEEN, (machine, label))
        return (rows[0][0], rows[0][1]) if rows else (None, None)

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

    def see_slot(
        self,
        machine: str,
        label: str,
        values_nm: dict[str, int],
        at_utc: str,
        setup: str,
        *,
        used_otherwise: bool = False,
    ) -> None:
        """Keep what was seen in a slot, unless something later was seen already.
        `used_otherwise`: this setup found other values there than were last seen.
        """
        found_by = setup if used_otherwise else None
        values = (json.dumps(values_nm), at_utc, setup, found_by, machine, label, at_utc)
        self._database.run_many(SEE_SLOT, [values])

    def seating_now(self, fixture: str) -> SeatingRow | None:
        """The seating that the fixture is in, or None."""
        return self._row(Seating.select().where((Seating.fixture == fixture) & Seating.until_utc.is_null()))

    def seatings(self, fixture: str) -> list[SeatingRow]:
        """All seatings of a fixture, oldest first."""
        return self._rows(Seating.select().where(Seating.fixture == fixture).order_by(Seating.since_utc))

    def start_seating(self, seating: str, fixture: str, since_utc: str, reason: str) -> None:
        """Put a seating into its place in time: it ends the one before it, and ends where a later one begins.
        Of two that begin at one time the one that came last is the later one.
        """
        mine = Seating.select().where(Seating.fixture == fixture)
        after, until_then = Seating.since_utc > since_utc, Seating.since_utc <= since_utc
        newest_first = (Seating.since_utc.desc(), Seating.until_utc.is_null().desc())
        later = self._row(mine.where(after).order_by(Seating.since_utc).limit(1))
        before = self._row(mine.where(until_then).order_by(*newest_first).limit(1))
        if before is not None:
            self._run(Seating.update(until_utc=since_utc).where(Seating.id == before["id"]))
        row = {"id": seating, "fixture": fixture, "since_utc": since_utc, "reason": reason}
        self._run(Seating.insert({**row, "until_utc": later["since_utc"] if later else None}))

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


def _only(which: str, now_utc: str) -> Any:
    if which == "used":
        return ~Slot.used_otherwise.is_null()
    if which == "held_back":
        return Slot.held_back
    if which == "ended":
        return Slot.until_utc <= now_utc
    return Slot.kind == which


def _read_slot(row: Any) -> SlotRow:
    return cast(
        "SlotRow", {**row, "last_values": json.loads(row["last_values"]) if row["last_values"] else None}
    )
