"""Sheets that no event names and that can be let go, and the parts that only such sheets had."""

from __future__ import annotations

import json
from collections.abc import Collection

from webapp.store.repositories.base import Repository
from webapp.store.sheet_parts import named, opened

ROWS_AT_A_TIME = 500
# Of so many rows those that may go: a statement that went on to the next one that may would read on and on.
MAY_GO = (
    "SELECT hash, text <> '' AND expires_at_utc < ? "
    "AND NOT EXISTS (SELECT 1 FROM sheet_named WHERE sheet_named.sheet = here.hash) "
    "AND NOT EXISTS (SELECT 1 FROM sheet_at_fixture WHERE sheet_at_fixture.hash = here.hash) FROM "
    "(SELECT hash, text, expires_at_utc FROM sheet WHERE hash > ? ORDER BY hash LIMIT ?) AS here "
    "ORDER BY hash"
)
FORMS = "SELECT hash, text FROM sheet WHERE hash > ? ORDER BY hash LIMIT ?"
BODIES = "SELECT hash, body FROM sheet_part WHERE hash > ? ORDER BY hash LIMIT ?"
FORMS_OF = "SELECT hash, text FROM sheet WHERE hash IN ({these})"
BODIES_OF = "SELECT hash, body FROM sheet_part WHERE hash IN ({these})"
LET_GO = (
    "UPDATE sheet SET text = '' WHERE text <> '' AND hash IN ({these}) "
    "AND NOT EXISTS (SELECT 1 FROM sheet_named WHERE sheet_named.sheet = sheet.hash) "
    "AND NOT EXISTS (SELECT 1 FROM sheet_at_fixture WHERE sheet_at_fixture.hash = sheet.hash) RETURNING hash"
)
TAKE_AWAY = "DELETE FROM sheet_part WHERE hash IN ({these})"
LAST_NOTE = "SELECT coalesce(max(number), 0) FROM row_change"
# Few notes lie behind the last one: no index of all that were ever made of sheets is offered.
NOTED_SINCE = "SELECT key FROM row_change WHERE number > ? AND name || '' = 'sheet' ORDER BY number"
IS_NAMED = (
    "SELECT 1 FROM sheet_named WHERE sheet = ?1 UNION ALL SELECT 1 FROM sheet_at_fixture WHERE hash = ?1"
)
# What a name of a part may stand in, and the hashes that it names.
Named = dict[str, set[str]]


class OldSheetsRepository(Repository):
    """Everything is read in pieces, each from behind a hash: nobody waits for a long look."""

    def may_go(self, before_utc: str, after: str) -> tuple[list[str], str | None]:
        """Of the next sheets behind a hash those that expired before a time and that neither an event names
        nor a machine has now; and the last hash that was looked at, None at the end.
        """
        rows = self._database.raw(MAY_GO, (before_utc, after, ROWS_AT_A_TIME))
        then = rows[-1][0] if len(rows) == ROWS_AT_A_TIME else None
        return [hash_ for hash_, may in rows if may], then

    def forms(self, after: str) -> Named:
        """The next sheets behind a hash, each with the parts that it names."""
        return {hash_: named(text) for hash_, text in self._database.raw(FORMS, (after, ROWS_AT_A_TIME))}

    def bodies(self, after: str) -> Named:
        """The next parts behind a hash, each with the parts that it names."""
        rows = self._database.raw(BODIES, (after, ROWS_AT_A_TIME))
        return {hash_: named(opened(bytes(body))) for hash_, body in rows}

    def forms_of(self, hashes: Collection[str]) -> Named:
        """These sheets, each with the parts that it names."""
        rows = self._among(FORMS_OF, (json.dumps(list(hashes)),)) if hashes else []
        return {hash_: named(text) for hash_, text in rows}

    def bodies_of(self, hashes: Collection[str]) -> Named:
        """These parts, each with the parts that it names."""
        rows = self._among(BODIES_OF, (json.dumps(list(hashes)),)) if hashes else []
        return {hash_: named(opened(bytes(body))) for hash_, body in rows}

    def let_go(self, hashes: Collection[str]) -> int:
        """Let the texts of these sheets go but for those that are named by now; how many went."""
        return len(self._among(LET_GO, (json.dumps(list(hashes)),)))

    def is_named(self, sheet_hash: str) -> bool:
        """Whether an event names this sheet, or a machine has it now."""
        return bool(self._database.raw(IS_NAMED, (sheet_hash,)))

    def take_away(self, parts: Collection[str]) -> None:
        """Take these parts away."""
        self._among(TAKE_AWAY, (json.dumps(list(parts)),))

    def last_note(self) -> int:
        """The number of the last note of a row's change."""
        return int(self._database.raw(LAST_NOTE)[0][0])

    def came_since(self, note: int) -> set[str]:
        """Sheets that came, or came back, behind this note."""
        return {hash_ for (key,) in self._database.raw(NOTED_SINCE, (note,)) for hash_ in json.loads(key)}
