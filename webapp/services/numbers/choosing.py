"""When a difference matters, for one fixture and axis:
what the lines give, what others would, and choosing them.

Rules: a lead chooses, with a reason; the choice stands on the ledger with the one before it and holds for
every sheet that is made from then on; sheets that were handed out keep theirs. A choice that is the shop's
own again is no choice of this axis and is stored as none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.sheet.lines_here import lines_choice
from webapp.domain.usual import limits
from webapp.domain.usual.choice import ChoiceUnchangedError, as_data
from webapp.domain.usual.joining import AGREES
from webapp.domain.usual.limits import Line
from webapp.domain.usual.trend import TrendRow
from webapp.domain.usual.usual import LATEST, LinesChoice, Usual, Verdict, verdict
from webapp.services.errors import NoSuchSeating
from webapp.services.evidence.ledger import change
from webapp.services.numbers.long_axis import LongAxis, NumberedRow
from webapp.services.people.access import must_be_lead
from webapp.services.sheets.fitted_machines import AxisParts, axis_parts
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store


MOST_LISTED = 100


@dataclass(frozen=True)
class Beyond:
    """A past touch beyond a line: its number in the seating, how far off, and what is said of it."""

    number: int
    row: TrendRow
    distance_nm: int
    verdict: Verdict


@dataclass(frozen=True)
class Lines:
    """One choice and what it gives:
    the usual with its lines, the ask line in numbers, how many past touches lie beyond it and, oldest first,
    the newest MOST_LISTED of them.

    `line` is None where the seating has no value yet.
    `doubts`: that the latest touches do not lie around the usual.
    """

    choice: LinesChoice
    usual: Usual
    line: Line | None
    beyond_count: int = 0
    beyond: tuple[Beyond, ...] = ()
    doubts: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Matters:
    """What the page shows: the parts, the choice that holds,
    the one looked at (or None), the curve of others.
    """

    parts: AxisParts
    shops: LinesChoice
    now: Lines
    looked_at: Lines | None
    curve: tuple[Line, ...]
    touches: int

    @property
    def shown(self) -> Lines:
        """The choice that the page is about: the one looked at, else the one that holds."""
        return self.looked_at or self.now


def matters(store: Store, fixture_id: str, axis: str, looked_at: LinesChoice | None = None) -> Matters:
    """What the present choice gives on one axis, and what another would.

    Raises NoShopYet, NoSuchFixture, NoSuchSeating.
    """
    with store.reading():
        parts = axis_parts(store, fixture_id, axis)
        long = LongAxis(store, fixture_id, axis)
        if not long.seatings:
            raise NoSuchSeating(fixture=fixture_id[:40], seating="")
        now = _lines(parts, long, parts.choice)
        looked_at = None if looked_at is None else _whole(looked_at, parts)
        is_other = looked_at is not None and looked_at != parts.choice
        other = _lines(parts, long, looked_at) if looked_at is not None and is_other else None
    shown = other or now
    curve = limits.curve(shown.usual, shown.choice, parts.machine.display) if shown.line else ()
    return Matters(parts, _shops(parts), now, other, curve, long.count(len(long.seatings) - 1))


def _shops(parts: AxisParts) -> LinesChoice:
    """What holds where an axis has no choice of its own."""
    return lines_choice(parts.rules, parts.face.axis, parts.machine.unit)


def _whole(choice: LinesChoice, parts: AxisParts) -> LinesChoice:
    """A choice with what is the whole shop's: the finest ask line, and how many setups are few."""
    shops = _shops(parts)
    return replace(choice, least_ask_nm=shops.least_ask_nm, early_setups=shops.early_setups)


def _lines(parts: AxisParts, long: LongAxis, choice: LinesChoice) -> Lines:
    """What a choice gives; values that were left out
    count among the touches that it would have asked about.
    """
    now = long.usual(long.history, parts, choice)
    count, newest = long.beyond(len(long.seatings) - 1, now, MOST_LISTED)
    if now.centre_nm is None:
        return Lines(choice, now, None)
    line = limits.line(now, choice.ask_one_in, choice, parts.machine.display)
    latest = long.history[-1].values_nm[-LATEST:]
    outside = sum(verdict(value_nm, now) != AGREES for value_nm in latest)
    beyond = tuple(_beyond(one, now) for one in newest)
    return Lines(choice, now, line, count, beyond, limits.not_around(outside, len(latest), line))


def _beyond(one: NumberedRow, now: Usual) -> Beyond:
    value_nm = one.row.value_nm
    return Beyond(one.number, one.row, value_nm - (now.centre_nm or 0), verdict(value_nm, now))


def choose(
    store: Store, fixture_id: str, axis: str, choice: LinesChoice | None, reason: str, by: str, now: datetime
) -> None:
    """Let a choice hold for one fixture and axis from now on; None lets the shop's choice hold again.

    Raises RoleMissing, ReasonMissing, NoShopYet, NoSuchFixture, ChoiceUnchangedError.
    """
    reason = reason_text(reason)
    with store.writing():
        must_be_lead(store, by)
        parts = axis_parts(store, fixture_id, axis)
        shops = _shops(parts)
        wanted = None if choice is None else _whole(choice, parts)
        wanted = None if wanted == shops else wanted
        if (wanted or shops) == parts.choice and (wanted is not None) == parts.has_own_choice:
            raise ChoiceUnchangedError
        if wanted is None:
            store.shop.remove_choice(fixture_id, axis)
        else:
            store.shop.put_choice(fixture_id, axis, **as_data(wanted))
        data = {
            "axis": axis,
            "old": {**as_data(parts.choice), "shops": not parts.has_own_choice},
            "new": {**as_data(wanted or shops), "shops": wanted is None},
            "reason": reason,
        }
        change(store, "limit.changed", by, fixture_id, None, data, now)
