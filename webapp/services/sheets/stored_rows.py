"""What is stored for a sheet, as the domain takes it: a row of the register, the procedure in use."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, cast

from webapp.domain.evidence.told import PROCEDURE, own_procedure_id
from webapp.domain.plain.axes import Axis
from webapp.domain.procedure.procedure import Revision
from webapp.domain.shop.slots import SlotKind, SlotRow
from webapp.services.errors import NoShopYet
from webapp.services.times import from_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SlotRow as StoredSlot


def procedure_used(store: Store, fixture_id: str | None = None) -> Revision:
    """The published procedure that a fixture is worked by, its own or the shop's; the shop's for None.
    Inside the caller's transaction. Raises NoShopYet, RevisionChangedError.
    """
    own = store.shop.item("procedure", own_procedure_id(fixture_id)) if fixture_id else None
    value = own or store.shop.item("procedure", PROCEDURE)
    if value is None:
        raise NoShopYet
    return Revision.from_text(value["text"], value["hash"])


def slot_row(row: StoredSlot, names: Mapping[str, str]) -> SlotRow:
    """A row of the register as the domain takes it."""
    values = row["last_values"]
    return SlotRow(
        label=row["label"],
        kind=cast("SlotKind", row["kind"]),
        owner_id=row["owner"],
        owner_name=names.get(row["owner"]) if row["owner"] else None,
        until_utc=from_text(row["until_utc"]) if row["until_utc"] else None,
        last_values_nm={Axis(axis): value for axis, value in values.items()} if values else None,
        last_seen_at_utc=from_text(row["last_seen_at_utc"]) if row["last_seen_at_utc"] else None,
        held_back=bool(row["held_back"]),
    )
