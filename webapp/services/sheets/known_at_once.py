"""What of a sheet every tablet has to know at once, and what may come a little later where it is not used.

Rules: values, their lines and what was last seen in a slot change with every touch, and a tablet that is used
elsewhere may learn of them later. Everything else, people, rights, slots, worries, the machine's, the vise's
and the probe's measures, the procedure, is told at once: a sheet that differs there is not held back.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from hashlib import sha256
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.domain.evidence.written_sheet import WrittenSheet
    from webapp.store import Store

LATER = {"axes", "square", "compiled_at_utc", "expires_at_utc"}
LATER_OF_SLOT = {"last_seen_at_utc", "last_values_nm", "last_fixture_name"}
LATER_OF_SHOP = {"offsets"}  # they begin with the moment at which a sheet is made
LATER_OF_BOARD = {"since_utc", "by_name", "open_questions"}
MOST_KEPT = 2_000

_digests: dict[str, str] = {}


def known_at_once(store: Store, hashes: Collection[str]) -> dict[str, str]:
    """A digest of what has to be known at once, by sheet hash; inside the caller's transaction.

    A sheet never changes under its hash, so each is read once in this process.
    """
    for one in list(_digests)[: len(_digests) - MOST_KEPT]:  # the oldest
        _digests.pop(one, None)
    unread = [one for one in hashes if one not in _digests]
    for sheet_hash, text in store.sheets.texts_of_sheets(unread).items():
        _digests[sheet_hash] = _digest(json.loads(text))
    return {one: _digests[one] for one in hashes if one in _digests}


def _digest(sheet: WrittenSheet) -> str:
    told = _without(sheet, LATER)
    told["shop"] = _without(sheet["shop"], LATER_OF_SHOP)
    told["board"] = _without(sheet["board"], LATER_OF_BOARD)
    told["slots"] = [_without(slot, LATER_OF_SLOT) for slot in sheet["slots"]]
    return sha256(json.dumps(told, sort_keys=True).encode("utf-8", "surrogatepass")).hexdigest()


def _without(value: Mapping[str, object], names: Collection[str]) -> dict[str, object]:
    return {name: one for name, one in value.items() if name not in names}
