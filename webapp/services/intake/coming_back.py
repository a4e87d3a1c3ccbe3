"""What tablets still hold and the shop has lost, because a backup was brought back.

Rules:
- a sheet is handed out with a tag: HMAC-SHA-256 of its hash under a key of the pepper, which every backup
  has. A sheet that comes back with its tag is one that this server made, whoever brings it; events on it are
  judged anew;
- a tablet forgets what is long over. Events behind one that neither the shop nor the tablet has would wait
  for ever: the tablet says, signed, that it no longer holds it, and it counts as a link of the chain that was
  set aside. It is judged like any other should it come after all.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Iterable
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from webapp.proof.keys.encoding import from_base64url, to_base64url
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.store import Store
    from webapp.store.rows import SetAsideRow

TAG_KEY = b"zerokeep/sheet/1"
NOT_HELD = "chain.not_held"
BROUGHT_BACK = "sheet.brought_back"


def sheet_tag(keyring: KeyRing, sheet_hash: str) -> str:
    """What shows later that this server handed out the sheet of this hash."""
    key = HKDF(SHA256(), 32, None, TAG_KEY).derive(keyring.pepper)
    return to_base64url(hmac.digest(key, sheet_hash.encode(), sha256))


def take_sheet(store: Store, keyring: KeyRing, text: str, tag: str, now: datetime) -> bool:
    """Take back a sheet that this server handed out; whether it is one. One that is there stays as it is."""
    sheet_hash = sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    try:
        is_ours = hmac.compare_digest(from_base64url(tag), from_base64url(sheet_tag(keyring, sheet_hash)))
    except ValueError:
        return False
    if not is_ours:
        return False
    sheet = json.loads(text)
    machine, times = sheet["machine"]["id"], (sheet["compiled_at_utc"], sheet["expires_at_utc"])
    with store.writing():
        if not store.sheets.has_sheet(sheet_hash):
            # With the time: each return of a sheet is a change of its row, of which a note is made.
            content = f"{BROUGHT_BACK} {utc_text(now)}"
            store.sheets.keep_sheet(sheet_hash, machine, text, content, times)
            change(store, BROUGHT_BACK, SERVER, machine, None, {"sheet": sheet_hash}, now)
    return True


def bridge(store: Store, device: str, not_held: Iterable[str], now: datetime) -> None:
    """Let the events of a tablet go on that wait for one which nobody has.

    `not_held`: ids of which the tablet says, signed, that it no longer holds them.
    """
    with store.reading():
        waited_for = {row["previous"] for row in store.events.waiting(device)} & set(not_held)
        missing = waited_for - store.events.events_by_id(waited_for).keys()
    if not missing:
        return
    with store.writing():
        done = [event for event in sorted(missing) if store.events.set_aside(_nobodys(event, device, now))]
        if done:
            change(store, NOT_HELD, SERVER, device, None, {"events": done}, now)


def _nobodys(event: str, device: str, now: datetime) -> SetAsideRow:
    return {
        "id": event,
        "jws": "",
        "code": NOT_HELD,
        "fields": {},
        "device": device,
        "sequence": None,
        "setup": None,
        "received_at_utc": utc_text(now),
        "source": None,
    }
