"""Values of the usual, worked out again: which a sign-off kept, in which seating, which are left out and why.

Rules: a setup that was signed off complete has one value for each axis that it kept; the sign-off says which
joined, every other one has a reason, and what a lead left out or took in since is an entry. A value lies in
the seating of its setup's sheet, or in one that was begun back to a time before it. A table that was taken in
is bound by a digest of all its rows, undone by what a lead changed of them since.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from webapp.services.evidence.ledger import entries, said_by
from webapp.services.evidence.ledger_walk import Fault
from webapp.services.numbers.values_told import Words, digest_of_table, texts

if TYPE_CHECKING:
    from webapp.domain.evidence.folded_setup import Folded
    from webapp.domain.evidence.written_sheet import WrittenSheet
    from webapp.store import Store
    from webapp.store.rows import ChangeRow, KeptWithOrigin

VALUES_AT_A_TIME = 5_000
IMPORTED, SIGNED_OFF, COMPLETE = "history.imported", "setup.signed_off", "complete"


def misfits_of(store: Store, setup: str, sheet: WrittenSheet, state: Folded, said: Words) -> Iterator[Fault]:
    """Values of one setup that was walked here. Inside a transaction."""
    there = {row["axis"]: row for row in store.numbers.kept_of(setup)}
    kept = {touch["axis"]: touch for touch in state["touches"] if touch["kept"]}
    signed_off = next(
        (row for row in store.ledger.changes_of_setup(setup) if row["type"] == SIGNED_OFF), None
    )
    if signed_off is None or state["outcome"] != COMPLETE:
        kept = {}
    for axis in sorted(there.keys() | kept.keys()):
        row, touch = there.get(axis), kept.get(axis)
        if row is None or touch is None or signed_off is None:
            yield Fault("audit.derived", f"kept_value {setup} {axis}")
            continue
        fixture = sheet["fixture"]["id"]
        named, began = sheet["fixture"]["seating"]["id"], state["started_at_utc"] or ""
        seating = said.seating_then(fixture, named, began, signed_off["position"])
        wanted = (touch["value_nm"], touch["at_utc"], fixture, None)
        found = (row["value_nm"], row["at_utc"], row["fixture"], row["imported"])
        lies = said.seating(fixture, seating, touch["at_utc"], signed_off["position"])
        if found != wanted or row["seating"] != lies or not _left_out_as_said(row, signed_off, said):
            yield Fault("audit.derived", f"kept_value {setup} {axis}")


def _left_out_as_said(row: KeptWithOrigin, signed_off: ChangeRow, said: Words) -> bool:
    """Whether a value is left out for the reason that was said last; with none, if the sign-off says so."""
    after = said.of_values.get((row["setup"], row["axis"]), ())
    if after:
        return row["left_out_reason"] == after[-1].reason
    joined = said_by(signed_off["text"]).get("into_usual")
    return (row["left_out_reason"] is None) == (joined is None or row["axis"] in texts(joined))


def misfits_of_tables(store: Store) -> Iterator[Fault]:
    """Tables that were taken in: every row of each, as it was then. Each in a short transaction."""
    said = Words()
    with store.reading():
        tables = list(entries(store, (IMPORTED,)))
    for number, entry in enumerate(tables, start=1):
        wanted = said_by(entry["text"]).get("rows_sha256")
        if wanted is None:
            continue
        with store.reading():
            said.read(store)
            found = digest_of_table(store, number, said, entry["position"])
        if found != wanted:
            yield Fault("audit.derived", f"rows of history_import {number}")
    after: tuple[str, str] | None = ("", "")
    while after is not None:
        with store.reading():
            strays, after = store.numbers.of_no_setup(after, VALUES_AT_A_TIME)
        yield from (Fault("audit.derived", f"kept_value {' '.join(key)}") for key in strays)
