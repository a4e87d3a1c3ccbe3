"""Whether an upload comes from a tablet that is in use here.

Rules: a name in a header proves nothing, a signature that fits does. One event that verifies is enough:
whoever can send one of a tablet's own events is not a stranger to it. Only the first few texts are looked at,
because a tablet signs all that it sends, and a stranger may send thousands. Nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import TYPE_CHECKING

from webapp.proof.errors import JwsRefused
from webapp.proof.keys.jws import DeviceKey
from webapp.services.intake.reading import named_device

if TYPE_CHECKING:
    from webapp.store import Store

IN_USE = frozenset({"enrolled", "forked"})
MOST_TRIED = 5


def is_known(store: Store, texts: Iterable[str], typ: str | None = None) -> bool:
    """Whether one of the first few texts is signed by the tablet in use that it names; `typ` None: events."""
    for text in islice(texts, MOST_TRIED):
        name = named_device(text)
        if name is None:
            continue
        with store.reading():
            device = store.devices.device(name)
        if device is None or device["state"] not in IN_USE:
            continue
        if _verifies(device["jwk"], text, typ):
            return True
    return False


def _verifies(jwk: dict[str, str], text: str, typ: str | None) -> bool:
    try:
        key = DeviceKey.from_jwk(jwk)
        key.verify(text) if typ is None else key.verify(text, typ)
    except JwsRefused:
        return False
    return True
