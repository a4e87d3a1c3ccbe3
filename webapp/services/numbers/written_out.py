"""Kept values written out as a table, left-out ones marked, a stretch at a time."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.history_csv import HistoryRow, write_history

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.rows import KeptWithOrigin


def export(store: Store, fixture: str | None = None) -> Iterator[str]:
    """The lines of a table of all kept values, left-out ones marked:
    in inches where every machine shows them, else mm.

    The lines are read a stretch at a time, each in a short view of its own,
    so that nobody waits for a slow reader; a setup that comes meanwhile may be among them or not.
    """
    with store.reading():
        machines = store.shop.items("machine")
    inches = bool(machines) and all(value["unit"] == "in" for value in machines.values())
    display = Display(Unit.INCH, 4) if inches else Display(Unit.MM, 3)
    yield from write_history(_rows(store, fixture), display)


def _rows(store: Store, fixture: str | None) -> Iterator[HistoryRow]:
    after = ""
    while True:
        with store.reading():
            rows = store.numbers.kept_after(fixture, after)
        if not rows:
            return
        for _, values in groupby(rows, key=lambda row: row["setup"]):
            yield _as_row(list(values))
        after = rows[-1]["setup"]


def _as_row(rows: list[KeptWithOrigin]) -> HistoryRow:
    first = rows[0]
    return HistoryRow(
        0,
        first["at_utc"],
        first["machine"] or "",
        first["fixture"],
        first["seating"],
        first["person"] or "",
        first["named"] or first["setup"],
        {row["axis"]: row["value_nm"] for row in rows},
        first["note"],
        {row["axis"]: row["left_out_reason"] for row in rows if row["left_out_reason"] is not None},
    )
