"""Worries: what is open about a machine, its vise and its probe, and how a lead closes one.

Rules: a worry stays open until a lead closes it, by a check or with a reason; both are words that stand on
the ledger, with the setup in which it was raised. Of two leads who close one at once, the first counts and
the other is told so. A probe or a vise is a thing of the shop: a worry about it is open at every machine that
it belongs to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.setup.trouble.worries import WorryRow
from webapp.domain.shop.fitted_machine import fixtures_of
from webapp.services.errors import ClosedAlready, HowUnknown, NoSuchWorry
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.setups import stored_setups
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

HOW = ("checked", "reasoned")
WORRY_CLOSED = "worry.closed"


@dataclass(frozen=True)
class OpenWorry:
    """A worry with the names that a person reads: who raised it, at which machine, and what it is about."""

    row: WorryRow
    by_name: str
    machine_name: str
    thing_name: str


def open_worries(store: Store) -> list[OpenWorry]:
    """All open worries, newest first."""
    with store.reading():
        return _named(store, store.worries.open())


def count_open(store: Store) -> int:
    """How many worries are open."""
    with store.reading():
        return len(store.worries.open())


def worry(store: Store, event: str) -> OpenWorry:
    """One worry, open or closed. Raises NoSuchWorry."""
    with store.reading():
        row = store.worries.worry(event=event)
        if row is None:
            raise NoSuchWorry(worry=event[:12])
        return _named(store, [row])[0]


def about_machine(store: Store, machine_id: str, fixture_id: str | None = None) -> list[OpenWorry]:
    """Open worries about a machine, its probe and its vises, or only the one that is named; newest first,
    inside the caller's transaction.
    """
    machine = store.shop.item("machine", machine_id)
    if machine is None:
        return []
    fixtures = (fixture_id,) if fixture_id else fixtures_of(machine)
    rows = store.worries.open_about(machine=machine_id, fixtures=fixtures, probe=machine["probe"])
    return _named(store, rows)


def about_setup(store: Store, sheet: WrittenSheet, setup: str) -> list[OpenWorry]:
    """Open worries of other setups about what this setup used,
    newest first, inside the caller's transaction.
    """
    rows = store.worries.open_about(
        machine=sheet["machine"]["id"], fixtures=(sheet["fixture"]["id"],), probe=sheet["probe"]["id"]
    )
    return _named(store, [row for row in rows if row.setup != setup])


def close(store: Store, event: str, by: str, how: str, reason: str, now: datetime) -> None:
    """Close a worry: "checked" with what the check found, or "reasoned" with why none is needed.

    Raises NoSuchWorry, RoleMissing, HowUnknown, ReasonMissing, ClosedAlready.
    """
    reason = reason_text(reason)
    if how not in HOW:
        raise HowUnknown(how=how[:40])
    with store.writing():
        must_be_lead(store, by)
        row = store.worries.worry(event=event)
        if row is None:
            raise NoSuchWorry(worry=event[:12])
        if not store.worries.close(event=event, by=by, how=how, reason=reason, at_utc=utc_text(now)):
            raise ClosedAlready(by=row.closed_by or "", at_utc=row.closed_at_utc or "")
        data = {"worry": event, "about": row.about, "how": how, "reason": reason}
        change(store, WORRY_CLOSED, by, event, row.setup, data, now)
        stored_setups.refresh(store, row.setup)


def _named(store: Store, rows: Sequence[WorryRow]) -> list[OpenWorry]:
    if not rows:
        return []
    people = store.people.names()
    machines, probes = store.shop.items("machine"), store.shop.items("probe")
    fixtures = store.shop.items("fixture")
    of_kind = {"machine": machines, "probe": probes, "vise": fixtures}
    found = []
    for row in rows:
        thing = {"machine": row.machine, "probe": row.probe, "vise": row.fixture}[row.about]
        name = of_kind[row.about].get(thing, {}).get("name", thing)
        machine = machines.get(row.machine, {}).get("name", row.machine)
        found.append(OpenWorry(row, people.get(row.person, row.person), machine, name))
    return found
