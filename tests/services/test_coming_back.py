"""What tablets bring after a backup was brought back: sheets by their tag, events behind what nobody has."""

from __future__ import annotations

import hmac
import json
from hashlib import sha256
from typing import Any

from tests.kit.house import House
from webapp.proof.keys.encoding import from_base64url
from webapp.services.audit.auditing import audit
from webapp.services.intake import coming_back, intake
from webapp.services.intake.coming_back import NOT_HELD

NOTHING_AS_SALT = bytes(32)
FIRST_BLOCK = b"\x01"


def not_held(house: House) -> list[Any]:
    """What the ledger says that a tablet no longer holds, a list an entry."""
    with house.store.reading():
        rows = house.store.ledger.changes(kind=NOT_HELD)
    return [json.loads(row["text"])["data"]["events"] for row in rows]


def test_a_sheet_s_tag_is_what_the_standards_make_of_it(house: House) -> None:
    """HKDF by hand (RFC 5869 sections 2.2 and 2.3, from memory: no salt is as many zeros as the hash is long,
    one block is enough for 32 bytes) and HMAC-SHA-256: a sheet of today comes back to every later version.
    """
    extracted = hmac.digest(NOTHING_AS_SALT, house.keyring.pepper, sha256)
    key = hmac.digest(extracted, b"zerokeep/sheet/1" + FIRST_BLOCK, sha256)
    sheet_hash, _ = house.sheet()
    tag = coming_back.sheet_tag(house.keyring, sheet_hash)
    assert from_base64url(tag) == hmac.digest(key, sheet_hash.encode(), sha256)


def test_events_behind_one_that_nobody_has_go_on_once_their_tablet_says_that_it_is_gone(house: House) -> None:
    parts = house.walk().through().parts
    ids = [receipt["event"] for receipt in house.accept([*parts[:3], *parts[4:]])]
    gone = next(row["previous"] for row in intake.waiting(house.store) if row["previous"] not in ids)
    device = house.device.id
    for said in ([], [ids[0]], ["0" * 64]):
        coming_back.bridge(house.store, device, said, house.clock())
    coming_back.bridge(house.store, "another tablet", [gone], house.clock())
    assert not_held(house) == []
    for _ in range(2):
        coming_back.bridge(house.store, device, [gone, ids[0]], house.clock())
    assert not_held(house) == [[gone]]
    assert {one["outcome"] for one in house.accept(parts[4:])} == {"accepted"}
    assert intake.waiting(house.store) == []
    assert audit(house.store) == []
