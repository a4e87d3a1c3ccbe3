"""Where a fixture sits, since when, and which of its values count.

Rules: each change needs a lead, is one transaction and stands on the ledger; a value is left out of the usual
with a reason and stays stored.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.plain.zones import UTC_NAME, day_begins_utc
from webapp.services.errors import (
    DayNotBegun,
    DayOutsideCalendar,
    NoSuchFixture,
    NoSuchValue,
    SeatingCannotBeginThere,
    SeatingJustStarted,
    SeatingNotNewest,
)
from webapp.services.evidence.ledger import change
from webapp.services.people.access import must_be_lead
from webapp.services.times import from_text, utc_text
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SeatingRow

SAME_PRESS_SECONDS = 60
AXES = ("X", "Y", "Z")


def start_seating(
    store: Store, fixture: str, seating: str, reason: str, by: str, now: datetime, since: date | None = None
) -> None:
    """Say that a fixture was moved or trammed anew: from now, or from the beginning of a day in the shop's
    zone, its usual starts again. `seating` is a new id. The newest that has begun holds.

    What was touched since that day goes with it, as in `begin_seating_back`. One that was started less than a
    minute ago is taken for the same press sent twice: nobody moves a vise and trams it in that time. Raises
    RoleMissing, ReasonMissing, NoSuchFixture, SeatingJustStarted, DayNotBegun, DayOutsideCalendar,
    SeatingNotNewest.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if store.shop.item("fixture", fixture) is None:
            raise NoSuchFixture(fixture=fixture)
        since_utc = utc_text(now) if since is None else day_that_began(store, since, now)
        present = store.shop.seating_now(fixture)
        if present and abs(now - from_text(present["since_utc"])) < timedelta(seconds=SAME_PRESS_SECONDS):
            raise SeatingJustStarted(at_utc=present["since_utc"], seconds=SAME_PRESS_SECONDS)
        if present and since_utc <= present["since_utc"]:
            raise SeatingNotNewest(at_utc=present["since_utc"])
        store.shop.start_seating(seating, fixture, since_utc, reason)
        data: dict[str, object] = {"seating": seating, "reason": reason, "since_utc": since_utc}
        if since is not None:
            before = present["id"] if present else ""
            let_in = _values_with_seating(store, fixture, before, seating, since_utc)
            data |= {"begun_back": True, "let_in": let_in}
        change(store, "seating.started", by, fixture, None, data, now)


def begin_seating_back(
    store: Store, fixture: str, setup: str, seating: str, reason: str, by: str, now: datetime
) -> None:
    """Say that a fixture was moved before a past setup:
    a new seating begins with that setup's first kept value.

    All that was touched since goes with it. Values that were not let in because they lay beyond the ask line
    of the old place count in the new one; what a lead left out for another reason stays out. The ledger has
    all of it. Raises RoleMissing, ReasonMissing, NoSuchFixture, SeatingCannotBeginThere.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        if store.shop.item("fixture", fixture) is None:
            raise NoSuchFixture(fixture=fixture)
        present = store.shop.seating_now(fixture)
        since = _kept_since(store, fixture, setup, present) if present else ""
        if present is None or not since:
            raise SeatingCannotBeginThere
        store.shop.start_seating(seating, fixture, since, reason)
        data = {
            "seating": seating,
            "reason": reason,
            "since_utc": since,
            "from_setup": setup,
            "let_in": _values_with_seating(store, fixture, present["id"], seating, since),
        }
        change(store, "seating.started", by, fixture, None, data, now)


def day_that_began(store: Store, day: date, now: datetime) -> str:
    """When a day began in the shop's zone, inside a transaction. Raises DayNotBegun for one to come,
    DayOutsideCalendar.
    """
    shop = store.shop.item("shop", "shop") or {}
    try:
        since_utc = day_begins_utc(day, str(shop.get("time_zone", UTC_NAME)))
    except OverflowError:
        raise DayOutsideCalendar(day=day.isoformat()) from None
    if since_utc > utc_text(now):
        raise DayNotBegun(day=day.isoformat())
    return since_utc


def seating_id(fixture: str, now: datetime, token: str) -> str:
    """A short id that says what it is of and since when; the chance in it parts two of one second."""
    chance = sha256(token.encode()).hexdigest()[:8]
    return f"{fixture[:22].rstrip('-')}-{now:%Y%m%d-%H%M%S}-{chance}"


def machine_of(store: Store, setup: str) -> str | None:
    """The machine at which the values of a setup were touched, walked here or of a table; inside the caller's
    transaction.
    """
    row = store.setups.setup(setup) or store.numbers.imported(setup)
    return row["machine"] if row else None


def leave_out(store: Store, setup: str, axis: str, reason: str, by: str, now: datetime) -> None:
    """Leave a value out of the usual, with a reason. Raises RoleMissing, ReasonMissing, NoSuchValue."""
    _set_left_out(store, "value.left_out", setup, axis, reason, by, now)


def take_in(store: Store, setup: str, axis: str, reason: str, by: str, now: datetime) -> None:
    """Take a value that was left out back into the usual, with a reason. Raises as leave_out does."""
    _set_left_out(store, "value.taken_in", setup, axis, reason, by, now)


def _values_with_seating(store: Store, fixture: str, before: str, seating: str, since_utc: str) -> list[str]:
    """Let the values since a time go from one seating to the next; those that it lets in, "setup axis" each:
    they had stayed out because they lay beyond the ask line of the old place.
    """
    stayed_out = [
        (row["setup"], axis)
        for axis in AXES
        for row in store.kept.kept_left_out(fixture, axis, before)
        if row["at_utc"] >= since_utc and row["left_out_reason"] == STAYED_OUT
    ]
    store.kept.move_values(fixture=fixture, from_seating=before, to_seating=seating, since_utc=since_utc)
    for setup, axis in stayed_out:
        store.kept.leave_out(setup, axis, None)
    return [f"{setup} {axis}" for setup, axis in stayed_out]


def _kept_since(store: Store, fixture: str, setup: str, present: SeatingRow) -> str:
    """When the first value of a setup was touched in the present seating; empty where no other begins there:
    it has none, or the seating's own first values are its.
    """
    kept = [row for axis in AXES for row in store.kept.kept_of(fixture, axis, setup)]
    since = min((row["at_utc"] for row in kept if row["seating"] == present["id"]), default="")
    if not present["since_utc"] < since:
        return ""
    here = present["id"], since
    return since if any(store.kept.is_kept_before(fixture, axis, *here) for axis in AXES) else ""


def _set_left_out(
    store: Store, kind: str, setup: str, axis: str, reason: str, by: str, now: datetime
) -> None:
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        before = {row["axis"]: row["left_out_reason"] for row in store.numbers.kept_of(setup)}
        if not store.kept.leave_out(setup, axis, reason if kind == "value.left_out" else None):
            raise NoSuchValue(setup=setup, axis=axis)
        # About a value of the usual, not about the setup: a sealed record does not change with it.
        data = {"axis": axis, "reason": reason, "before": before[axis]}
        change(store, kind, by, setup, None, data, now)
