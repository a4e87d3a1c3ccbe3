"""What tablets reported of the ledger and no lead has answered, as the ledger's entries have it.

Rule: all of them, whatever came since, so that no tablet pushes another's report out of sight by many of its
own; how many a tablet may make a day is bounded where they come in.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import ChangeRow

RAISED, ANSWERED = "tablet.alarm", "tablet.alarm_answered"


def data_of(row: ChangeRow) -> Mapping[str, str]:
    """What an entry about a report says."""
    data: Mapping[str, str] = json.loads(row["text"])["data"]
    return data


def unanswered(store: Store) -> list[ChangeRow]:
    """Entries of reports that no lead has answered, newest first, inside the caller's transaction. The
    subject of each is its tablet.
    """
    answered = {data_of(row)["alarm"] for row in store.ledger.changes(kind=ANSWERED, newest=None)}
    raised = store.ledger.changes(kind=RAISED, newest=None)
    return [row for row in raised if data_of(row)["alarm"] not in answered]
