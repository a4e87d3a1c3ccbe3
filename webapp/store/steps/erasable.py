"""Notes of every change of a row, one decision about a setup, names and sheets that can go.

What was ever released never changes here; see `webapp.store.migrations`.
"""

from webapp.store.covered_rows import COVERED_AT_FIRST, FIRST_NOTE_OF_EVENTS, PERSON, PERSON_NAME, first_notes
from webapp.store.engines.postgresql_notes import first_notes as first_notes_there
from webapp.store.engines.postgresql_text import translated
from webapp.store.steps.on_sheets import SHOP_KEY, counted_for_sheets
from webapp.store.steps.step import Migration, kept_forever

ROW_CHANGE = (
    """CREATE TABLE row_change (
            number INTEGER PRIMARY KEY,
            name TEXT NOT NULL,
            key TEXT NOT NULL,
            old TEXT,
            new TEXT,
            CHECK (old IS NOT NULL OR new IS NOT NULL)) STRICT""",
    "CREATE INDEX row_change_by_row ON row_change (name, key, number)",
)

NOTES = Migration(
    "notes of every change of a row",
    (
        *ROW_CHANGE,
        *(first_notes(table) for table in COVERED_AT_FIRST),
        FIRST_NOTE_OF_EVENTS,
        *kept_forever("row_change"),
    ),
    # No shop was ever kept on PostgreSQL before these notes were: there is no row yet.
    postgresql=translated((*ROW_CHANGE, *kept_forever("row_change"))),
)

# Sheets that come from now on leave here what is the same on many of them;
# those from before stay as they are.
SHEET_PARTS = Migration(
    "parts of sheets",
    (
        "CREATE TABLE sheet_part (hash TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT",
        *kept_forever("sheet_part"),
    ),
)

PEOPLE_LISTED = Migration(
    "people by name, slots by owner",
    (
        "CREATE INDEX person_by_name ON person (name, id)",
        "CREATE INDEX slot_by_owner ON slot (owner) WHERE owner IS NOT NULL",
    ),
)

# Nobody decides a second time about a setup, whatever the program does.
DECIDED_ONCE = Migration(
    "decided once",
    (
        """CREATE UNIQUE INDEX change_decides_once ON change (setup)
            WHERE type IN ('setup.signed_off', 'setup.not_accepted')""",
    ),
)

DECIDED_TWICE = (
    "SELECT setup FROM change WHERE type IN ('setup.signed_off', 'setup.not_accepted') "
    "GROUP BY setup HAVING count(*) > 1 ORDER BY setup LIMIT 20"
)

PERSON_NAMES = (
    """CREATE TABLE person_name (
            person TEXT PRIMARY KEY REFERENCES person (id),
            name TEXT NOT NULL,
            salt TEXT NOT NULL CHECK (length(salt) = 64)) STRICT""",
    "CREATE INDEX person_name_by_name ON person_name (name, person)",
    "DROP INDEX person_by_name",
)
FORGET_IN_PERSON = "UPDATE person SET name = ''"
NAMED_ON_SHEETS = ("person_name", ("INSERT", "UPDATE", "DELETE"), SHOP_KEY)
NAMES_ON_SHEETS = counted_for_sheets(*NAMED_ON_SHEETS)
# Names go where they can be erased, each with a salt that goes with it. Two random UUIDs have 244 bits of
# chance.
SALT_THERE = " || ".join(["replace(CAST(gen_random_uuid() AS TEXT), '-', '')"] * 2)
NAMES_ERASABLE = Migration(
    "names that can be erased",
    (
        *PERSON_NAMES,
        "INSERT INTO person_name SELECT id, name, lower(hex(randomblob(32))) FROM person",
        FORGET_IN_PERSON,
        *(first_notes(table) for table in (PERSON, PERSON_NAME)),
        *NAMES_ON_SHEETS,
    ),
    postgresql=(
        *translated(PERSON_NAMES),
        f"INSERT INTO person_name SELECT id, name, {SALT_THERE} FROM person",  # noqa: S608
        FORGET_IN_PERSON,
        *(first_notes_there(table) for table in (PERSON, PERSON_NAME)),
        *translated(NAMES_ON_SHEETS),
    ),
)

VALUES_LEFT_OUT = Migration(
    "values that were left out",
    (
        (
            "CREATE INDEX kept_value_left_out ON kept_value (fixture, axis, seating) "
            "WHERE left_out_reason IS NOT NULL"
        ),
    ),
)

SET_ASIDE_LISTED = Migration(
    "what was set aside, newest first",
    ("CREATE INDEX set_aside_newest ON set_aside (received_at_utc DESC, id)",),
)

# Few changes are of these types, so that all others cost what they did.
CHANGES_ABOUT_RECORDS = Migration(
    "what came to be of a sealed record",
    (
        """CREATE INDEX change_about_record ON change (subject, type, position)
            WHERE type IN ('record.disposed', 'record.added_to')""",
    ),
)

# Whether any event names a sheet is asked of a list of its own: an index of all events would be a
# hundred times as large. Such sheets are kept for ever. Of others the text may be let go and come back.
SHEETS_NAMED = (
    "CREATE TABLE sheet_named (sheet TEXT PRIMARY KEY REFERENCES sheet (hash)) STRICT, WITHOUT ROWID",
    "INSERT INTO sheet_named SELECT DISTINCT sheet FROM event",
    (
        "CREATE TRIGGER event_names_its_sheet AFTER INSERT ON event "
        "WHEN NOT EXISTS (SELECT 1 FROM sheet_named WHERE sheet_named.sheet = NEW.sheet) "
        "BEGIN INSERT INTO sheet_named VALUES (NEW.sheet) ON CONFLICT DO NOTHING; END"
    ),
)
SAME_SHEET = "OLD.hash = NEW.hash AND OLD.machine = NEW.machine AND "
SAME_SHEET += "OLD.compiled_at_utc = NEW.compiled_at_utc AND OLD.expires_at_utc = NEW.expires_at_utc"


def only_texts_that_nobody_names(in_use: str) -> tuple[str, ...]:
    """The trigger that lets a sheet's text go where neither an event names it nor the table of those in use
    does.
    """
    return (
        (
            "CREATE TRIGGER sheet_no_update BEFORE UPDATE ON sheet "  # noqa: S608
            f"WHEN NOT ({SAME_SHEET} AND (OLD.text = '' OR (NEW.text = '' AND OLD.content = NEW.content "
            "AND NOT EXISTS (SELECT 1 FROM sheet_named WHERE sheet_named.sheet = OLD.hash) "
            f"AND NOT EXISTS (SELECT 1 FROM {in_use} WHERE {in_use}.hash = OLD.hash)))) "
            "BEGIN SELECT RAISE(ABORT, 'UPDATE of a row of sheet is refused'); END"
        ),
    )


ONLY_TEXTS_THAT_NOBODY_NAMES = only_texts_that_nobody_names("sheet_in_use")
SHEETS_LET_GO = Migration(
    "sheets that no event names can be let go",
    (
        *SHEETS_NAMED,
        "DROP TRIGGER sheet_no_update",
        "DROP TRIGGER sheet_part_no_delete",
        *ONLY_TEXTS_THAT_NOBODY_NAMES,
    ),
    postgresql=(
        *translated(SHEETS_NAMED),
        "DROP TRIGGER sheet_no_update ON sheet",
        "DROP FUNCTION sheet_no_update()",
        "DROP TRIGGER sheet_part_no_delete ON sheet_part",
        "DROP FUNCTION sheet_part_no_delete()",
        *translated(ONLY_TEXTS_THAT_NOBODY_NAMES),
    ),
)
