"""Setups as they are asked for: by what stands in their rows, and by what is kept beside them to be found by.

What is asked for is looked up in one stretch of one index, by when setups began, the newest first: of those
that the narrowest thing asked for gives, so many are looked at, and of these the ones that all else fits are
given. So a page costs the same however long the shop ran, whatever is asked for together.
"""

import json
from collections.abc import Collection
from typing import Any, TypedDict, cast

from webapp.store.like import escaped
from webapp.store.repositories.base import Repository
from webapp.store.repositories.setups import SETUP_COLUMNS
from webapp.store.rows import SetupRow

ROW = (*SETUP_COLUMNS, "sealed")
FLAGS = ("probe_in_spindle", "sealed")
TERMS_OF = "SELECT term, started_at_utc FROM setup_term WHERE setup = ?"
WORDS_OF = "SELECT words, started_at_utc FROM setup_words WHERE setup = ?"
FORGET_TERMS = "DELETE FROM setup_term WHERE setup = ?"
FORGET_WORDS = "DELETE FROM setup_words WHERE setup = ?"
PUT_TERM = "INSERT INTO setup_term (setup, term, started_at_utc) VALUES (?, ?, ?)"
PUT_WORDS = "INSERT INTO setup_words (setup, words, started_at_utc) VALUES (?, ?, ?)"
WAITING = "SELECT setup FROM setup_to_find ORDER BY setup LIMIT ?"
WAITS = "SELECT 1 FROM setup_to_find WHERE setup = ?"
DONE = "DELETE FROM setup_to_find WHERE setup = ?"
TERMS_AMONG = "SELECT setup, term FROM setup_term WHERE setup IN ({these}) ORDER BY setup, term"
Place = tuple[str, str]


class Asked(TypedDict):
    """What setups are asked for; None and () ask for nothing. They began from `from_utc` on and before
    `before_utc`; all `terms` are theirs, the narrowest first; `words` is folded and stands in what was said
    in them; `after` is when the last setup of the page before began, and its id.
    """

    person: str | None
    status: str | None
    machine: str | None
    from_utc: str | None
    before_utc: str | None
    terms: tuple[str, ...]
    words: str | None
    after: Place | None


class FoundRepository(Repository):
    """Terms and words of setups are found again from their events at any time."""

    def listed(self, asked: Asked, most: int, stretch: int) -> tuple[list[SetupRow], Place | None]:
        """Setups that all of this fits, by when they began, the newest first, `most` at the most, and where
        the look ended (None: there is nothing behind it, or the rows end it).
        """
        looked, values, rest, more = _looked_at(asked, most, stretch)
        columns = ", ".join(f"setup.{name}" for name in ROW)
        rows = self._database.raw(
            f"SELECT {columns} FROM ({looked}) AS looked CROSS JOIN setup WHERE setup.id = looked.id"  # noqa: S608
            f"{rest} ORDER BY looked.started_at_utc DESC, looked.id LIMIT ?",
            (*values, *more, most),
        )
        found = [_row(row) for row in rows]
        return found, self._end(looked, values) if rest and len(found) < most else None

    def _end(self, looked: str, values: tuple[Any, ...]) -> Place | None:
        """The last of a stretch, where it was as long as it may be."""
        ends = f"SELECT started_at_utc, id FROM ({looked}) AS looked "  # noqa: S608
        ends += "ORDER BY started_at_utc DESC, id LIMIT 1 OFFSET ?"
        rows = self._database.raw(ends, (*values, values[-1] - 1))
        return (str(rows[0][0]), str(rows[0][1])) if rows else None

    def terms_among(self, setups: Collection[str]) -> dict[str, list[str]]:
        """What these setups are found by, by setup, in the order of the words."""
        found: dict[str, list[str]] = {}
        for setup, one in self._among(TERMS_AMONG, (json.dumps(list(setups)),)) if setups else []:
            found.setdefault(setup, []).append(one)
        return found

    def found_by(self, setup: str) -> tuple[frozenset[str], str, frozenset[str]]:
        """The terms of a setup, its words, and when it began as each of their rows says."""
        terms, words = self._database.raw(TERMS_OF, (setup,)), self._database.raw(WORDS_OF, (setup,))
        began = frozenset(at_utc for _, at_utc in (*terms, *words))
        return frozenset(one for one, _ in terms), words[0][0] if words else "", began

    def put(self, setup: str, started_at_utc: str, terms: frozenset[str], words: str) -> None:
        """Let a setup be found by this, and by nothing else."""
        known, said, began = self.found_by(setup)
        if known != terms or began - {started_at_utc}:
            self._database.raw(FORGET_TERMS, (setup,))
            self._database.run_many(PUT_TERM, [(setup, one, started_at_utc) for one in sorted(terms)])
        if said != words or began - {started_at_utc}:
            self._database.raw(FORGET_WORDS, (setup,))
            self._database.run_many(PUT_WORDS, [(setup, words, started_at_utc)] if words else [])

    def waiting(self, most: int) -> list[str]:
        """Setups from before there were terms, that nobody looked at yet."""
        return [row[0] for row in self._database.raw(WAITING, (most,))]

    def waits(self, setup: str) -> bool:
        """Whether this is one of them."""
        return bool(self._database.raw(WAITS, (setup,)))

    def looked_at(self, setup: str) -> None:
        """It waits no more."""
        self._database.raw(DONE, (setup,))


