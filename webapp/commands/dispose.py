"""`zerokeep dispose --older-than YEARS`: take sealed records away that are not to be kept any longer."""

from __future__ import annotations

import sys
import time

from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.services.audit import disposal
from webapp.services.evidence.ledger import keep_head
from webapp.settings import Settings

DONE, LEFT, CANNOT = 0, 1, 2
# Longer than SQLite's longest wait between two tries, so that whoever waits to write gets a turn.
PAUSE_S = 0.15


def dispose(settings: Settings, years: int, by: str | None, reason: str | None, *, dry_run: bool) -> int:
    """Say which, and without `dry_run` take them away, each with a tombstone. Raises as `opened` does."""
    if not has_shop(settings):
        return CANNOT
    if years < 1 or not (dry_run or (by and reason)):
        print("Give --older-than 1 or more, and --by LEAD --reason REASON or --dry-run.", file=sys.stderr)
        return CANNOT
    now = utc_now()
    with opened(settings) as (store, _):
        found = disposal.older_than(store, years, now)
        for row in found:
            print(f"{row['setup']}  sealed {row['sealed_at_utc']}  SHA-256 {row['sha256']}")
        if dry_run:
            print(f"{len(found)} sealed records are older than {years} years. Nothing was altered.")
            return DONE
        asked = disposal.Asked(reason or "", by or "", now, disposal.years_before(years, now))
        done = disposal.dispose(store, found, asked, lambda: time.sleep(PAUSE_S))
        keep_head(store)
    return _said(done)


def _said(done: disposal.Disposed) -> int:
    print(f"{done.records} sealed records are disposed of; their hashes, who and why stand on the ledger.")
    print("The pictures of their setups went with them.")
    print("Events and decisions stay, and so do copies that left: bundles, downloads, backups.")
    if not done.left:
        return DONE
    print(
        f"Files that could not be taken away: {len(done.left)}. The first: {done.left[0]}.", file=sys.stderr
    )
    print("Make that right, then give the same command again: it takes away what was left.", file=sys.stderr)
    return LEFT
