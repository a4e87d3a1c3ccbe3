"""Which slots of a machine were left half set, by the last setup in each.

Rules: a slot is looked at by the last setup that was seen in it;
one that is running and was heard of lately is being set, not left; the state is the fold's, as everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from webapp.domain.setup.touching.half_set import missing_axes, not_usable_axes
from webapp.services.setups.stored_setups import WHOLE, fold_stored, sheet_of
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store

IN_USE_HOURS = 2


def half_set_slots(store: Store, machine_id: str, now: datetime) -> dict[str, tuple[str, ...]]:
    """The axes without a value by slot label,
    for slots that were left so, inside the caller's transaction.
    """
    return {label: left.missing for label, left in left_slots(store, machine_id, now).items()}


@dataclass(frozen=True)
class LeftSlot:
    """How a slot was left: the axes without a value, and those that a stop kept from standing."""

    missing: tuple[str, ...]
    not_usable: tuple[str, ...]


def left_slots(store: Store, machine_id: str, now: datetime) -> dict[str, LeftSlot]:
    """Slots that their last setup left without all their values,
    by label, inside the caller's transaction.
    """
    last = {row["label"]: row["last_setup"] for row in store.shop.slots(machine_id) if row["last_setup"]}
    setups = store.setups.setups_by_id(set(last.values()))
    recent_utc = utc_text(now - timedelta(hours=IN_USE_HOURS))
    found: dict[str, LeftSlot] = {}
    for label, setup_id in last.items():
        row = setups[setup_id]
        if row["outcome"] == WHOLE or (row["status"] == "running" and row["last_at_utc"] >= recent_utc):
            continue
        state = fold_stored(store, setup_id)
        missing = missing_axes(sheet_of(store, row["sheet"]), state)
        if missing:
            found[label] = LeftSlot(missing, not_usable_axes(state))
    return found
