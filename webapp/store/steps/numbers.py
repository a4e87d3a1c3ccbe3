"""Lines that a lead chose, past values, probes and budgets, and lists that stay quick.

What was ever released never changes here; see `webapp.store.migrations`.
"""

from webapp.store.engines.postgresql_text import translated
from webapp.store.steps.step import Migration, kept_forever

CHOICES = Migration(
    "choices",
    (
        """CREATE TABLE axis_choice (
            fixture TEXT NOT NULL,
            axis TEXT NOT NULL,
            ask_one_in INTEGER NOT NULL CHECK (ask_one_in >= 2),
            stop_one_in INTEGER NOT NULL CHECK (stop_one_in > ask_one_in),
            ceiling_nm INTEGER NOT NULL CHECK (ceiling_nm > 0),
            coverage_factor REAL CHECK (coverage_factor > 0),
            PRIMARY KEY (fixture, axis)) STRICT, WITHOUT ROWID""",
    ),
)

IMPORTS = Migration(
    "imports",
    (
        """CREATE TABLE history_import (
            number INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
            name TEXT NOT NULL,
            setups INTEGER NOT NULL,
            values_kept INTEGER NOT NULL,
            refused INTEGER NOT NULL,
            by TEXT NOT NULL,
            at_utc TEXT NOT NULL) STRICT""",
        """CREATE TABLE imported_setup (
            id TEXT PRIMARY KEY,
            imported INTEGER NOT NULL REFERENCES history_import (number),
            line INTEGER NOT NULL,
            machine TEXT NOT NULL,
            person TEXT NOT NULL,
            named TEXT NOT NULL,
            note TEXT NOT NULL) STRICT, WITHOUT ROWID""",
        """CREATE TABLE kept_value_and_past (
            setup TEXT NOT NULL,
            axis TEXT NOT NULL,
            fixture TEXT NOT NULL,
            seating TEXT NOT NULL REFERENCES seating (id),
            value_nm INTEGER NOT NULL,
            at_utc TEXT NOT NULL,
            left_out_reason TEXT,
            imported INTEGER REFERENCES history_import (number),
            PRIMARY KEY (setup, axis)) STRICT, WITHOUT ROWID""",
        (
            "INSERT INTO kept_value_and_past "
            "SELECT setup, axis, fixture, seating, value_nm, at_utc, left_out_reason, NULL FROM kept_value"
        ),
        "DROP TABLE kept_value",
        "ALTER TABLE kept_value_and_past RENAME TO kept_value",
        "CREATE INDEX kept_value_by_fixture ON kept_value (fixture, axis, at_utc)",
        (
            "CREATE TRIGGER kept_value_of_setup BEFORE INSERT ON kept_value "
            "WHEN NEW.imported IS NULL AND NOT EXISTS (SELECT 1 FROM setup WHERE id = NEW.setup) "
            "BEGIN SELECT RAISE(ABORT, 'a kept value without its setup is refused'); END"
        ),
        (
            "CREATE TRIGGER kept_value_of_import BEFORE INSERT ON kept_value "
            "WHEN NEW.imported IS NOT NULL AND NOT EXISTS (SELECT 1 FROM imported_setup WHERE id = "
            "NEW.setup) "
            "BEGIN SELECT RAISE(ABORT, 'an imported value without its line is refused'); END"
        ),
        *kept_forever("history_import", "imported_setup"),
    ),
)

PROBES = Migration(
    "probes and budgets",
    (
        """CREATE TABLE probe_care (
            probe TEXT PRIMARY KEY,
            every_days INTEGER NOT NULL CHECK (every_days >= 1),
            factor_hundredths INTEGER NOT NULL CHECK (factor_hundredths >= 100)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE probe_check (
            number INTEGER PRIMARY KEY,
            probe TEXT NOT NULL,
            machine TEXT NOT NULL,
            at_utc TEXT NOT NULL,
            by TEXT NOT NULL,
            note TEXT NOT NULL,
            typed TEXT NOT NULL,
            found TEXT NOT NULL) STRICT""",
        "CREATE INDEX probe_check_by_probe ON probe_check (probe, at_utc)",
        """CREATE TABLE budget (
            machine TEXT NOT NULL,
            fixture TEXT NOT NULL,
            probe TEXT NOT NULL,
            value TEXT NOT NULL,
            PRIMARY KEY (machine, fixture, probe)) STRICT, WITHOUT ROWID""",
        *kept_forever("probe_check"),
    ),
)

