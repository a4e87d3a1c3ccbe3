"""What left the server, and what was asked for and denied, as entries of the ledger.

Rules: OWASP ASVS 5.0, 16.3.2, and whoever reads the ledger later can tell who took a copy. An entry stands
there before the first byte leaves: where none can be written, nothing is handed out. It belongs to no setup,
because what a lead signs off is what was done in the setup, and reading it does not change that.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.services.evidence.ledger import change

if TYPE_CHECKING:
    from webapp.store import Store

DENIED = "access.denied"
RECORD, UNSIGNED, VALUES = "record.downloaded", "setup.downloaded_unsigned", "values.exported"
SHOP_FILE = "shop.downloaded"
LISTED, OTHER_LIST, TRENDS = "setups.list_exported", "list.exported", "trends.printed"


def downloaded(
    store: Store, kind: str, by: str, subject: str, data: Mapping[str, object], now: datetime
) -> None:
    """Note a copy that is about to leave, by whom, of what: one of RECORD, UNSIGNED, VALUES, SHOP_FILE,
    LISTED, OTHER_LIST, TRENDS.
    """
    with store.writing():
        change(store, kind, by, subject, None, data, now)


def denied(
    store: Store, by: str, asked_for: str, method: str, now: datetime, named: Mapping[str, str]
) -> None:
    """Note that somebody who is signed in asked for what their roles do not give;
    `named` is what the address names, such as a setup.
    """
    data = {"method": method, **({"of": dict(named)} if named else {})}
    with store.writing():
        change(store, DENIED, by, asked_for, None, data, now)
