"""What whoever runs the server watches: counts and times, without a name and without a value of a touch.

Every figure is one that the database gives, so that each of several workers says the same; each costs the
same however many setups there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.services.audit.auditing import last_run
from webapp.services.evidence import safekeeping
from webapp.services.setups.listing import waiting_for_sign_off
from webapp.services.times import from_text

if TYPE_CHECKING:
    from webapp.store import Store


@dataclass(frozen=True, slots=True)
class Figures:
    """What stands now. Times are aware; None where the thing has never been."""

    ledger_entries: int
    setups_waiting: int
    tablets_in_use: int
    audit_at: datetime | None
    audit_faults: int | None
    backup_at: datetime | None
    backup_tried_at: datetime | None


def look(store: Store) -> None:
    """Ask the database for one row. Raises StoreError where it does not answer."""
    with store.reading():
        store.ledger.size()


def figures(store: Store) -> Figures:
    """What stands now. Raises StoreError where the database does not answer."""
    audited = last_run(store)
    waiting = waiting_for_sign_off(store)
    backups = safekeeping.newest(store)
    with store.reading():
        entries = store.ledger.size()
        tablets = [device for device in store.devices.everything() if device["state"] == "enrolled"]
    return Figures(
        ledger_entries=entries,
        setups_waiting=waiting,
        tablets_in_use=len(tablets),
        audit_at=from_text(audited["at_utc"]) if audited else None,
        audit_faults=audited["faults"] if audited else None,
        backup_at=backups.made,
        backup_tried_at=backups.tried,
    )
