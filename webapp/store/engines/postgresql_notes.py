"""Notes of row changes on PostgreSQL (see `covered_rows.py`): the same notes, to the letter of their digests.

Rules:
- there are no triggers of a connection here, so the triggers are the database's, and they note only in a
  transaction that says so: the program sets `zerokeep.notes` for each of its own, and another tool that
  changes a row does not. So the audit can say the same as on SQLite: a row that was changed by another hand
  fits no note. Like there, a hand that knows how may make its own notes, and the digest over all notes that
  audits write down tells of those made later;
- whoever owns the tables can switch a trigger off; then the program's own changes leave no notes, and the
  audit names those rows as well: it errs to the side of naming too many;
- TRUNCATE fires no trigger of a row: every row that it takes is named as gone;
- a row's JSON is put together as SQLite puts it: columns in order, those that are NULL left out, a flag as 0
  or 1, a length in millionths rounded half away from zero; both escape the same characters of a text the same
  way.
"""

from __future__ import annotations

from webapp.store.covered_rows import COVERED, EVENT_COLUMNS, EVENTS, FUNCTION, MILLIONTHS, Covered
from webapp.store.engines.postgresql_text import FLAGS

SETTING = "zerokeep.notes"
INTO = "INSERT INTO row_change (name, key, old, new)"
_ROW = " || ',' || ".join(f"to_json({column})::text" for column in EVENT_COLUMNS)
_ROWS = f"'[' || coalesce(string_agg('[' || {_ROW} || ']', ',' ORDER BY position), '') || ']'"
DIGEST_OF_EVENTS = (
    f"SELECT {FUNCTION}({_ROWS}) FROM event "  # noqa: S608
    "WHERE position BETWEEN CAST(?1 AS BIGINT) AND CAST(?2 AS BIGINT)"
)
NOTE_EVENTS = (
    f"{INTO} SELECT '{EVENTS}', '[' || CAST(?1 AS BIGINT) || ',' || CAST(?2 AS BIGINT) || ']', NULL, "
    f"({DIGEST_OF_EVENTS})"
)
# The two positions of a note's key; one whose key was made no such list is of no upload.
_PLACE = "CASE WHEN key ~ '^\\[\\d{1,18},\\d{1,18}\\]$' "
_PLACE += "THEN CAST(split_part(btrim(key, '[]'), ',', %d) AS BIGINT) END"
NOTES_OF_EVENTS = (
    f"SELECT number, {_PLACE % 1}, coalesce({_PLACE % 2}, -1), new FROM row_change "  # noqa: S608
    "WHERE name = ? AND number > ? ORDER BY number LIMIT ?"
)


def key_of(table: Covered, row: str) -> str:
    """SQL for the key as a JSON list; `row` is "NEW.", "OLD." or the table's name with a point."""
    parts = [f'to_json({FUNCTION}({row}"{one}"))' if table.secret else _json(row, one) for one in table.key]
    return "'[' || " + " || ',' || ".join(f"{one}::text" for one in parts) + " || ']'"


def digest_of(table: Covered, row: str, since: tuple[str, ...] | None = None) -> str:
    """SQL for the digest of a row; `since` stands for the columns that came later, all there are by
    themselves.
    """
    columns = (*table.key, *table.others, *(table.since if since is None else since))
    pairs = ", ".join(f"'\"{column}\":' || {_json(row, column)}::text" for column in columns)
    return f"{FUNCTION}('{{' || array_to_string(ARRAY[{pairs}], ',') || '}}')"


def first_notes(table: Covered, since: tuple[str, ...] = ()) -> str:
    """The statement that notes every row that is there already, as `covered_rows.first_notes` does."""
    return (
        f"{INTO} SELECT '{table.name}', {key_of(table, '')}, NULL, {digest_of(table, '', since)} "  # noqa: S608
        f"FROM {table.name}"
    )


def triggers() -> tuple[str, ...]:
    """The statements that make every change of a covered row noted, whatever was there before."""
    return tuple(statement for table in COVERED for statement in _trigger(table))


def _json(row: str, column: str) -> str:
    if column in FLAGS:
        return f'to_json(CAST({row}"{column}" AS INTEGER))'
    if column in MILLIONTHS:
        return f'to_json(CAST(floor({row}"{column}" * 1000000 + 0.5) AS BIGINT))'
    return f'to_json({row}"{column}")'


def _trigger(table: Covered) -> tuple[str, ...]:
    was, now = key_of(table, "OLD."), key_of(table, "NEW.")
    old, new = digest_of(table, "OLD."), digest_of(table, "NEW.")
    begun = f"{INTO} VALUES ('{table.name}', "
    gone, come = f"{begun}{was}, {old}, NULL);", f"{begun}{now}, NULL, {new});"
    other_key = _differ(table.key)
    changed = _differ((*table.others, *table.since))
    body = (
        f"IF TG_OP = 'INSERT' THEN {come} ELSIF TG_OP = 'DELETE' THEN {gone} "
        f"ELSIF {other_key} THEN {gone} {come} "
        f"ELSIF {changed} THEN {begun}{now}, {old}, {new}); END IF; RETURN NULL;"
    )
    name = f"{table.name}_noted"
    calls = f"CREATE TRIGGER {name} AFTER INSERT OR UPDATE OR DELETE ON {table.name} FOR EACH ROW "
    calls += f"WHEN (current_setting('{SETTING}', TRUE) = 'on') EXECUTE FUNCTION {name}()"
    return (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS TRIGGER LANGUAGE plpgsql AS $$ BEGIN {body} END $$",
        f"DROP TRIGGER IF EXISTS {name} ON {table.name}",
        calls,
    )


def _differ(columns: tuple[str, ...]) -> str:
    return "(" + " OR ".join(f'OLD."{column}" IS DISTINCT FROM NEW."{column}"' for column in columns) + ")"
