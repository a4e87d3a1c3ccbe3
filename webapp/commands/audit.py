"""`zerokeep audit`: work out everything again that is stored, and say what does not fit."""

from __future__ import annotations

import json

from webapp.commands.opening import looked_into
from webapp.services.evidence import auditing
from webapp.serving import utc_now
from webapp.settings import Settings
from webapp.words import say

WHOLE, FAULTS, NO_SHOP = 0, 1, 2


def audit(settings: Settings, *, as_json: bool) -> int:
    """Print the outcome; the server may be running meanwhile."""
    with looked_into(settings) as store:
        if store is None:
            return NO_SHOP
        outcome = auditing.run(store, utc_now())
    if as_json:
        print(json.dumps(outcome.as_dict(), ensure_ascii=False, indent=1))
    else:
        print(f"Looked at {outcome.entries} entries of the ledger and {outcome.records} sealed records.")
        for fault in outcome.faults[: auditing.MOST_LISTED]:
            print(f"  {say(fault.code)}: {fault.record}")
        left = len(outcome.faults) - auditing.MOST_LISTED
        if left > 0:
            print(f"  and {left} more.")
        count = len(outcome.faults)
        print(
            f"{count} do not fit. Stop the server, keep this data folder as it is, and bring back a backup."
            if outcome.faults
            else "Everything is as it was written."
        )
    return FAULTS if outcome.faults else WHOLE
