"""Sealed PINs: whose they are, and how one is kept that waits for its check.

Rules: a seal counts beside an event only with the signature of the event's tablet around it. A tablet that
was enrolled before tablets signed seals may go on without, so that nobody in the middle of a setup is
stopped by a newer server, until the first one that it signs; that stands on the ledger. What waits is kept
under a key of its own, outside of the database and its backups; with the key it is gone, whatever a disk
keeps of the row.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from webapp.proof.errors import PinSealRefused
from webapp.proof.keys.jwe import is_signed, seal_signed_by
from webapp.proof.keys.kept_seal import close_seal, open_kept
from webapp.services.evidence.ledger import SERVER, change, said_by

if TYPE_CHECKING:
    from webapp.store import Store

ENROLLED, SIGNS_SEALS = "device.enrolled", "device.signs_seals"
# A key is made before the row that it closes: a transaction is over long before this.
BEING_MADE = timedelta(minutes=10)


def as_the_tablet_sealed(store: Store, device_id: str, seal: str, now: datetime) -> str:
    """The seal inside the tablet's signature. Raises PinSealRefused. Outside any transaction."""
    with store.reading():
        device, early = store.devices.device(device_id), _signs_none_yet(store, device_id)
    if early and not is_signed(seal):
        return seal
    if device is None:
        raise PinSealRefused("pin_seal.not_signed")
    found = seal_signed_by(seal, device["jwk"])
    if early:
        with store.writing():
            if _signs_none_yet(store, device_id):
                change(store, SIGNS_SEALS, SERVER, device_id, None, {}, now)
    return found


def _signs_none_yet(store: Store, device_id: str) -> bool:
    """Whether a tablet is from before tablets signed seals, and signed none since. Inside a transaction."""
    last = store.ledger.newest_about(device_id, (ENROLLED, SIGNS_SEALS))
    return last is not None and last["type"] == ENROLLED and "code" not in said_by(last["text"])


def closed(store: Store, event: str, seal: str | None) -> str | None:
    """What is kept of a seal, once its key is on the disk. Raises FolderNotWritable, DiskFull, DiskFailed."""
    return None if seal is None else close_seal(seal, store.short_keys.make(event), event)


def kept(store: Store, event: str) -> str | None:
    """The seal that waits for its check beside an event; None where there is none, or its key is gone.
    Inside a transaction.
    """
    found = store.events.pending_seal(event)
    return None if found is None else open_kept(found, store.short_keys.key(event), event)


def forget(store: Store, event: str) -> None:
    """Destroy the key of a seal whose row is gone. Outside any transaction."""
    with store.reading():
        waits = store.events.pending_seal(event) is not None
    if not waits:
        store.short_keys.destroy(event)


def forget_all_but_waiting(store: Store, now: datetime) -> None:
    """Destroy keys that a crash left behind: of seals that no row keeps, and made long enough ago that no
    other process is about to write one. Outside any transaction.
    """
    with store.reading():
        waiting = [row["event"] for row in store.events.pending_seals()]
    store.short_keys.destroy_all_but(waiting, now - BEING_MADE)
