"""What a tablet asks for, signed: whose request it is, and what it says.

Rule: a request that names no tablet of this shop, that the tablet did not sign, that is of another kind, or
that is no strict JSON, is refused in the same words: they tell a stranger nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.json_strict import read_json
from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey, key_id
from webapp.services.intake.errors import ProofRefused

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import DeviceRow


def read_signed(store: Store, request: str, kind: str) -> tuple[DeviceRow, Any]:
    """The tablet that signed a request of this kind, in whatever state, and what it says.
    Raises ProofRefused.
    """
    try:
        kid = key_id(request)
        with store.reading():
            device = store.devices.device(kid)
        if device is None:
            raise ProofRefused
        payload = read_json(DeviceKey.from_jwk(device["jwk"]).verify(request, kind).payload_bytes)
    except (JwsRefused, DomainError):
        raise ProofRefused from None
    return device, payload
