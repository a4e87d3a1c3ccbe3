"""Which values of a setup join the usual with its sign-off, and what the lines are before and after.

Rules:
- accepting a setup and letting a value into the usual are two choices. A value within the ask line joins with
  the sign-off. One beyond it, by the line that it was touched against or by the line of now, stays out unless
  the lead lets it in by name;
- the first values of a seating have nothing to be compared with:
  the sign-off asks about them once, and they join unless the lead says no;
- a new seating may be begun back to a setup, where the fixture had been moved before it: then all its values
  are the first of the new seating, what was touched there since goes with them, and the lines before stay as
  they were;
- what stays out is kept beside the others with its reason, and can be taken in later.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from webapp.domain.evidence.folded_setup import Folded, Touch
from webapp.domain.evidence.told import STAYED_OUT
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.errors import DomainError
from webapp.domain.shop.seatings import seating_then
from webapp.domain.usual.joining import Standing, standing, with_value
from webapp.domain.usual.usual import Usual, usual
from webapp.services.errors import SeatingCannotBeginThere
from webapp.services.evidence.ledger import change, entries, said_by
from webapp.services.numbers.histories import dated_history, place_in, usual_of
from webapp.services.numbers.values_told import told_start
from webapp.services.sheets.fitted_machines import axis_parts
from webapp.services.typed_reasons import reason_text

if TYPE_CHECKING:
    from webapp.store import Store

COMPLETE = "complete"
SEATING_STARTED = "seating.started"
BEYOND_REASON = STAYED_OUT
FIRST_REASON = "A first value that was not let into the usual when it was signed off."

Sheet = WrittenSheet
State = Folded


@dataclass(frozen=True)
class Joining:
    """A kept value of a setup and how it stands to the usual.

    `before` and `after` are the usual of its seating without it and with it;
    None where the fixture is in use no more, or on another machine.
    """

    axis: str
    value_nm: int
    at_utc: str
    standing: Standing
    before: Usual | None
    after: Usual | None


@dataclass(frozen=True)
class NewSeating:
    """A new seating that the lead begins back to a setup: its id, and what was done to the fixture."""

    id: str
    reason: str


@dataclass(frozen=True)
class ValuesChoice:
    """What a lead chose about a setup's values: which of those beyond the ask line are let in,
    whether first ones are, and a new seating begun with this setup, if any.
    """

    let_in: frozenset[str] = frozenset()
    first: bool = True
    new_seating: NewSeating | None = None


AS_IT_IS = ValuesChoice()


def joinings(store: Store, sheet: Sheet, state: State) -> tuple[Joining, ...]:
    """Every kept value of a complete setup, in order of axes; none of another.
    Inside the caller's transaction.
    """
    if state["outcome"] != COMPLETE:
        return ()
    kept = {touch["axis"]: touch for touch in state["touches"] if touch["kept"]}
    return tuple(_joining(store, sheet, state["setup"] or "", kept[axis]) for axis in sorted(kept))


def _joining(store: Store, sheet: Sheet, setup: str, touch: Touch) -> Joining:
    axis, value_nm = touch["axis"], touch["value_nm"]
    before, after = _lines(store, sheet, setup, axis, value_nm, touch["at_utc"])
    touched_as = None if touch["difference_nm"] is None else touch["verdict"]
    return Joining(axis, value_nm, touch["at_utc"], standing(value_nm, touched_as, before), before, after)


def _lines(
    store: Store, sheet: Sheet, setup: str, axis: str, value_nm: int, at_utc: str
) -> tuple[Usual | None, Usual | None]:
    """The usual of the sheet's seating without a value and with it."""
    fixture, seating = sheet["fixture"]["id"], sheet["fixture"]["seating"]["id"]
    try:
        parts = axis_parts(store, fixture, axis)
    except DomainError:  # not in use any more: nothing is compared with it
        return None, None
    if parts.machine_id != sheet["machine"]["id"]:  # its floor and its display are no lines of this one
        return None, None
    history, times_utc = dated_history(store, fixture, axis)
    ids = [one.seating_id for one in history]
    if seating not in ids:
        return None, None
    known = history[: ids.index(seating) + 1]
    inputs = parts.floor, parts.choice, parts.machine.display
    earlier = place_in(known[-1].setup_ids, times_utc[ids.index(seating)], at_utc, setup)
    more = with_value(known, seating, setup, value_nm, earlier)
    return usual_of(store, fixture, axis, known, *inputs), usual(more, *inputs)


def may_begin_seating(store: Store, sheet: Sheet, state: State) -> bool:
    """Whether a new seating can be begun back to this setup:
    only from the present one, and after its own beginning.
    """
    if state["outcome"] != COMPLETE:
        return False
    present = store.shop.seating_now(sheet["fixture"]["id"])
    return (
        present is not None
        and present["id"] == sheet["fixture"]["seating"]["id"]
        and present["since_utc"] < (state["started_at_utc"] or "")
    )


def join(store: Store, sheet: Sheet, state: State, choice: ValuesChoice, by: str, now: datetime) -> list[str]:
    """Keep a setup's values as the lead chose, inside the caller's writing transaction; the axes that joined.

    Raises SeatingCannotBeginThere, ReasonMissing.
    """
    found = joinings(store, sheet, state)
    if not found:
        return []
    reasons: dict[str, str | None] = dict.fromkeys(one.axis for one in found)
    if choice.new_seating is None:
        seating = _seating_then(store, sheet, state)
        reasons = {one.axis: _stays_out(one, choice) for one in found}
    else:
        seating = _begin_seating(store, sheet, state, choice.new_seating, by, now)
    fixture = sheet["fixture"]["id"]
    store.kept.keep_values([
        {
            "setup": state["setup"] or "",
            "axis": one.axis,
            "fixture": fixture,
            "seating": seating,
            "value_nm": one.value_nm,
            "at_utc": one.at_utc,
            "left_out_reason": reasons[one.axis],
        }
        for one in found
    ])  # fmt: skip
    return [axis for axis, reason in reasons.items() if reason is None]


def _stays_out(one: Joining, choice: ValuesChoice) -> str | None:
    """Why a value stays out of the usual, None for one that joins."""
    if one.standing == "first":
        return None if choice.first else FIRST_REASON
    return BEYOND_REASON if one.standing == "beyond" and one.axis not in choice.let_in else None


def _begin_seating(store: Store, sheet: Sheet, state: State, new: NewSeating, by: str, now: datetime) -> str:
    """Begin a seating back to the start of this setup; values that were touched since then go with it."""
    reason = reason_text(new.reason)
    fixture, before = sheet["fixture"]["id"], sheet["fixture"]["seating"]["id"]
    if not may_begin_seating(store, sheet, state):
        raise SeatingCannotBeginThere
    since = state["started_at_utc"] or ""
    store.shop.start_seating(new.id, fixture, since, reason)
    store.kept.move_values(fixture=fixture, from_seating=before, to_seating=new.id, since_utc=since)
    data = {"seating": new.id, "reason": reason, "since_utc": since, "from_setup": state["setup"]}
    change(store, SEATING_STARTED, by, fixture, None, data, now)
    return new.id


def _seating_then(store: Store, sheet: Sheet, state: State) -> str:
    """The seating of a setup's values:
    as its sheet named it, or one since begun back to a time before this setup.
    """
    fixture = sheet["fixture"]["id"]
    told = (entry for entry in entries(store, (SEATING_STARTED,)) if entry["subject"] == fixture)
    starts = [told_start(store, fixture, said_by(entry["text"])) for entry in told]
    return seating_then(starts, sheet["fixture"]["seating"]["id"], state["started_at_utc"] or "")
