"""A fixture's own procedure taken out of use: its machines are worked by the shop's again.

Rules:
- what goes, what takes its place and which setups are under way with it are looked at first, and the press
  carries a digest of that: where any of it is otherwise by then, nothing goes and the person looks again;
- a setup that is under way goes on with the sheet that it began with;
- it goes only where the shop's procedure holds at each of these machines (`services.sheets.holding_here`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import SHOPS, own_procedure_id
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.procedure.editing import differences
from webapp.domain.shop.fitted_machine import Place
from webapp.services.errors import NoSuchFixture, NotLookedAt
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.setups.stored_setups import sheet_of
from webapp.services.sheets.holding_here import ShortAt, must_hold, short_at, worked_by
from webapp.services.sheets.stored_rows import procedure_used
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

RETIRED = "procedure.retired"
UNDER_WAY = ("running",)


@dataclass(frozen=True)
class UnderWay:
    """A setup that was begun at one of the machines and is not finished: by whom, where, and since when."""

    setup: str
    person: str
    machine: str
    started_at_utc: str


@dataclass(frozen=True)
class Retiring:
    """What taking it out of use would do: what differs at its machines then, those at which the shop's
    would not hold, the setups under way, and a digest of all that.
    """

    changes: tuple[Finding, ...]
    short: tuple[ShortAt, ...]
    under_way: tuple[UnderWay, ...]
    seen: str


def look(store: Store, whose: str) -> Retiring | None:
    """What taking a fixture's own procedure out of use would do now; None where it has none of its own."""
    with store.reading():
        return _retiring(store, whose)


def retire(store: Store, whose: str, seen: str, reason: str, by: str, now: datetime) -> None:
    """Let a fixture be worked by the shop's procedure again; `seen` is the digest of what was looked at.

    Raises RoleMissing, ReasonMissing, NoSuchFixture, NotLookedAt, ProcedureFallsShort.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        found = _retiring(store, whose)
        if found is None:
            raise NoSuchFixture(fixture=whose[:40])
        if found.seen != seen:
            raise NotLookedAt
        must_hold(found.short)
        data = {"whose": whose, "revision": procedure_used(store, whose).hash, "reason": reason}
        store.shop.retire("procedure", own_procedure_id(whose))
        change(store, RETIRED, by, whose, None, data, now)


def _retiring(store: Store, whose: str) -> Retiring | None:
    if whose == SHOPS or store.shop.item("procedure", own_procedure_id(whose)) is None:
        return None
    own, instead, where = procedure_used(store, whose), procedure_used(store), worked_by(store, whose)
    under_way = tuple(one for place in where for one in _under_way(store, place))
    told = [own.hash, instead.hash, [list(place) for place in where], [one.setup for one in under_way]]
    return Retiring(
        differences(own.procedure, instead.procedure),
        short_at(store, instead.procedure, where),
        under_way,
        sha256(canonical_text(told).encode()).hexdigest(),
    )


def _under_way(store: Store, place: Place) -> list[UnderWay]:
    rows = store.setups.setups(status=UNDER_WAY, machine=place.machine)
    return [
        UnderWay(row["id"], row["person"], place.machine, row["started_at_utc"])
        for row in rows
        if sheet_of(store, row["sheet"])["fixture"]["id"] == place.fixture
    ]
