"""The list of setups: filtered and paged by the database,
so that a page costs the same however long the shop ran.

Rules: who may see one person's setups only asks for that person's; a day is a day of the shop's own time;
a page goes on after the last row of the one before, so that setups that come in meanwhile move nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from webapp.domain.plain.zones import UTC_NAME, day_begins_utc
from webapp.services.errors import NoSuchSetup

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow

A_PAGE = 100
STATES = ("running", "finished", "signed", "signed_off", "not_accepted", "left")
AFTER = re.compile(r"([0-9TZ:.-]{24})_([0-9a-f-]{36})")


@dataclass(frozen=True)
class Wanted:
    """What a list is asked for, as it was typed; what cannot be read asks for nothing.
    Days are YYYY-MM-DD.
    """

    machine: str = ""
    person: str = ""
    state: str = ""
    from_day: str = ""
    to_day: str = ""
    after: str = ""


@dataclass(frozen=True)
class Listed:
    """A page of setups, newest first, and what the next page is asked with (None: there is none)."""

    rows: tuple[SetupRow, ...]
    older: str | None


def setups(store: Store, wanted: Wanted, only_of: str | None = None) -> Listed:
    """The setups that fit. `only_of`: the person whose setups alone may be seen, None where all may be."""
    person = only_of or wanted.person or None
    if only_of and wanted.person not in ("", only_of):
        return Listed((), None)
    found = AFTER.fullmatch(wanted.after)
    with store.reading():
        zone = (store.shop.item("shop", "shop") or {}).get("time_zone", UTC_NAME)
        rows = store.setups.listed(
            status=wanted.state if wanted.state in STATES else None,
            machine=wanted.machine or None,
            person=person,
            from_utc=_day_begins(wanted.from_day, zone),
            before_utc=_day_begins(wanted.to_day, zone, days_later=1),
            after=(found[1], found[2]) if found else None,
            most=A_PAGE + 1,
        )
    shown, last = rows[:A_PAGE], rows[A_PAGE - 1] if len(rows) > A_PAGE else None
    return Listed(tuple(shown), f"{last['last_at_utc']}_{last['id']}" if last else None)


def setup_row(store: Store, setup_id: str) -> SetupRow:
    """Where one setup stands. Raises NoSuchSetup."""
    with store.reading():
        row = store.setups.setup(setup_id)
    if row is None:
        raise NoSuchSetup(setup=setup_id)
    return row


def waiting_for_sign_off(store: Store) -> int:
    """How many setups are signed by their operator and wait for the lead."""
    with store.reading():
        return len(store.setups.setups(status=("signed",)))


def _day_begins(day: str, zone: str, days_later: int = 0) -> str | None:
    """When a typed day begins in the shop, in UTC; None for what is no day."""
    try:
        return day_begins_utc(date.fromisoformat(day), zone, days_later)
    except (ValueError, OverflowError):
        return None
