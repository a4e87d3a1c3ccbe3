"""Statements by which one key of the server took over from another, as they stand on the ledger."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store import Store

HEAD_KEY_RENEWED, PIN_KEY_RENEWED = "head_key.renewed", "pin_key.renewed"
RECEIPT_KEY_RENEWED = "receipt_key.renewed"


def all_statements(store: Store) -> list[str]:
    """The same in a transaction of its own."""
    with store.reading():
        return statements(store)


def statements(store: Store) -> list[str]:
    """The signed statements of the receipt key, oldest first. Inside a transaction."""
    rows = store.ledger.changes(kind=RECEIPT_KEY_RENEWED, newest=None)
    return [str(json.loads(row["text"])["data"]["statement"]) for row in reversed(rows)]