COUNTED = "INSERT INTO kept_version VALUES ({row}.fixture, {row}.axis, 1) "
COUNTED += "ON CONFLICT (fixture, axis) DO UPDATE SET number = number + 1"

VERSIONS = Migration(
    "versions of kept values",
    (
        """CREATE TABLE kept_version (
            fixture TEXT NOT NULL,
            axis TEXT NOT NULL,
            number INTEGER NOT NULL,
            PRIMARY KEY (fixture, axis)) STRICT, WITHOUT ROWID""",
        "INSERT INTO kept_version SELECT fixture, axis, count(*) FROM kept_value GROUP BY fixture, axis",
        *(
            f"CREATE TRIGGER kept_value_{action.lower()}_counted AFTER {action} ON kept_value "
            f"BEGIN {COUNTED.format(row='OLD' if action == 'DELETE' else 'NEW')}; END"
            for action in ("INSERT", "UPDATE", "DELETE")
        ),
    ),
    postgresql=(),  # the next step takes it all away again
)

LISTED = (
    "INSERT INTO kept_change SELECT {row}.fixture, {row}.axis, coalesce(max(number), 0) + 1, {row}.setup "
    "FROM kept_change WHERE fixture = {row}.fixture AND axis = {row}.axis;"
)

KEPT_CHANGE = (
    """CREATE TABLE kept_change (
            fixture TEXT NOT NULL,
            axis TEXT NOT NULL,
            number INTEGER NOT NULL,
            setup TEXT NOT NULL,
            PRIMARY KEY (fixture, axis, number)) STRICT, WITHOUT ROWID""",
    *(
        f"CREATE TRIGGER kept_value_{action.lower()}_listed AFTER {action} ON kept_value "
        f"BEGIN {' '.join(LISTED.format(row=row) for row in rows)} END"
        for action, rows in (("INSERT", ("NEW",)), ("UPDATE", ("OLD", "NEW")), ("DELETE", ("OLD",)))
    ),
)

# Which value each change was about, so that whoever remembers the values up to a number reads only those
# after it.
KEPT_CHANGES = Migration(
    "changes of kept values",
    (
        *(f"DROP TRIGGER kept_value_{action}_counted" for action in ("insert", "update", "delete")),
        "DROP TABLE kept_version",
        *KEPT_CHANGE,
    ),
    postgresql=translated(KEPT_CHANGE),
)

HEALTH = Migration("what tablets say of themselves", ("ALTER TABLE device ADD COLUMN health TEXT",))

# Every list of the desk is read along an index, from its newest end, however long the shop has run.
LISTS = Migration(
    "lists that stay quick",
    (
        "ALTER TABLE setup ADD COLUMN sealed INTEGER NOT NULL DEFAULT 0",
        "UPDATE setup SET sealed = 1 WHERE id IN (SELECT setup FROM record)",
        "CREATE INDEX setup_to_seal ON setup (status, sealed, last_at_utc)",
        "CREATE INDEX setup_newest ON setup (last_at_utc DESC, id)",
        "CREATE INDEX setup_of_person ON setup (person, last_at_utc DESC, id)",
        "CREATE INDEX setup_newest_of_machine ON setup (machine, last_at_utc DESC, id)",
        "CREATE INDEX setup_newest_of_status ON setup (status, last_at_utc DESC, id)",
        "CREATE INDEX setup_started ON setup (started_at_utc)",
        "CREATE INDEX record_by_hash ON record (sha256)",
        "CREATE INDEX question_by_setup ON question (setup)",
        "CREATE INDEX waiting_by_device ON waiting (device)",
        "CREATE INDEX seating_by_fixture ON seating (fixture, since_utc)",
        "DROP INDEX setup_by_machine",
        "DROP INDEX setup_by_status",
    ),
)

Z_CHECKS = Migration(
    "what machine pages read on Z",
    (
        """CREATE TABLE z_check (
            number INTEGER PRIMARY KEY,
            machine TEXT NOT NULL,
            point TEXT NOT NULL CHECK (point IN ('gauge_line', 'ball_centre', 'ball_underside')),
            length_nm INTEGER CHECK (length_nm > 0),
            made_with TEXT NOT NULL,
            typed TEXT NOT NULL,
            by TEXT NOT NULL,
            at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX z_check_by_machine ON z_check (machine, number)",
        *kept_forever("z_check"),
    ),
)
