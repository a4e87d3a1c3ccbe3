"""Roles of people, and accounts that are closed and opened again.

Rules: each change needs a lead, is one transaction and stands on the ledger; the last active lead cannot be
disabled; disabling somebody ends their sessions at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.plain.field_types import LONGEST_NAME
from webapp.domain.shop.shop import ROLES
from webapp.services.errors import (
    ChangedMeanwhile,
    LastLead,
    NoSuchPerson,
    RoleUnknown,
)
from webapp.services.evidence.ledger import change
from webapp.services.people import names as people_names
from webapp.services.people.access import must_be_lead
from webapp.services.times import utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import PersonRow


def change_roles(
    store: Store, person: str, roles: Sequence[str], by: str, now: datetime, seen: str | None = None
) -> None:
    """Set a person's roles. Raises RoleMissing, RoleUnknown, NoSuchPerson, LastLead."""
    wanted = checked_roles(roles)
    with store.writing():
        must_be_lead(store, by)
        before = person_as_seen(store, person, seen)
        if "lead" not in wanted:
            _must_not_be_last_lead(store, person)
        store.people.change(person, roles=wanted)
        data = {"roles": wanted, "before": before["roles"]}
        change(store, "person.changed", by, person, None, data, now)


def disable_person(
    store: Store, person: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Close an account: its sessions end at once, its signatures are refused from now on;
    everything stays stored.

    Raises RoleMissing, ReasonMissing, NoSuchPerson, LastLead.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        person_as_seen(store, person, seen)
        _must_not_be_last_lead(store, person)
        close_account(store, person, reason, by, now)


def enable_person(
    store: Store, person: str, reason: str, by: str, now: datetime, seen: str | None = None
) -> None:
    """Open an account again. Raises RoleMissing, ReasonMissing, NoSuchPerson, NameErased."""
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        people_names.hash_of(person_as_seen(store, person, seen))
        store.people.change(person, active=True, disabled_at_utc=None)
        change(store, "person.enabled", by, person, None, {"reason": reason}, now)


def close_account(store: Store, person: str, reason: str, by: str, now: datetime) -> None:
    """Disable somebody and end their sessions, inside the caller's transaction."""
    store.people.change(person, active=False, disabled_at_utc=utc_text(now))
    store.access.end_sessions_of(person, utc_text(now), "person_disabled")
    change(store, "person.disabled", by, person, None, {"reason": reason}, now)


def person_as_seen(store: Store, person: str, seen: str | None = None) -> PersonRow:
    """An account as it was seen. Raises NoSuchPerson, ChangedMeanwhile."""
    row = store.people.person(person)
    if row is None:
        raise NoSuchPerson(person=person[:LONGEST_NAME])
    if seen and seen != version_of_person(store, row):
        raise ChangedMeanwhile
    return row


def version_of_person(store: Store, row: PersonRow) -> str:
    """What tells a person's account and rights from the same after a change, inside a transaction."""
    rights = [one["number"] for one in store.people.running([row["id"]])]
    return sha256(repr((row["roles"], row["active"], rights)).encode()).hexdigest()


def checked_roles(roles: Sequence[str]) -> list[str]:
    """Roles in their order, each once. Raises RoleUnknown."""
    for role in roles:
        if role not in ROLES:
            raise RoleUnknown(role=role[:40])
    if not roles:
        raise RoleUnknown(role="")
    return [role for role in ROLES if role in roles]


def _must_not_be_last_lead(store: Store, person: str) -> None:
    leads = {one["id"] for one in store.people.everybody() if one["active"] and "lead" in one["roles"]}
    if leads == {person}:
        raise LastLead
