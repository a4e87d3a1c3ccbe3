"""The list of setups: filtered and paged by the database,
so that a page costs the same however long the shop ran.

Question: how are words found among 100,000 setups? Options: the full-text search of each database (two
grammars, two notions of a word, none for scripts without spaces, a table that SQLite keeps apart from all
others); a table of words, or of their beginnings (a hundred rows for one remark, and no middle of a word);
what was said, folded, in one row a setup, looked through a stretch at a time. Choice: the last. Only setups
in which something was said have a row; a part of a word is found in any script; both databases answer
alike; a page looks at STRETCH of them and offers to look further back. All else that is asked for together
is bounded by the same stretch; slot, verdict, cause and worry are looked up in an index each.

Rules: who may see one person's setups only asks for that person's; a day is a day of the shop's own time;
a setup stands where it began, so that a page goes on after the last row of the one before, and setups that
come in or go on meanwhile move nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.domain.plain.folding import folded
from webapp.domain.plain.zones import UTC_NAME, typed_day_begins_utc
from webapp.domain.record import found_by
from webapp.domain.setup.trouble.worries import RULES as WORRIES
from webapp.domain.shop.errors import SlotError
from webapp.domain.shop.fields import from_plain
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.slots import SlotFamily, normalise_label
from webapp.services.errors import NoSuchSetup

if TYPE_CHECKING:
    from webapp.store import Store
    from webapp.store.repositories.found import Asked
    from webapp.store.rows import SetupRow

A_PAGE = 100
STRETCH = 2_000
LONGEST_WORDS = 120
LONGEST_LABEL = 40
WORRY_KINDS = tuple(WORRIES)
STATES = ("running", "finished", "signed", "signed_off", "not_accepted", "left")
# The narrowest first: it says which setups are looked at.
NARROWEST_FIRST = (found_by.CAUSE, found_by.WORRY, found_by.SLOT, found_by.VERDICT)
AFTER = re.compile(r"([0-9TZ:.-]{24})_([0-9a-f-]{36})")


@dataclass(frozen=True)
class Wanted:
    """What a list is asked for, as it was typed; what cannot be read asks for nothing. Days are YYYY-MM-DD;
    `slot` is a label, `verdict` one of `found_by.VERDICTS`, `cause` and `worry` are kinds of them, `words`
    stands in what people said.
    """

    machine: str = ""
    person: str = ""
    state: str = ""
    from_day: str = ""
    to_day: str = ""
    slot: str = ""
    verdict: str = ""
    cause: str = ""
    worry: str = ""
    words: str = ""
    after: str = ""


@dataclass(frozen=True)
class ListedSetup:
    """A setup's row, its slot's label (None: it had none yet), and the verdicts that it is found under."""

    row: SetupRow
    slot: str | None
    verdicts: tuple[str, ...]


@dataclass(frozen=True)
class Listed:
    """A page of setups, newest first, and what the next page is asked with (None: there is none).

    `looked_to` is where the look ended, as UTC text, where there is more to be looked at: then the page may
    have fewer rows than a page has, or none, and others that fit may be further back.
    """

    rows: tuple[ListedSetup, ...]
    older: str | None
    looked_to: str | None = None


def setups(store: Store, wanted: Wanted, only_of: str | None = None, stretch: int = STRETCH) -> Listed:
    """The setups that fit. `only_of`: the person whose setups alone may be seen, None where all may be."""
    if only_of and wanted.person not in ("", only_of):
        return Listed((), None)
    with store.reading():
        zone = (store.shop.item("shop", "shop") or {}).get("time_zone", UTC_NAME)
        asked = _asked(store, wanted, only_of, zone)
        rows, end = store.found.listed(asked, A_PAGE + 1, stretch)
        terms = store.found.terms_among([row["id"] for row in rows])
    shown = tuple(_listed(row, terms.get(row["id"], ())) for row in rows[:A_PAGE])
    if len(rows) > A_PAGE:
        last = rows[A_PAGE - 1]
        return Listed(shown, f"{last['started_at_utc']}_{last['id']}")
    return Listed(shown, "_".join(end), end[0]) if end else Listed(shown, None)


def _asked(store: Store, wanted: Wanted, only_of: str | None, zone: str) -> Asked:
    terms = {
        found_by.SLOT: _label(store, wanted.slot[:LONGEST_LABEL], wanted.machine) if wanted.slot else "",
        found_by.VERDICT: wanted.verdict if wanted.verdict in found_by.VERDICTS else "",
        found_by.CAUSE: wanted.cause[:LONGEST_LABEL],
        found_by.WORRY: wanted.worry[:LONGEST_LABEL],
    }
    found = AFTER.fullmatch(wanted.after)
    return {
        "person": only_of or wanted.person or None,
        "status": wanted.state if wanted.state in STATES else None,
        "machine": wanted.machine or None,
        "from_utc": typed_day_begins_utc(wanted.from_day, zone),
        "before_utc": typed_day_begins_utc(wanted.to_day, zone, days_later=1),
        "terms": tuple(found_by.term(kind, terms[kind]) for kind in NARROWEST_FIRST if terms[kind]),
        "words": folded(wanted.words[:LONGEST_WORDS]) or None,
        "after": (found[1], found[2]) if found else None,
    }


def _label(store: Store, typed: str, machine: str) -> str:
    """A typed slot as the machines' controls write it; as it was typed where none has it, or each another."""
    items = store.shop.items("machine")
    spelt = set()
    for one in [machine] if machine in items else items:
        with suppress(SlotError):
            spelt.add(normalise_label(typed, SlotFamily(from_plain(Machine, items[one]).labels)))
    return spelt.pop() if len(spelt) == 1 else typed.strip().upper()


def _listed(row: SetupRow, terms: Iterable[str]) -> ListedSetup:
    said = [one.partition(":") for one in terms]
    slot = next((value for kind, _, value in said if kind == found_by.SLOT), None)
    return ListedSetup(row, slot, tuple(value for kind, _, value in said if kind == found_by.VERDICT))


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
