"""How the tables came to be: ordered, named steps, each in one transaction together with the row that says it
ran.

Rules:
- a step that was ever released never changes:
  its text is hashed into its row, and a file whose rows do not fit these steps is refused;
- the newest steps stand here, and move as they are to a file of their era in `webapp.store.steps`;
- before steps run on a file that was there, `copy_before` copies it whole; the copy stays until the next
  steps;
- a table that proves something takes no UPDATE and no DELETE.
  A REPLACE deletes first, so it is refused as well (the connection sets recursive_triggers for that).
"""

import os
from pathlib import Path

from webapp.store.database import Database
from webapp.store.engines.postgresql_text import translated
from webapp.store.errors import DecidedTwice, FolderNotWritable, MadeByAnotherVersion
from webapp.store.steps.erasable import (
    CHANGES_ABOUT_RECORDS,
    DECIDED_ONCE,
    DECIDED_TWICE,
    NAMES_ERASABLE,
    NOTES,
    PEOPLE_LISTED,
    SET_ASIDE_LISTED,
    SHEET_PARTS,
    SHEETS_LET_GO,
    VALUES_LEFT_OUT,
    only_texts_that_nobody_names,
)
from webapp.store.steps.first_tables import ACCESS, DEVICES, LEDGER, PEOPLE, RECORDS, SETUPS, SHOP
from webapp.store.steps.numbers import (
    CHOICES,
    HEALTH,
    IMPORTS,
    KEPT_CHANGES,
    LISTS,
    PROBES,
    VERSIONS,
    Z_CHECKS,
)
from webapp.store.steps.on_sheets import (
    BUMP,
    SESSIONS,
    SHEET_VERSIONS,
    SHOP_KEY,
    STOP_LENGTHS,
    UNSIGNED_TEXTS,
    WORRIES,
)
from webapp.store.steps.step import Migration, hash_of

# The database as it was before the step of this number and those behind it: for the case that they are wrong.
BEFORE = "before-step-"

# NULL is how a right was given before there were levels: alone. `used_otherwise` is the setup that found
# other values in a slot than the register last saw there.
LEVELS = Migration(
    "levels of rights, and slots that others used",
    (
        "ALTER TABLE authorisation ADD COLUMN level TEXT CHECK (level IN ('alone', 'beside'))",
        "ALTER TABLE authorisation ADD COLUMN given_by TEXT",
        "ALTER TABLE authorisation ADD COLUMN training TEXT",
        "ALTER TABLE slot ADD COLUMN used_otherwise TEXT",
    ),
)

# A draft of a procedure is kept beside what is in use, and no sheet is compiled from it: its changes count no
# more. Publishing it changes the row of what is in use, which does.
NO_DRAFT = "NOT ({row}.kind = 'procedure' AND substr({row}.id, 1, 6) = 'draft:')"
ITEMS_COUNTED = tuple(
    f"CREATE TRIGGER item_{action.lower()}_on_sheets AFTER {action} ON item "
    f"WHEN {NO_DRAFT.format(row='OLD' if action == 'DELETE' else 'NEW')} "
    f"BEGIN {BUMP.format(key=SHOP_KEY)} END"
    for action in ("INSERT", "UPDATE", "DELETE")
)
DRAFTS_NOT_COUNTED = Migration(
    "drafts that are on no sheet",
    (
        *(f"DROP TRIGGER item_{action}_on_sheets" for action in ("insert", "update", "delete")),
        *ITEMS_COUNTED,
    ),
    postgresql=(
        *(
            statement
            for action in ("insert", "update", "delete")
            for statement in (
                f"DROP TRIGGER item_{action}_on_sheets ON item",
                f"DROP FUNCTION item_{action}_on_sheets()",
            )
        ),
        *translated(ITEMS_COUNTED),
    ),
)

# A machine may have several fixtures, and a sheet of each is in use. Which ones are is found anew at once.
SHEET_AT_FIXTURE = """CREATE TABLE sheet_at_fixture (
            machine TEXT NOT NULL,
            fixture TEXT NOT NULL,
            hash TEXT NOT NULL REFERENCES sheet (hash),
            version TEXT NOT NULL,
            checked_at_utc TEXT NOT NULL,
            PRIMARY KEY (machine, fixture)) STRICT, WITHOUT ROWID"""
