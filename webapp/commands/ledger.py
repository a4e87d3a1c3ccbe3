"""`zerokeep ledger`: the changes on the ledger, one JSON text a line, for a collector on another computer."""

from __future__ import annotations

import json

from webapp.commands.opening import looked_into
from webapp.services.evidence import ledger
from webapp.settings import Settings

DONE, NO_SHOP = 0, 2


def write_out(settings: Settings, *, after: int) -> int:
    """Print every change behind the entry `after` (-1: all of them) as it was hashed, and then the ledger's head.

    A line is {"position", "change"}, the last one {"head": {"size", "root"}}: give size minus 1 as `after` next time.
    """
    with looked_into(settings) as store:
        if store is None:
            return NO_SHOP
        # All of it first: a slow reader of our output must not keep anybody from writing.
        with store.reading():
            rows = list(store.ledger.all_changes(after + 1))
            head = ledger.head(store)
    for row in rows:
        print(
            json.dumps({"position": row["position"], "change": json.loads(row["text"])}, ensure_ascii=False)
        )
    print(json.dumps({"head": head}))
    return DONE
