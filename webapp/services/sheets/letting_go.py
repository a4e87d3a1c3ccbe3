"""Sheets that no event names are let go when nobody can need them any more.

Every change of a board or a line makes a new sheet, and most of them no setup begins on. Rules:
- a sheet that any event names stays for ever, as does a machine's sheet of now and one that an event names
  which waits for its predecessor;
- any other goes KEPT after it ended: a tablet begins no setup on it since then, may have been without a
  network for long, keeps what it has sent for thirty days, and brings a sheet back that the server has no
  more (see `intake/coming_back.py`), so that an event which comes later still is not lost;
- what goes is the text: its hash, its machine and its times stay listed;
- parts go with the last sheet that has them. Sheets that come meanwhile are looked at before any part goes;
  what a crash leaves is a part that nobody names: it takes room, and nothing else;
- nothing goes while an audit finds anything. The ledger says how many went, and when.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from typing import TYPE_CHECKING

from webapp.proof.keys.encoding import from_base64url
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.times import utc_text

if TYPE_CHECKING:
    from webapp.store import Store

KEPT = timedelta(days=60)
MOST_A_RUN = 2_000
AT_A_TIME = 100
LET_GO = "sheets.let_go"
Named = dict[str, set[str]]


@dataclass(frozen=True)
class Gone:
    """How many sheets were let go, and how many parts with them."""

    sheets: int
    parts: int


def let_go(store: Store, now: datetime) -> Gone:
    """Let go what may go, MOST_A_RUN sheets at most, in short transactions while others go on working."""
    sheets = list(islice(_may_go(store, now), MOST_A_RUN))
    if not sheets:
        return Gone(0, 0)
    with store.reading():
        note = store.old_sheets.last_note()
    parts = _parts_of(store, sheets)
    went = 0
    for some in _pieces(sheets):
        with store.writing():
            awaited = _awaited(store)
            went += store.old_sheets.let_go([one for one in some if one not in awaited])
    taken = _take_away(store, _unnamed(store, parts), note)
    with store.writing():
        data = {"sheets": went, "parts": taken}
        change(store, LET_GO, SERVER, "ledger", None, data, now)
    return Gone(went, taken)


def _may_go(store: Store, now: datetime) -> Iterator[str]:
    before_utc, after = utc_text(now - KEPT), ""
    with store.reading():
        awaited = _awaited(store)
    while True:
        with store.reading():
            found, then = store.old_sheets.may_go(before_utc, after)
        yield from (one for one in found if one not in awaited)
        if then is None:
            return
        after = then


def _awaited(store: Store) -> set[str]:
    """The sheets of events that wait for their predecessor: asked again before any goes, for one may have
    come since.
    """
    return {_sheet_of(row["jws"]) for row in store.events.waiting()}


def _sheet_of(jws: str) -> str:
    """The sheet that a waiting event names; it was read when it came, so that it is well formed."""
    return str(json.loads(from_base64url(jws.split(".")[1]))["sheet"])


def _parts_of(store: Store, sheets: Collection[str]) -> Named:
    """The parts that these sheets name, and those that such parts name, each with what it names."""
    found: Named = {}
    for some in _pieces(sheets):
        with store.reading():
            wanted = set[str]().union(*store.old_sheets.forms_of(some).values())
            while wanted := wanted - found.keys():
                bodies = store.old_sheets.bodies_of(wanted)
                found |= {one: bodies.get(one, set()) for one in wanted}
                wanted = set[str]().union(*bodies.values())
    return found


def _unnamed(store: Store, parts: Named) -> Named:
    """Those of these parts that no sheet and no other part names that stays."""
    for read in (store.old_sheets.forms, store.old_sheets.bodies):
        for one, names in _all(store, read):
            if one not in parts:
                _keep(parts, names)
    return parts


def _all(store: Store, read: Callable[[str], Named]) -> Iterator[tuple[str, set[str]]]:
    after: str | None = ""
    while after is not None:
        with store.reading():
            found = read(after)
        yield from found.items()
        after = max(found, default=None)


def _keep(parts: Named, names: Collection[str]) -> None:
    """Take out of these parts those that are named, and all that they name in turn."""
    wanted = [one for one in names if one in parts]
    while wanted:
        found = parts.pop(wanted.pop(), set())
        wanted += [one for one in found if one in parts]


def _take_away(store: Store, parts: Named, note: int) -> int:
    """Take parts away but for those of sheets that came behind a note; how many went."""
    taken = 0
    while parts:
        with store.writing():
            came = store.old_sheets.forms_of(store.old_sheets.came_since(note))
            note = store.old_sheets.last_note()
            for names in came.values():
                _keep(parts, names)
            some = list(islice(parts, AT_A_TIME))
            store.old_sheets.take_away(some)
        for one in some:
            del parts[one]
        taken += len(some)
    return taken


def _pieces(some: Collection[str]) -> Iterator[list[str]]:
    rest = iter(some)
    while piece := list(islice(rest, AT_A_TIME)):
        yield piece
