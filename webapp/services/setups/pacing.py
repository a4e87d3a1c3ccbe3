"""How fast setups were done, beside how fast the shop does them.

Rules: the shop's pace is that of its newest setups that were signed off, other setups than the one looked at;
it marks and decides nothing. Times of a setup that was signed off do not change any more, so they are worked
out once.
"""

from __future__ import annotations

from collections.abc import Iterable
from threading import Lock
from typing import TYPE_CHECKING

from webapp.domain.evidence.written_sheet import Said
from webapp.domain.setup.pace import StepTime, shop_pace
from webapp.domain.setup.step_times import PacedStep, marked_times, step_times
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow

NEWEST = 60
MOST_REMEMBERED = 4_096
# Signed-off setups by id and the place where their last event stands:
# it names their times for ever, in every store.
_LOCK = Lock()
_TIMES: dict[tuple[str, str], tuple[StepTime, ...]] = {}


def setup_pace(store: Store, setup_id: str) -> list[PacedStep]:
    """Each step's time beside the shop's, inside the caller's transaction;
    none for a setup without events.
    """
    return marked_times(_times(store, setup_id), shop_pace(_of_shop(store, setup_id)))


def paces(store: Store, setup_ids: Iterable[str]) -> dict[str, list[PacedStep]]:
    """The same for setups of which none is signed off: the shop's pace is worked out once for all of them."""
    of_shop = shop_pace(_of_shop(store, ""))
    return {setup_id: marked_times(_times(store, setup_id), of_shop) for setup_id in setup_ids}


def marked(pace: list[PacedStep]) -> Said | None:
    """The sentence for the lead's list as code and fields, None where nothing is marked."""
    fast = sum(step["is_marked"] for step in pace)
    if not fast:
        return None
    return {"code": "pace.marked", "fields": {"marked": fast, "steps": len(pace)}}


def _of_shop(store: Store, besides: str) -> list[StepTime]:
    rows = store.setups.setups(status=("signed_off",), newest=NEWEST)
    return [time for row in rows if row["id"] != besides for time in _remembered(store, row)]


def _remembered(store: Store, row: SetupRow) -> tuple[StepTime, ...]:
    key = (row["id"], row["last_at_utc"])
    with _LOCK:
        found = _TIMES.get(key)
    if found is None:
        found = _times(store, row["id"])
        with _LOCK:
            _TIMES[key] = found
            while len(_TIMES) > MOST_REMEMBERED:
                del _TIMES[next(iter(_TIMES))]  # the one that was worked out longest ago
    return found


def _times(store: Store, setup_id: str) -> tuple[StepTime, ...]:
    events = stored_setups.events_of(store, setup_id)
    if not events:  # a row without events has no times to tell
        return ()
    state = stored_setups.fold_stored(store, setup_id)
    return step_times(stored_setups.sheet_of(store, events[0]["sheet"]), state, events)
