"""Two tablets at one machine are told of each other: a mill moves for whoever presses, and two lists beside
it know nothing of one another.

Rules: told is a tablet with a setup that runs, of setups that run at the same machine on other tablets and
were heard of in the last hours; one that nobody went on with for longer is no news (the board tells of it).
It is told which tablet, and no person: who stands there is to be asked.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypedDict

from webapp.services.setups.half_set import IN_USE_HOURS
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupParts

RUNNING = "running"
MOST_AT_A_MACHINE = 20


class AlsoThere(TypedDict):
    """Another tablet with a setup under way at a machine."""

    machine: str
    tablet: str


def also_there(store: Store, device: str, own: Iterable[SetupParts], now: datetime) -> list[AlsoThere]:
    """Other tablets at the machines where this one has a setup under way, inside the caller's transaction."""
    recent_utc = utc_text(now - timedelta(hours=IN_USE_HOURS))
    machines = {one["machine"] for one in own if one["status"] == RUNNING and one["device"] == device}
    found = {
        (machine, one["device"])
        for machine in machines
        for one in store.setups.setups(status=(RUNNING,), machine=machine, newest=MOST_AT_A_MACHINE)
        if one["device"] != device and one["last_at_utc"] >= recent_utc
    }
    tablets = {id_: store.devices.device(id_) for _, id_ in found}
    return [
        {"machine": machine, "tablet": tablet["name"] if tablet else id_}
        for machine, id_ in sorted(found)
        for tablet in (tablets[id_],)
    ]