def _looked_at(asked: Asked, most: int, stretch: int) -> tuple[str, tuple[Any, ...], str, tuple[Any, ...]]:
    """The stretch that is looked at with its values, and what else has to fit with its values. Where nothing
    else has to, it is no longer than what is asked for.
    """
    rows = {"person": asked["person"], "status": asked["status"], "machine": asked["machine"]}
    columns = [(name, value) for name, value in rows.items() if value is not None]
    terms, words = list(asked["terms"]), asked["words"]
    table, key = "setup", "id"
    where: list[str] = []
    values: tuple[Any, ...] = ()
    if columns and columns[0][0] == "person":
        where, values = ["person = ?"], (columns.pop(0)[1],)
    elif words is not None:
        table, key = "setup_words", "setup"
    elif terms:
        table, key, where, values = "setup_term", "setup", ["term = ?"], (terms.pop(0),)
    elif columns:
        name, value = columns.pop(0)
        where, values = [f"{name} = ?"], (value,)
    for text, at_utc in (
        ("started_at_utc >= ?", asked["from_utc"]),
        ("started_at_utc < ?", asked["before_utc"]),
    ):
        if at_utc is not None:
            where, values = [*where, text], (*values, at_utc)
    if asked["after"] is not None:
        began, last = asked["after"]
        where = [*where, "started_at_utc <= ?", f"(started_at_utc < ? OR {key} > ?)"]
        values = (*values, began, began, last)
    fits = f" WHERE {' AND '.join(where)}" if where else ""
    looked = f"SELECT {key} AS id, started_at_utc FROM {table}{fits} "  # noqa: S608
    looked += f"ORDER BY started_at_utc DESC, {key} LIMIT ?"
    rest, more = _rest(columns, terms, words)
    return looked, (*values, stretch if rest else most), rest, more


def _rest(columns: list[tuple[str, str]], terms: list[str], words: str | None) -> tuple[str, tuple[Any, ...]]:
    rest = "".join(f" AND setup.{name} = ?" for name, _ in columns)
    has_term = " AND EXISTS (SELECT 1 FROM setup_term WHERE setup_term.setup = looked.id AND term = ?)"
    rest += has_term * len(terms)
    values: tuple[Any, ...] = (*(value for _, value in columns), *terms)
    if words is not None:
        rest += " AND EXISTS (SELECT 1 FROM setup_words WHERE setup_words.setup = looked.id "
        rest += "AND words LIKE ? ESCAPE '!')"
        values = (*values, f"%{escaped(words)}%")
    return rest, values


def _row(row: tuple[Any, ...]) -> SetupRow:
    found = dict(zip(ROW, row, strict=True))
    return cast("SetupRow", {**found, **{name: bool(found[name]) for name in FLAGS}})
