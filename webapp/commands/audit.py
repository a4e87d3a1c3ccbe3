"""`zerokeep audit`: work out everything again that is stored, and say what does not fit."""

from __future__ import annotations

import json
import sys

from webapp.audit_room import AuditNotDone, audit_apart
from webapp.commands.opening import has_shop
from webapp.settings import Settings
from webapp.store.covered_rows import NOT_COVERED
from webapp.words import say

WHOLE, FAULTS, NO_SHOP = 0, 1, 2


def audit(settings: Settings, *, as_json: bool, only_new: bool) -> int:
    """Print the outcome; the server may be running meanwhile. `only_new`: go on from the last one where that may be."""
    if not has_shop(settings):
        return NO_SHOP
    try:
        found = audit_apart(settings.database, only_new=only_new)
    except AuditNotDone as error:
        print(error, file=sys.stderr)
        return FAULTS
    if as_json:
        print(json.dumps({**found, "not_covered": NOT_COVERED}, ensure_ascii=False, indent=1))
        return FAULTS if found["faults"] else WHOLE
    since = f", from entry {found['first']} on," if found["first"] else ""
    print(f"Looked at {found['entries']} entries of the ledger{since} and {found['records']} sealed records.")
    for fault in found["found"]:
        print(f"  {say(fault['code'])}: {fault['record']}")
    left = found["faults"] - len(found["found"])
    if left > 0:
        print(f"  and {left} more.")
    print(
        f"{found['faults']} do not fit. Stop the server, keep this data folder as it is, and bring back a backup."
        if found["faults"]
        else "Everything is as it was written."
    )
    return FAULTS if found["faults"] else WHOLE
