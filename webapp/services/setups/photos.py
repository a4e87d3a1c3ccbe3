"""Pictures of a setup for whoever may see it.

Rules: what is shown is the file that the server made, by the hash that the ledger names; a picture whose
record was disposed of went with it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from webapp.services.errors import NoSuchPhoto
from webapp.services.setups import recording, stored_setups

if TYPE_CHECKING:
    from webapp.store import Store


def picture(store: Store, setup_id: str, event_id: str) -> bytes:
    """The JPEG file of a photo. Raises NoSuchSetup, NoSuchPhoto (also where it has not come yet),
    RecordDisposed, DatabaseDamaged.
    """
    with store.reading():
        photos = stored_setups.fold_stored(store, setup_id)["photos"]
        found = next((one["picture"] for one in photos if one["event"] == event_id), None)
        if found is None or found["sha256"] is None:
            raise NoSuchPhoto(event=event_id[:64])
        record = store.records.record(setup_id)
        if record is not None:
            recording.must_be_kept(store, record)
    return store.photos.read(found["sha256"])
