"""What tablets signed and what stands beside the events: texts that wait for an earlier one, and texts that
were set aside.

Rule: an id is the hash of what was signed, not of the signature; so each is verified again with the key of
the tablet that it is listed under.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.told import UNSIGNED
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import EVENT_TYPE, DeviceKey
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.intake.coming_back import NOT_HELD

if TYPE_CHECKING:
    from webapp.store import Store

Keys = Mapping[str, Mapping[str, str]]
Data = Mapping[str, object]


def misfits_of_waiting(store: Store) -> Iterator[Fault]:
    """What waits for an earlier event is signed: by the tablet that it names, with what it is searched by."""
    with store.reading():
        keys, rows = _keys(store), store.events.waiting()
    for row in rows:
        try:
            verified = DeviceKey.from_jwk(dict(keys[row["device"]])).verify(row["jws"], EVENT_TYPE)
            payload = json.loads(verified.payload_bytes)
            said = verified.event_id, payload["sequence"], payload["previous"] or ""
        except (JwsRefused, ValueError, LookupError, TypeError):
            said = None
        if said != (row["id"], row["sequence"], row["previous"]):
            yield Fault("audit.not_as_said", f"waiting {row['id']}")


def misfits_of_set_aside(store: Store) -> Iterator[Fault]:
    """What a tablet signed and was set aside still has its signature. Read in short transactions."""
    with store.reading():
        keys = _keys(store)
    after: tuple[Any, ...] | None = ()
    while after is not None:
        with store.reading():
            rows, after = store.row_changes.rows("set_aside", after)
        for row in rows:
            if _is_signed(row) and not _verifies(row, keys):
                yield Fault("audit.not_as_said", f"set_aside {row['id']}")


def _keys(store: Store) -> Keys:
    return {row["id"]: row["jwk"] for row in store.devices.everything()}


def _is_signed(row: Data) -> bool:
    nobodys = row["device"] is None or str(row["id"]).startswith(UNSIGNED)
    return not nobodys and row["code"] != NOT_HELD


def _verifies(row: Data, keys: Keys) -> bool:
    try:
        DeviceKey.from_jwk(dict(keys[str(row["device"])])).verify(str(row["jws"]))
    except (JwsRefused, ValueError, LookupError, TypeError):
        return False
    return True
