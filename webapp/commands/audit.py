"""`zerokeep audit`: work out everything again that is stored, and say what does not fit."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from webapp.commands.opening import has_shop
from webapp.server.audit_room import AuditNotDone, audit_apart
from webapp.services.audit import long_rows, people, shop_rows
from webapp.services.evidence import tombstones
from webapp.settings import Settings
from webapp.store import Store
from webapp.store.covered_rows import NOT_COVERED, ONLY_NOTED
from webapp.words import say

if TYPE_CHECKING:
    from webapp.services.audit.auditing import Audited

WHOLE, FAULTS, NO_SHOP, NOT_DONE = 0, 1, 2, 3


def audit(settings: Settings, *, as_json: bool, only_new: bool) -> int:
    """Print the outcome; the server may be running meanwhile.
    `only_new`: go on from the last one where that may be.
    """
    if not has_shop(settings):
        return NO_SHOP
    try:
        found = audit_apart(settings.database, settings.files_folder, only_new=only_new)
    except AuditNotDone as error:
        print(f"Nothing was found out, because the audit could not be done: {error}", file=sys.stderr)
        return NOT_DONE
    if as_json:
        print(json.dumps({**found, "not_covered": _not_covered(settings)}, ensure_ascii=False, indent=1))
        return FAULTS if found["faults"] else WHOLE
    looked_at = found["entries"] - found["first"]
    those = f", those from entry {found['first'] + 1} on," if found["first"] else ""
    print(f"Looked at {looked_at} entries of the ledger{those} and {found['records']} sealed records.")
    for fault in found["found"]:
        print(f"  {say(fault['code'])}: {fault['record']}")
    left = found["faults"] - len(found["found"])
    if left > 0:
        print(f"  and {left} more.")
    print(_sum(found))
    return FAULTS if found["faults"] else WHOLE


def _not_covered(settings: Settings) -> dict[str, str]:
    """What no audit looks at, and what it could not compare in this shop."""
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            found = people.not_covered(store) | shop_rows.not_covered(store) | long_rows.not_covered(store)
            noted = {name: f"by its note alone: {why}" for name, why in ONLY_NOTED.items()}
            return {**NOT_COVERED, **noted, **found, **tombstones.not_kept(store)}
    finally:
        store.close()


def _sum(found: Audited) -> str:
    if found["faults"]:
        return (
            f"{found['faults']} do not fit. Stop the server, keep this data folder as it is, and bring back "
            "a backup; "
            "then say so: zerokeep head --restored REASON."
        )
    if found["first"]:
        return "Nothing of what was looked at differs from what was written."
    return "Everything is as it was written."
