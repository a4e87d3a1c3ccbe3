"""What sheets are compiled from is counted; worries, stop lines as lengths, texts that nobody signed.

What was ever released never changes here; see `webapp.store.migrations`.
"""

from webapp.store.steps.step import Migration

# How often what a sheet is compiled from has changed, under three keys: the shop, a machine, a fixture.
BUMP = "INSERT INTO sheet_version VALUES ({key}, 1) ON CONFLICT (subject) DO UPDATE SET number = "
BUMP += "sheet_version.number + 1;"
SHOP_KEY, MACHINE_KEY, FIXTURE_KEY = "'shop'", "'machine:' || {row}.machine", "'fixture:' || {row}.fixture"
OF_SETUP = "'machine:' || (SELECT machine FROM setup WHERE id = {row}.setup)"
# Table, which changes count, and whose sheets they are about.
ON_SHEETS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("item", ("INSERT", "UPDATE", "DELETE"), SHOP_KEY),
    ("person", ("INSERT", "UPDATE OF name, roles, active"), SHOP_KEY),
    ("probe_care", ("INSERT", "UPDATE"), SHOP_KEY),
    ("probe_check", ("INSERT",), SHOP_KEY),
    ("z_check", ("INSERT",), MACHINE_KEY),
    ("budget", ("INSERT", "UPDATE", "DELETE"), SHOP_KEY),
    ("authorisation", ("INSERT", "UPDATE"), MACHINE_KEY),
    ("slot", ("INSERT", "UPDATE", "DELETE"), MACHINE_KEY),
    ("setup", ("INSERT", "UPDATE"), MACHINE_KEY),
    ("question", ("INSERT", "UPDATE"), OF_SETUP),
    ("seating", ("INSERT", "UPDATE"), FIXTURE_KEY),
    ("axis_choice", ("INSERT", "UPDATE", "DELETE"), FIXTURE_KEY),
    ("kept_value", ("INSERT", "UPDATE", "DELETE"), FIXTURE_KEY),
)


def counted_for_sheets(table: str, actions: tuple[str, ...], key: str) -> tuple[str, ...]:
    """Triggers that count these changes of a table under the key of the sheets that they are about."""
    return tuple(
        f"CREATE TRIGGER {table}_{action.split()[0].lower()}_on_sheets AFTER {action} ON {table} "
        f"BEGIN {BUMP.format(key=key.format(row='OLD' if action == 'DELETE' else 'NEW'))} END"
        for action in actions
    )


SHEET_VERSIONS = Migration(
    "versions of what sheets are compiled from",
    (
        (
            "CREATE TABLE sheet_version (subject TEXT PRIMARY KEY, "
            "number INTEGER NOT NULL) STRICT, WITHOUT ROWID"
        ),
        "DROP TABLE sheet_in_use",
        """CREATE TABLE sheet_in_use (
            machine TEXT PRIMARY KEY,
            hash TEXT NOT NULL REFERENCES sheet (hash),
            version TEXT NOT NULL,
            checked_at_utc TEXT NOT NULL) STRICT""",
        *(statement for counted in ON_SHEETS for statement in counted_for_sheets(*counted)),
    ),
)

SESSIONS = Migration(
    "where somebody has signed in lately",
    ("CREATE INDEX session_from ON session (person, source, started_at_utc)",),
)

# Tables that came after those numbers did.
MORE_ON_SHEETS: tuple[tuple[str, tuple[str, ...], str], ...] = (("worry", ("INSERT", "UPDATE"), SHOP_KEY),)

# Filled by the events that come from now on, and by the decisions about them:
# worries from before named nothing.
WORRIES = Migration(
    "worries",
    (
        """CREATE TABLE worry (
            event TEXT PRIMARY KEY REFERENCES event (id),
            setup TEXT NOT NULL REFERENCES setup (id),
            machine TEXT NOT NULL,
            fixture TEXT NOT NULL,
            probe TEXT NOT NULL,
            about TEXT NOT NULL CHECK (about IN ('machine', 'vise', 'probe')),
            kind TEXT NOT NULL,
            blocks INTEGER NOT NULL,
            text TEXT NOT NULL,
            person TEXT NOT NULL,
            at_utc TEXT NOT NULL,
            closed_at_utc TEXT,
            closed_by TEXT REFERENCES person (id),
            closed_how TEXT,
            closed_reason TEXT) STRICT""",
        "CREATE INDEX worry_open ON worry (at_utc) WHERE closed_at_utc IS NULL",
        *(statement for counted in MORE_ON_SHEETS for statement in counted_for_sheets(*counted)),
    ),
)

# A choice from before stays what it was: how rare a false stop shall be.
STOP_LENGTHS = Migration(
    "stop lines as lengths",
    ("ALTER TABLE axis_choice ADD COLUMN stop_length_nm INTEGER CHECK (stop_length_nm > 0)",),
)

# Under an event's own id such a text once kept the event itself out.
UNSIGNED_TEXTS = Migration(
    "texts that nobody signed",
    (
        "ALTER TABLE set_aside ADD COLUMN source TEXT",
        "UPDATE set_aside SET id = 'unsigned:' || id WHERE device IS NULL",
        "CREATE INDEX set_aside_unsigned ON set_aside (received_at_utc, id) WHERE device IS NULL",
    ),
)
