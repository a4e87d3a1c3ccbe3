"""Tablets, and the codes that enrol them."""

import json
from collections.abc import Mapping
from typing import Any, cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import CodeRow, DeviceRow, Health
from webapp.store.tables.devices import Code, Device


class DevicesRepository(Repository):
    """`jwk` is the public key as a dict;
    `state` is enrolled, disabled or forked; `health` is a dict or None.
    """

    def device(self, device_id: str) -> DeviceRow | None:
        """One tablet, or None."""
        row = self._row(Device.select().where(Device.id == device_id))
        return _read(row) if row else None

    def everything(self) -> list[DeviceRow]:
        """All tablets, disabled ones too, by name."""
        rows = self._rows(Device.select().order_by(Device.name, Device.id))
        return [_read(row) for row in rows]

    def add(self, device_id: str, jwk: Mapping[str, str], **fields: Any) -> None:
        """A new tablet. Raises Conflict if its key is enrolled already."""
        self._run(
            Device.insert({"id": device_id, "jwk": json.dumps(dict(jwk)), "state": "enrolled", **fields})
        )

    def set_state(self, device_id: str, state: str) -> None:
        """Set a tablet's state."""
        self._run(Device.update(state=state).where(Device.id == device_id))

    def set_name(self, device_id: str, name: str) -> None:
        """Call a tablet so from now on."""
        self._run(Device.update(name=name).where(Device.id == device_id))

    def see(self, device_id: str, at_utc: str) -> None:
        """Keep when a tablet was last heard of."""
        self._run(Device.update(last_seen_at_utc=at_utc).where(Device.id == device_id))

    def keep_health(self, device_id: str, health: Health) -> None:
        """Keep what a tablet said last of its storage and its clock."""
        self._run(Device.update(health=json.dumps(health)).where(Device.id == device_id))

    def add_code(self, code_hash: str, made_by: str, made_at_utc: str, until_utc: str) -> None:
        """A new code, by its hash."""
        fields = {"hash": code_hash, "made_by": made_by, "made_at_utc": made_at_utc, "until_utc": until_utc}
        self._run(Code.insert(fields))

    def code(self, code_hash: str) -> CodeRow | None:
        """One code, or None."""
        return self._row(Code.select().where(Code.hash == code_hash))

    def use_code(self, code_hash: str, at_utc: str) -> None:
        """Use a code up."""
        self._run(Code.update(used_at_utc=at_utc).where(Code.hash == code_hash))


def _read(row: Any) -> DeviceRow:
    health = json.loads(row["health"]) if row["health"] else None
    return cast("DeviceRow", {**row, "jwk": json.loads(row["jwk"]), "health": health})