SHEETS_BY_FIXTURE = Migration(
    "a sheet in use for each fixture",
    (
        SHEET_AT_FIXTURE,
        "DROP TRIGGER sheet_no_update",
        *only_texts_that_nobody_names("sheet_at_fixture"),
        "DROP TABLE sheet_in_use",
    ),
    postgresql=(
        *translated((SHEET_AT_FIXTURE,)),
        "DROP TRIGGER sheet_no_update ON sheet",
        "DROP FUNCTION sheet_no_update()",
        *translated(only_texts_that_nobody_names("sheet_at_fixture")),
        "DROP TABLE sheet_in_use",
        "DROP FUNCTION IF EXISTS sheet_in_use_noted()",
    ),
)

# What setups are found by stands beside them, made of their events and decisions, and each index goes by when
# a setup began: days, pages and what is asked for are one stretch of it. Steps cannot fold: setups that are
# there already wait in a list until the server has looked at them (`services/setups/finding.py`).
FOUND_BY = Migration(
    "what setups are found by",
    (
        """CREATE TABLE setup_term (
            setup TEXT NOT NULL REFERENCES setup (id),
            term TEXT NOT NULL,
            started_at_utc TEXT NOT NULL,
            PRIMARY KEY (setup, term)) STRICT, WITHOUT ROWID""",
        "CREATE INDEX setup_term_newest ON setup_term (term, started_at_utc DESC, setup)",
        """CREATE TABLE setup_words (
            setup TEXT PRIMARY KEY REFERENCES setup (id),
            words TEXT NOT NULL,
            started_at_utc TEXT NOT NULL) STRICT, WITHOUT ROWID""",
        "CREATE INDEX setup_words_newest ON setup_words (started_at_utc DESC, setup)",
        "CREATE TABLE setup_to_find (setup TEXT PRIMARY KEY REFERENCES setup (id)) STRICT, WITHOUT ROWID",
        "INSERT INTO setup_to_find SELECT id FROM setup",
        "DROP INDEX setup_newest",
        "DROP INDEX setup_of_person",
        "DROP INDEX setup_started",
        "CREATE INDEX setup_begun ON setup (started_at_utc DESC, id)",
        "CREATE INDEX setup_begun_by ON setup (person, started_at_utc DESC, id)",
        "CREATE INDEX setup_begun_at ON setup (machine, started_at_utc DESC, id)",
        "CREATE INDEX setup_begun_with ON setup (status, started_at_utc DESC, id)",
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
    SHEETS_LET_GO,
    LEVELS,
    DRAFTS_NOT_COUNTED,
    SHEETS_BY_FIXTURE,
    FOUND_BY,
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


def changed_layout(database: Database, migrations: tuple[Migration, ...] = MIGRATIONS) -> list[str]:
    """Triggers, indexes and tables that are not as these steps made them, by name: another hand put them in,
    changed them or took them out. Inside a transaction.
    """
    engine = database.engine
    made = engine.layout_made_by([one for step in migrations for one in engine.statements(step)])
    found = engine.layout(database.raw)
    return sorted(name for name in found.keys() | made.keys() if found.get(name) != made.get(name))


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
        raise FolderNotWritable(folder=str(copy.parent)) from error
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
            _refuse_decided_twice(database, migration)
            for statement in statements:
                database.raw(statement)
            database.raw(
                "INSERT INTO migration VALUES (?, ?, ?)", (number, migration.name, hash_of(statements))
            )
            done.append(migration.name)
    return done


def _refuse_decided_twice(database: Database, migration: Migration) -> None:
    """Say plainly that a setup was decided about twice, before the step that allows one decision fails at it.

    Nobody may take either entry off the ledger: which one should not be there is for people to find out.
    """
    if migration is DECIDED_ONCE:
        found = database.raw(DECIDED_TWICE)
        if found:
            setups = ", ".join(setup for (setup,) in found)
            raise DecidedTwice(path=database.engine.where, setups=setups)


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
