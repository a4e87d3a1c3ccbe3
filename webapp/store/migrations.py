"""How the tables came to be: ordered, named steps, each in one transaction together with the row that says it
ran.

Rules:
- a step that was ever released never changes:
  its text is hashed into its row, and a file whose rows do not fit the steps below is refused;
- before steps run on a file that was there, `copy_before` copies it whole; the copy stays until the next
  steps;
- a table that proves something takes no UPDATE and no DELETE.
  A REPLACE deletes first, so it is refused as well (the connection sets recursive_triggers for that).
"""

import os
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from webapp.store.covered_rows import (
    COVERED_AT_FIRST,
    FIRST_NOTE_OF_EVENTS,
    PERSON,
    PERSON_NAME,
    first_notes,
)
from webapp.store.database import Database
from webapp.store.engines.postgresql_notes import first_notes as first_notes_there
from webapp.store.engines.postgresql_text import translated
from webapp.store.errors import FolderNotWritable, MadeByAnotherVersion

# The database as it was before the step of this number and those behind it: for the case that they are wrong.
BEFORE = "before-step-"


@dataclass(frozen=True, slots=True)
class Migration:
    """One step. `statements` run in order, on PostgreSQL in its own words (see `engines/postgresql_text.py`),
    or those of `postgresql` where the words are others.
    """

    name: str
    statements: tuple[str, ...]
    postgresql: tuple[str, ...] | None = None

    @property
    def sha256(self) -> str:
        """Hash of the text, lower-case hex."""
        return hash_of(self.statements)


def hash_of(statements: tuple[str, ...]) -> str:
    """What the row of a step that ran says of its text, lower-case hex."""
    return sha256("\n;\n".join(statements).encode()).hexdigest()


def kept_forever(*tables: str) -> tuple[str, ...]:
    """Triggers that refuse to change or remove rows of these tables."""
    return tuple(
        f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{action} of a row of {table} is refused'); END"
        for table in tables
        for action in ("UPDATE", "DELETE")
    )


