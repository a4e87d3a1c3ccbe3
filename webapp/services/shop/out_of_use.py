"""A machine, a fixture or a probe taken out of use, and back into it, with a reason.

Rules:
- it is taken out where nothing hangs on it: no machine in use names it, and no setup with it is under way.
  One that was last heard of longer ago than the longest shift was left, and keeps nothing in use for ever;
- its value, its seatings, its slots and all that was touched stay as they are; only no sheet is made of it
  any more, and tablets learn of it at their next contact;
- back in use it is as it was, where that still holds: what a machine names has to be in use, bolted nowhere
  else and in no seating of another machine, and its sheets have to hold what a record proves;
- a fixture comes back in a new seating: nobody can say that it stands to a hundredth where it stood;
- of two leads who do the same at once the second is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal, cast

from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.asked import Kind
from webapp.domain.shop.fields import as_plain, from_plain
from webapp.domain.shop.fitted_machine import fixtures_of
from webapp.domain.shop.shop import LONGEST_SHIFT_HOURS, Machine
from webapp.domain.shop.typed_item import CLASSES, Item
from webapp.services.errors import NoSuchItem, OutOfUseAlready, SetupUnderWay, StillBoltedThere
from webapp.services.evidence.ledger import change, on_ledger
from webapp.services.people.access import must_be_lead
from webapp.services.setups.stored_setups import sheet_of
from webapp.services.sheets.holding_here import must_hold, short_now
from webapp.services.shop import bolted, told_apart
from webapp.services.shop.loading import as_stored
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow

Part = Literal["machine", "fixture", "probe"]
RUNNING = ("running",)
SEATING_STARTED = "seating.started"


@dataclass(frozen=True)
class Standing:
    """A thing of the shop: its name and whether it is in use."""

    kind: Part
    id: str
    name: str
    in_use: bool


def standing(store: Store, kind: Part, item_id: str) -> Standing:
    """How a thing stands. Raises NoSuchItem."""
    with store.reading():
        value = store.shop.item(kind, item_id)
        known = value or store.shop.item_out_of_use(kind, item_id)
    if known is None:
        raise NoSuchItem(kind=kind, id=item_id[:80])
    return Standing(kind, item_id, str(known.get("name", item_id)), value is not None)


def all_out(store: Store, kind: Part) -> list[Standing]:
    """Everything of a kind that is out of use, by id."""
    with store.reading():
        rows = store.shop.items_out_of_use(kind)
    return [Standing(kind, key, str(value.get("name", key)), in_use=False) for key, value in rows.items()]


def take_out(store: Store, kind: Part, item_id: str, reason: str, by: str, now: datetime) -> None:
    """Take it out of use. Raises RoleMissing, ReasonMissing, NoSuchItem, OutOfUseAlready, StillBoltedThere,
    SetupUnderWay.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        value = store.shop.item(kind, item_id)
        if value is None:
            raise _not_there(store, kind, item_id)
        if (machine := next(_named_by(store, kind, item_id), None)) is not None:
            raise StillBoltedThere(name=str(value["name"]), machine=machine)
        if (row := next(_under_way(store, kind, item_id, now), None)) is not None:
            person = store.people.names().get(row["person"], row["person"])
            raise SetupUnderWay(person=person, at_utc=row["last_at_utc"])
        store.shop.retire(kind, item_id)
        change(store, f"{kind}.retired", by, item_id, None, {"reason": reason}, now)


def take_back(
    store: Store, kind: Part, item_id: str, reason: str, by: str, now: datetime, seating: str
) -> None:
    """Take it into use again as it was; a fixture in a new seating under this id, from now.

    Raises RoleMissing, ReasonMissing, NoSuchItem, OutOfUseAlready, FixtureElsewhere, SeatingOfElsewhere,
    MachineNameTaken, FixtureNameTaken, ProcedureFallsShort, and a ShopError where its value is one no more.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        known = store.shop.item_out_of_use(kind, item_id)
        if known is None:
            raise _not_there(store, kind, item_id, in_use=False)
        item = cast("Item", from_plain(CLASSES[cast("Kind", kind)], known))
        if isinstance(item, Machine):
            _must_be_whole(store, item)
        value, called_so = as_stored(as_plain(item)), told_apart.called_the_same(store)
        store.shop.put(kind, item_id, value)
        for fault in told_apart.faults(store, called_so):
            raise fault
        if kind == "machine":
            must_hold(short_now(store, [item_id]))
        change(store, f"{kind}.changed", by, item_id, None, _said(value, reason), now)
        if kind == "fixture":
            store.shop.start_seating(seating, item_id, utc_text(now), reason)
            begun = {"seating": seating, "reason": reason, "since_utc": utc_text(now)}
            change(store, SEATING_STARTED, by, item_id, None, begun, now)


def _said(value: dict[str, object], reason: str) -> dict[str, object]:
    return {"value": on_ledger(value), "before": {}, "reason": reason, "back_in_use": True}


def _must_be_whole(store: Store, machine: Machine) -> None:
    """Raise where a part of the machine is out of use, or bolted to another one by now."""
    for kind, names in (("fixture", machine.fixtures), ("probe", (machine.probe,))):
        for name in names:
            if store.shop.item(kind, name) is None:
                raise NoSuchItem(kind=kind, id=name)
    for fault in bolted.faults(store, machine, machine.fixtures):
        raise fault


def _not_there(store: Store, kind: Part, item_id: str, *, in_use: bool = True) -> DomainError:
    known = store.shop.item_out_of_use(kind, item_id) if in_use else store.shop.item(kind, item_id)
    return NoSuchItem(kind=kind, id=item_id[:80]) if known is None else OutOfUseAlready()


def _named_by(store: Store, kind: Part, item_id: str) -> Iterator[str]:
    for value in store.shop.items("machine").values():
        if item_id in {"fixture": fixtures_of(value), "probe": (value["probe"],)}.get(kind, ()):
            yield str(value["name"])


def _under_way(store: Store, kind: Part, item_id: str, now: datetime) -> Iterator[SetupRow]:
    """Setups with it that run and were heard of within the longest shift."""
    since_utc = utc_text(now - timedelta(hours=LONGEST_SHIFT_HOURS))
    for row in store.setups.setups(status=RUNNING, machine=item_id if kind == "machine" else None):
        if row["last_at_utc"] >= since_utc and sheet_of(store, row["sheet"])[kind]["id"] == item_id:
            yield row
