"""What is kept beside the events of a setup, made again from its events and decisions and compared.

Rules: where a setup stands, its questions with their answers, its worries and how they ended, what was seen
in its slot and the values that it brought are a fold over signed events and entries of the ledger; the row in
a list is only there to be searched. A row that the fold does not give is named by table and key, whatever was
noted of it; so is one of a setup that has no event.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.errors import DomainError
from webapp.domain.record.found_by import terms_of, words_of
from webapp.services.audit import values
from webapp.services.audit.said_beside import SaidBeside
from webapp.services.audit.unreadable import readable
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import SetupRow, SetupStanding, SlotRow

AT_A_TIME = 200
ROWS_AT_A_TIME = 2_000


def misfits(store: Store) -> Iterator[Fault]:
    """Rows that the events and decisions of their setup do not give, each setup in a short transaction."""
    after, said = "", SaidBeside(store)
    with store.reading():
        said.read()
    while setups := _some(store, after):
        for setup in setups:
            with store.reading():
                said.read()
                found = list(readable(f"setup {setup}", misfits_of(store, setup, said)))
            yield from found
        after = setups[-1]
    with store.reading():
        slots = [f"slot {machine} {label}" for machine, label in said.strays()]
    yield from (Fault("audit.derived", one) for one in (*_without_event(store), *slots))
    yield from values.misfits_of_tables(store)


def _without_event(store: Store) -> Iterator[str]:
    """Rows of lists whose event is not there, each stretch read in a short transaction."""
    for table in ("setup", "question", "worry"):
        after: str | None = ""
        while after is not None:
            with store.reading():
                found, after = store.setups.of_no_event(table, after, ROWS_AT_A_TIME)
            yield from (f"{table} {key}" for key in found)


def _some(store: Store, after: str) -> list[str]:
    with store.reading():
        return store.events.setups_with_events(after, AT_A_TIME)


def misfits_of(store: Store, setup: str, said: SaidBeside) -> Iterator[Fault]:
    """The same for one setup that has events."""
    try:
        events = stored_setups.events_of(store, setup)
        state = stored_setups.fold_stored(store, setup)
        wanted = stored_setups.setup_row(store, events, state)
    except (DomainError, LookupError, ValueError, TypeError, AttributeError):
        yield Fault("audit.not_folded", f"setup {setup}")
        return
    row = store.setups.setup(setup)
    if row is None or not _stands(store, row, wanted, events):
        yield Fault("audit.derived", f"setup {setup}")
    sheet = stored_setups.sheet_of(store, events[0]["sheet"])
    yield from _questions(store, setup, state)
    yield from _worries(store, setup, state, sheet)
    yield from _found_by(store, setup, state, sheet, wanted["started_at_utc"])
    yield from _slot(store, setup, state, sheet, said)
    yield from values.misfits_of(store, setup, sheet, state, said.words)


def _stands(store: Store, row: SetupRow, wanted: SetupStanding, events: list[Event[Any]]) -> bool:
    """Whether the row of a setup says where it stands, when it was last heard of, whether it is sealed."""
    newest = store.events.newest_receipt([event["id"] for event in events]) or ""
    heard = min(newest, max(event["at_utc"] for event in events))
    sealed = store.records.record(row["id"]) is not None
    same = all(row[name] == value for name, value in wanted.items())  # type: ignore[literal-required]
    return same and row["last_at_utc"] == heard and bool(row["sealed"]) == sealed


def _questions(store: Store, setup: str, state: Folded) -> Iterator[Fault]:
    rows = {row["id"]: row for row in store.setups.questions(only_open=False, setup=setup)}
    wanted: dict[str, tuple[Any, ...]] = {}
    for one in state["questions"]:
        given = one["answer"]
        answer = (given["at_utc"], given["by"], given["decision"], given["reason"]) if given else (None,) * 4
        wanted[one["question"]] = (one["event"], one["axis"], one["text"], one["at_utc"], *answer)
    columns = ("event", "axis", "text", "at_utc", "answered_at_utc", "answered_by", "decision", "reason")
    for id_ in sorted(rows.keys() | wanted.keys()):
        row = rows.get(id_)
        if row is None or tuple(row[name] for name in columns) != wanted.get(id_):  # type: ignore[literal-required]
            yield Fault("audit.derived", f"question {id_}")


def _worries(store: Store, setup: str, state: Folded, sheet: WrittenSheet) -> Iterator[Fault]:
    """Worries that name something stand in a list; those from before it did named nothing."""
    ends = {one["event"]: one["closed"] for one in state["worries"]}
    for raised in stored_setups.raised_worries(setup, state, sheet):
        row, closed = store.worries.worry(event=raised.event), ends[raised.event]
        wanted = (closed["at_utc"], closed["by"], closed["how"], closed["reason"]) if closed else (None,) * 4
        if (
            row is None
            or wanted != (row.closed_at_utc, row.closed_by, row.closed_how, row.closed_reason)
            or any(getattr(row, name) != value for name, value in asdict(raised).items())
        ):
            yield Fault("audit.derived", f"worry {raised.event}")


def _found_by(
    store: Store, setup: str, state: Folded, sheet: WrittenSheet, began_utc: str
) -> Iterator[Fault]:
    """What a setup is found by; one from before there was such a list waits to be looked at."""
    terms, words, began = store.found.found_by(setup)
    wanted = terms_of(sheet, state), words_of(state)
    if ((terms, words) != wanted or began - {began_utc}) and not store.found.waits(setup):
        yield Fault("audit.derived", f"setup {setup}, what it is found by")


def _slot(store: Store, setup: str, state: Folded, sheet: WrittenSheet, said: SaidBeside) -> Iterator[Fault]:
    """What a slot holds is what the setup saw there that it names as the last one, and none that is known to
    be later saw another thing, as long as the slot was not put in anew since.
    """
    seen, machine = stored_setups.seen_in_slot(store, sheet, state), sheet["machine"]["id"]
    row = store.shop.slot(machine, state["slot"]) if state["slot"] is not None else None
    if row is None or seen is None:
        return
    key, (values_nm, at_utc) = (machine, row["label"]), seen
    if row["last_setup"] == setup:
        said.meet(*key)
        wrong = (row["last_values"], row["last_seen_at_utc"]) != (values_nm, at_utc)
        wrong = wrong or not _used_as_found(row, setup, state, said)
    else:
        later = at_utc > max(said.slots.get(key, ""), row["last_seen_at_utc"] or "")
        wrong = later and not stored_setups.may_be_older(store, machine, setup, row["label"])
    if wrong:
        yield Fault("audit.derived", f"slot {machine} {row['label']}")


def _used_as_found(row: SlotRow, setup: str, state: Folded, said: SaidBeside) -> bool:
    """Whether a slot says that others used it where its last setup found that, and not otherwise."""
    found_by = setup if stored_setups.found_otherwise(state) else None
    return row["used_otherwise"] == found_by or said.may_not_say(row)
