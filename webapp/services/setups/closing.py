"""A machine that is closed with a reason: no sheet of it begins a setup until a lead opens it again.

Rules: closing and opening stand on the ledger, each with its reason, and both carry what was before; of two
leads who do the same at once the second is told. A closed machine's sheets say so in the words that every
tablet has for what keeps a machine from use: the reason, by whom and when. A tablet that cannot reach the
server learns of it at its next contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import SHUT
from webapp.services.errors import ClosedOrOpenAlready, NoSuchMachine
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

CLOSED, OPENED = "machine.closed", "machine.opened"
# Beside the shop itself among its items.
KIND = "shop"


@dataclass(frozen=True)
class Closed:
    """Why a machine is closed, by whom, since when."""

    machine: str
    reason: str
    by: str
    at_utc: str


def closed(store: Store, machine: str) -> Closed | None:
    """Whether a machine is closed, inside the caller's transaction."""
    value = store.shop.item(KIND, SHUT + machine)
    return Closed(machine, value["reason"], value["by"], value["at_utc"]) if value else None


def machine_name(store: Store, machine: str) -> tuple[str, Closed | None]:
    """What a machine is called, and whether it is closed. Raises NoSuchMachine."""
    with store.reading():
        return _name(store, machine), closed(store, machine)


def close(store: Store, machine: str, reason: str, by: str, now: datetime) -> None:
    """Close a machine. Raises RoleMissing, ReasonMissing, NoSuchMachine, ClosedOrOpenAlready."""
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _name(store, machine)
        if closed(store, machine) is not None:
            raise ClosedOrOpenAlready
        store.shop.put(KIND, SHUT + machine, {"reason": reason, "by": by, "at_utc": utc_text(now)})
        change(store, CLOSED, by, machine, None, {"reason": reason}, now)


def open_again(store: Store, machine: str, reason: str, by: str, now: datetime) -> None:
    """Open a machine again. Raises RoleMissing, ReasonMissing, NoSuchMachine, ClosedOrOpenAlready."""
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        _name(store, machine)
        was = closed(store, machine)
        if was is None:
            raise ClosedOrOpenAlready
        store.shop.retire(KIND, SHUT + machine)
        before = {"reason": was.reason, "by": was.by, "at_utc": was.at_utc}
        change(store, OPENED, by, machine, None, {"reason": reason, "before": before}, now)


def _name(store: Store, machine: str) -> str:
    value = store.shop.item("machine", machine)
    if value is None:
        raise NoSuchMachine(machine=machine[:40])
    return str(value["name"])
