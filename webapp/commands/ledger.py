"""`zerokeep ledger`: the changes on the ledger, one JSON text a line, for a collector on another computer."""

from __future__ import annotations

import json

from webapp.commands.opening import looked_into
from webapp.services.evidence import ledger
from webapp.settings import Settings

DONE, NO_SHOP = 0, 2
AT_A_TIME = 1_000


def write_out(settings: Settings, *, after: int) -> int:
    """Print every change behind the entry `after` (-1:
    all of them) as it was hashed, and then the ledger's head.

    A line is {"position", "change"}, the last one {"head":
    {"size", "root"}}: give size minus 1 as `after` next time.
    """
    with looked_into(settings) as store:
        if store is None:
            return NO_SHOP
        # A stretch at a time: a slow reader of our output must not keep anybody from writing.
        with store.reading():
            head = ledger.head(store)
        start = after + 1
        while start < head["size"]:
            before = min(start + AT_A_TIME, head["size"])
            with store.reading():
                rows = store.ledger.changes_between(start, before)
            for row in rows:
                said = {"position": row["position"], "change": json.loads(row["text"])}
                print(json.dumps(said, ensure_ascii=False))
            start = before
    print(json.dumps({"head": head}))
    return DONE