LEDGER = Migration(
    "ledger",
    (
        """CREATE TABLE leaf (
            position INTEGER PRIMARY KEY CHECK (position >= 0),
            kind TEXT NOT NULL CHECK (kind IN ('event', 'change')),
            hash BLOB NOT NULL CHECK (length(hash) = 32)) STRICT""",
        """CREATE TABLE node (
            level INTEGER NOT NULL CHECK (level >= 1),
            number INTEGER NOT NULL CHECK (number >= 0),
            hash BLOB NOT NULL CHECK (length(hash) = 32),
            PRIMARY KEY (level, number)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE change (
            position INTEGER PRIMARY KEY REFERENCES leaf (position),
            text TEXT NOT NULL,
            type TEXT NOT NULL,
            by TEXT NOT NULL,
            subject TEXT NOT NULL,
            setup TEXT,
            at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX change_by_setup ON change (setup, position)",
        "CREATE INDEX change_by_type ON change (type, position)",
        *kept_forever("leaf", "node", "change"),
    ),
)

PEOPLE = Migration(
    "people",
    (
        """CREATE TABLE person (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL,
            roles TEXT NOT NULL,
            active INTEGER NOT NULL,
            disabled_at_utc TEXT,
            passphrase_hash TEXT,
            pin_hash TEXT,
            must_change INTEGER NOT NULL,
            must_change_pin INTEGER NOT NULL,
            first_secrets_until_utc TEXT) STRICT""",
        """CREATE TABLE authorisation (
            number INTEGER PRIMARY KEY,
            person TEXT NOT NULL REFERENCES person (id),
            machine TEXT NOT NULL,
            from_utc TEXT NOT NULL,
            until_utc TEXT,
            withdrawn_at_utc TEXT) STRICT""",
        "CREATE INDEX authorisation_by_person ON authorisation (person, machine)",
    ),
)

SHOP = Migration(
    "shop",
    (
        """CREATE TABLE item (
            kind TEXT NOT NULL CHECK (kind IN ('shop', 'machine', 'fixture', 'probe', 'procedure')),
            id TEXT NOT NULL,
            value TEXT NOT NULL,
            active INTEGER NOT NULL,
            PRIMARY KEY (kind, id)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE slot (
            machine TEXT NOT NULL,
            label TEXT NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('person', 'shop', 'free')),
            owner TEXT REFERENCES person (id),
            until_utc TEXT,
            held_back INTEGER NOT NULL DEFAULT 0,
            last_values TEXT,
            last_seen_at_utc TEXT,
            last_setup TEXT,
            CHECK ((kind = 'person') = (owner IS NOT NULL)),
            PRIMARY KEY (machine, label)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE seating (
            id TEXT PRIMARY KEY,
            fixture TEXT NOT NULL,
            since_utc TEXT NOT NULL,
            until_utc TEXT,
            reason TEXT NOT NULL) STRICT""",
        "CREATE UNIQUE INDEX seating_now ON seating (fixture) WHERE until_utc IS NULL",
    ),
)

DEVICES = Migration(
    "devices",
    (
        """CREATE TABLE device (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL,
            jwk TEXT NOT NULL,
            state TEXT NOT NULL CHECK (state IN ('enrolled', 'disabled', 'forked')),
            display TEXT NOT NULL,
            pin_key TEXT NOT NULL,
            receipt_key TEXT NOT NULL,
            enrolled_at_utc TEXT NOT NULL,
            last_seen_at_utc TEXT) STRICT""",
        """CREATE TABLE code (
            hash TEXT PRIMARY KEY,
            made_by TEXT NOT NULL REFERENCES person (id),
            made_at_utc TEXT NOT NULL,
            until_utc TEXT NOT NULL,
            used_at_utc TEXT) STRICT""",
    ),
)

SETUPS = Migration(
    "setups",
    (
        """CREATE TABLE sheet (
            hash TEXT PRIMARY KEY,
            machine TEXT NOT NULL,
            text TEXT NOT NULL,
            content TEXT NOT NULL,
            compiled_at_utc TEXT NOT NULL,
            expires_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX sheet_by_machine ON sheet (machine, compiled_at_utc)",
        """CREATE TABLE sheet_in_use (
            machine TEXT PRIMARY KEY,
            hash TEXT NOT NULL REFERENCES sheet (hash),
            ledger_size INTEGER NOT NULL,
            checked_at_utc TEXT NOT NULL) STRICT""",
        """CREATE TABLE event (
            position INTEGER PRIMARY KEY REFERENCES leaf (position),
            id TEXT NOT NULL UNIQUE,
            jws TEXT NOT NULL,
            device TEXT NOT NULL REFERENCES device (id),
            sequence INTEGER NOT NULL CHECK (sequence >= 1),
            setup TEXT NOT NULL,
            type TEXT NOT NULL,
            person TEXT NOT NULL,
            sheet TEXT NOT NULL REFERENCES sheet (hash),
            at_utc TEXT NOT NULL,
            received_at_utc TEXT NOT NULL,
            problems TEXT NOT NULL) STRICT""",
        "CREATE INDEX event_by_setup ON event (setup, sequence, id)",
        "CREATE INDEX event_by_device ON event (device, sequence)",
        *kept_forever("sheet", "event"),
        """CREATE TABLE waiting (
            id TEXT PRIMARY KEY,
            jws TEXT NOT NULL,
            device TEXT NOT NULL REFERENCES device (id),
            sequence INTEGER NOT NULL,
            previous TEXT NOT NULL,
            received_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX waiting_by_previous ON waiting (previous)",
        """CREATE TABLE set_aside (
            id TEXT PRIMARY KEY,
            jws TEXT NOT NULL,
            code TEXT NOT NULL,
            fields TEXT NOT NULL,
            device TEXT,
            sequence INTEGER,
            setup TEXT,
            received_at_utc TEXT NOT NULL) STRICT""",
        """CREATE TABLE pending_seal (
            event TEXT PRIMARY KEY REFERENCES event (id),
            seal TEXT) STRICT""",
        """CREATE TABLE setup (
            id TEXT PRIMARY KEY,
            device TEXT NOT NULL REFERENCES device (id),
            sheet TEXT NOT NULL REFERENCES sheet (hash),
            machine TEXT NOT NULL,
            person TEXT NOT NULL,
            status TEXT NOT NULL,
            outcome TEXT,
            signature TEXT NOT NULL,
            probe_in_spindle INTEGER NOT NULL,
            started_at_utc TEXT NOT NULL,
            last_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX setup_by_machine ON setup (machine, last_at_utc)",
        "CREATE INDEX setup_by_status ON setup (status, started_at_utc)",
        """CREATE TABLE question (
            id TEXT PRIMARY KEY,
            setup TEXT NOT NULL REFERENCES setup (id),
            event TEXT NOT NULL REFERENCES event (id),
            axis TEXT,
            text TEXT NOT NULL,
            at_utc TEXT NOT NULL,
            answered_at_utc TEXT,
            answered_by TEXT REFERENCES person (id),
            decision TEXT,
            reason TEXT) STRICT""",
        "CREATE INDEX question_open ON question (at_utc) WHERE answered_at_utc IS NULL",
        """CREATE TABLE kept_value (
            setup TEXT NOT NULL REFERENCES setup (id),
            axis TEXT NOT NULL,
            fixture TEXT NOT NULL,
            seating TEXT NOT NULL REFERENCES seating (id),
            value_nm INTEGER NOT NULL,
            at_utc TEXT NOT NULL,
            left_out_reason TEXT,
            PRIMARY KEY (setup, axis)) STRICT, WITHOUT ROWID""",
        "CREATE INDEX kept_value_by_fixture ON kept_value (fixture, axis, at_utc)",
    ),
)

ACCESS = Migration(
    "access",
    (
        """CREATE TABLE session (
            token_hash TEXT PRIMARY KEY,
            person TEXT NOT NULL REFERENCES person (id),
            source TEXT NOT NULL,
            started_at_utc TEXT NOT NULL,
            seen_at_utc TEXT NOT NULL,
            ended_at_utc TEXT,
            ended_because TEXT) STRICT""",
        "CREATE INDEX session_by_person ON session (person) WHERE ended_at_utc IS NULL",
        """CREATE TABLE throttle (
            subject TEXT PRIMARY KEY,
            failures INTEGER NOT NULL CHECK (failures >= 0),
            last_failure_at_utc TEXT NOT NULL) STRICT""",
    ),
)

RECORDS = Migration(
    "records",
    (
        """CREATE TABLE record (
            setup TEXT PRIMARY KEY REFERENCES setup (id),
            sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
            bytes INTEGER NOT NULL,
            sealed_at_utc TEXT NOT NULL) STRICT""",
        *kept_forever("record"),
    ),
)

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

MIGRATIONS = (
    LEDGER,
    PEOPLE,
    SHOP,
    DEVICES,
    SETUPS,
    ACCESS,
    RECORDS,
    CHOICES,
    IMPORTS,
    PROBES,
    VERSIONS,
    KEPT_CHANGES,
    HEALTH,
    LISTS,
    Z_CHECKS,
    SHEET_VERSIONS,
    SESSIONS,
    WORRIES,
    STOP_LENGTHS,
    UNSIGNED_TEXTS,
    NOTES,
    SHEET_PARTS,
    PEOPLE_LISTED,
    DECIDED_ONCE,
    NAMES_ERASABLE,
    VALUES_LEFT_OUT,
    SET_ASIDE_LISTED,
    CHANGES_ABOUT_RECORDS,
)


def migrate(database: Database, migrations: tuple[Migration, ...] = MIGRATIONS) -> list[str]:
    """Run the steps that have not run yet; their names. Raises MadeByAnotherVersion for one that does not
    fit.
    """
    with database.altering():
        done = _run(database, migrations)
        if done:
            with database.writing():
                database.engine.after_migrating(database.raw)
    _refuse_later_steps(database, len(migrations))
    return done


def copy_before(database: Database, path: Path, migrations: tuple[Migration, ...] = MIGRATIONS) -> None:
    """Keep a file as it is before steps run on it, in place of one kept earlier. Raises StoreError."""
    with database.reading():
        there = database.raw("SELECT 1 FROM sqlite_master WHERE name = 'migration'")
        last = database.raw("SELECT max(number) FROM migration")[0][0] if there else None
    if last is None or last >= len(migrations):
        return
    copy = path.with_name(f"{BEFORE}{last + 1}.db")
    aside = copy.with_name(f".{copy.name}.new")
    try:
        os.close(os.open(aside, os.O_RDWR | os.O_CREAT, 0o600))
        database.copy_to(aside)
        aside.replace(copy)
    except OSError as error:
        raise FolderNotWritable(folder=copy.parent) from error
    finally:
        aside.unlink(missing_ok=True)
    for earlier in copy.parent.glob(f"{BEFORE}*.db"):
        if earlier != copy:
            earlier.unlink(missing_ok=True)


def _run(database: Database, migrations: tuple[Migration, ...]) -> list[str]:
    with database.writing():
        database.engine.before_migrating(database.raw)
    done: list[str] = []
    for number, migration in enumerate(migrations, start=1):
        statements = database.engine.statements(migration)
        with database.writing():
            if _has_run(database, number, migration.name, hash_of(statements)):
                continue
            for statement in statements:
                database.raw(statement)
            database.raw(
                "INSERT INTO migration VALUES (?, ?, ?)", (number, migration.name, hash_of(statements))
            )
            done.append(migration.name)
    return done


def _has_run(database: Database, number: int, name: str, sha256: str) -> bool:
    found = database.raw("SELECT name, sha256 FROM migration WHERE number = ?", (number,))
    if found and found[0] != (name, sha256):
        raise MadeByAnotherVersion(path=database.engine.where, number=number, found=found[0][0], wanted=name)
    return bool(found)


def _refuse_later_steps(database: Database, known: int) -> None:
    with database.reading():
        later = database.raw("SELECT number, name FROM migration WHERE number > ? ORDER BY number", (known,))
    if later:
        number, name = later[0]
        raise MadeByAnotherVersion(path=database.engine.where, number=number, found=name, wanted="nothing")
