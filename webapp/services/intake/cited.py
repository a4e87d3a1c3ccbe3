"""Looking up what carried cautions cite, once an upload is sorted and folded, before it is written.

Rules: the cited event is looked for in this upload and in the store. Where it does not bear out what is
claimed, the event is taken all the same, because the machine has moved on; the ledger says so, and with it
the setup and its record.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.setup.carrying import Cited, is_founded
from webapp.services.evidence.stored_events import stored_event
from webapp.services.intake.chain import Problem
from webapp.services.setups.stored_setups import sheet_of

if TYPE_CHECKING:
    from webapp.services.intake.sorting import Intake
    from webapp.store import Store

CARRIED = "caution.carried"
# A problem that the fold found: the event counts for nothing, or for something else than it says.
OF_THE_FOLD = "setup."


class Unfounded(NamedTuple):
    """A carried caution that cites nothing which bears it out."""

    event: Event[Any]
    data: dict[str, str]


def unfounded(store: Store, intake: Intake) -> Iterator[Unfounded]:
    """Each new carried caution whose citation does not hold, inside the caller's transaction."""
    carried = [event for _, event, _ in intake.taken.values() if event["type"] == CARRIED]
    cited = _cited(store, intake, {event["data"]["read_event"] for event in carried})
    for event in carried:
        read_event = event["data"]["read_event"]
        if not is_founded(event, sheet_of(store, event["sheet"]), cited.get(read_event)):
            caution = event["data"]["caution"]
            yield Unfounded(event, {"event": event["id"], "caution": caution, "read_event": read_event})


def _cited(store: Store, intake: Intake, ids: set[str]) -> dict[str, Cited]:
    """What is known of these events: from this upload, else from the store."""
    here = {id_: intake.taken[id_] for id_ in ids & intake.taken.keys()}
    found = {id_: _seen(store, event, problems) for id_, (_, event, problems) in here.items()}
    kept = store.events.events_by_id(ids - here.keys())
    for id_, jws in store.events.signed_texts(kept.keys()).items():
        found[id_] = _seen(store, stored_event(id_, jws), json.loads(kept[id_]["problems"]))
    return found


def _seen(store: Store, event: Event[Any], problems: list[Problem]) -> Cited:
    counted = not any(problem["code"].startswith(OF_THE_FOLD) for problem in problems)
    return Cited(event, sheet_of(store, event["sheet"]), counted)
