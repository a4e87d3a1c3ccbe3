"""What is kept beside the events of a setup, made again from its events and decisions and compared.

Rules: where a setup stands, its questions with their answers, what was closed of its worries and the values
that it brought are a fold over signed events and entries of the ledger; the row in a list is only there to be
searched. A row that the fold does not give is named by table and key, whatever was noted of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.plain.errors import DomainError
from webapp.services.audit.unreadable import readable
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.setups import stored_setups

if TYPE_CHECKING:
    from webapp.store import Store

AT_A_TIME = 200


def misfits(store: Store) -> Iterator[Fault]:
    """Rows that the events and decisions of their setup do not give, each setup in a short transaction."""
    after = ""
    while setups := _some(store, after):
        for setup in setups:
            with store.reading():
                found = list(readable(f"setup {setup}", misfits_of(store, setup)))
            yield from found
        after = setups[-1]


def _some(store: Store, after: str) -> list[str]:
    with store.reading():
        return store.setups.setups_with_events(after, AT_A_TIME)


def misfits_of(store: Store, setup: str) -> Iterator[Fault]:
    """The same for one setup that has events."""
    try:
        events = stored_setups.events_of(store, setup)
        state = stored_setups.fold_stored(store, setup)
        wanted = stored_setups.setup_row(store, events, state)
    except (DomainError, LookupError, ValueError, TypeError, AttributeError):
        yield Fault("audit.not_folded", f"setup {setup}")
        return
    row = store.setups.setup(setup)
    if row is None or any(row[name] != value for name, value in wanted.items()):  # type: ignore[literal-required]
        yield Fault("audit.derived", f"setup {setup}")
    yield from _questions(store, setup, state)
    yield from _worries(store, state)
    yield from _values(store, setup, state)


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


def _worries(store: Store, state: Folded) -> Iterator[Fault]:
    for one in state["worries"]:
        row = store.worries.worry(event=one["event"])
        if row is None:
            continue  # those from before worries had a list stand in none
        closed = one["closed"]
        wanted = (closed["at_utc"], closed["by"], closed["how"], closed["reason"]) if closed else (None,) * 4
        said = (row.about, row.kind, row.text, row.at_utc)
        found = (row.closed_at_utc, row.closed_by, row.closed_how, row.closed_reason)
        if found != wanted or said != (one["about"], one["worry"], one["text"], one["at_utc"]):
            yield Fault("audit.derived", f"worry {one['event']}")


def _values(store: Store, setup: str, state: Folded) -> Iterator[Fault]:
    """A value that was kept is the one of the last touch that was kept, of a setup that was signed off."""
    for row in store.numbers.kept_of(setup):
        value_nm = state["values_nm"].get(row["axis"]) if state["sign_off"] is not None else None
        if row["value_nm"] != value_nm:
            yield Fault("audit.derived", f"kept_value {setup} {row['axis']}")
