"""Values that were kept, as they stand in their table."""

from __future__ import annotations

from typing import Any

from webapp.store import Store
from webapp.store.tables.setups import KeptValue


def kept_values(store: Store, fixture: str) -> list[dict[str, Any]]:
    """Values of a fixture on all axes, those left out too, oldest first."""
    query = KeptValue.select().where(KeptValue.fixture == fixture)
    return store.setups._rows(query.order_by(KeptValue.at_utc, KeptValue.setup))
