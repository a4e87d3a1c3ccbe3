"""One PostgreSQL database, many processes, one writer.

Rules:
- reading is REPEATABLE READ READ ONLY: one view from the first statement on, and nobody waits for it;
- writing is READ COMMITTED behind one advisory lock of the database, taken first and held to the commit, in
  one round trip with the beginning: places in the ledger and numbers of changes are given one after the
  other, and whoever reads "everything after N" misses nothing that is committed later. The same lock inside
  REPEATABLE READ takes its view before it waits, and has to try again and again;
- what goes wrong is told by SQLSTATE, and only the first line of the server's message is shown: its details
  carry values of rows;
- a commit that returned is on the server's disk (synchronous_commit, asserted on every connection);
- a superuser is refused: one could switch off what keeps the rows that prove something;
- a number with a fraction is sent as a text, so that the server refuses it in a column of whole numbers
  instead of rounding it; a NUL in a text is refused here, since PostgreSQL holds none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import peewee
import psycopg
from psycopg.conninfo import conninfo_to_dict
from psycopg.pq import TransactionStatus
from psycopg.types.numeric import FloatDumper
from typing_extensions import override

from webapp.store.covered_rows import Covered
from webapp.store.engines import postgresql_layout as layout
from webapp.store.engines import postgresql_notes as notes
from webapp.store.engines.engine import BUSY_SECONDS, Engine, Values
from webapp.store.engines.postgresql_text import FUNCTIONS, KEPT_FOREVER, placed, translated
from webapp.store.errors import (
    Conflict,
    DatabaseDamaged,
    DatabaseLocked,
    DatabaseNotReached,
    DiskFailed,
    DiskFull,
    KeptForever,
    NotAllowed,
    PostgresqlTooOld,
    SettingNotKept,
    StoreError,
    StoreFailed,
    SuperuserRefused,
    attribute_in_chain,
)

if TYPE_CHECKING:
    from webapp.store.steps.step import Migration

OLDEST = 150_000
WRITERS = 0x7A65726F6B656570  # the lock's number, any that no other program of this database takes
LOOKING_AFTER = 1_517_310_833  # another lock: of the process that looks after what no request asks for
CONNECT_SECONDS = 10
# Read back on every connection; the first three cannot be set by a connection, the others are.
SETTINGS = {
    "server_encoding": "UTF8",
    "standard_conforming_strings": "on",
    "transaction_read_only": "off",
    "client_encoding": "UTF8",
    "synchronous_commit": "on",
    "lock_timeout": f"{round(BUSY_SECONDS)}s",
    "TimeZone": "UTC",
}
SET = ("synchronous_commit", "lock_timeout", "TimeZone")
OPTIONS = " ".join(f"-c {name}={SETTINGS[name]}" for name in SET)
READING = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
WRITING = (
    f"BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE; SELECT pg_advisory_xact_lock({WRITERS}), "
    f"set_config('{notes.SETTING}', '%s', TRUE)"
)
MIGRATION_LOG = (
    'CREATE TABLE migration (number BIGINT PRIMARY KEY, name TEXT COLLATE "C" NOT NULL, '
    'sha256 TEXT COLLATE "C" NOT NULL)'
)
COLUMNS = (
    "SELECT attname::text FROM pg_attribute WHERE attrelid = to_regclass(CAST(? AS TEXT)) AND attnum > 0 "
    "AND NOT attisdropped ORDER BY attnum"
)
# Foreign keys, each with both tables and their columns in order.
FOREIGN_KEYS = (
    "SELECT conrelid::regclass::text, confrelid::regclass::text, "
    "(SELECT array_agg(attname::text ORDER BY place) FROM unnest(conkey) WITH ORDINALITY AS k(number, place) "
    "JOIN pg_attribute ON attrelid = conrelid AND attnum = k.number), "
    "(SELECT array_agg(attname::text ORDER BY place) "
    "FROM unnest(confkey) WITH ORDINALITY AS k(number, place) "
    "JOIN pg_attribute ON attrelid = confrelid AND attnum = k.number) "
    "FROM pg_constraint WHERE contype = 'f' AND connamespace = current_schema()::regnamespace ORDER BY 1, 2"
)


class _ExactFloat(FloatDumper):
    """A number with a fraction as a text of no type."""

    oid = 0


class _Connections(peewee.PostgresqlDatabase):
    """Peewee's connections, one a thread, each with every setting asserted."""

    def _connect(self) -> psycopg.Connection:
        connection: psycopg.Connection = super()._connect()  # type: ignore[misc]
        try:
            connection.adapters.register_dumper(float, _ExactFloat)
            _refuse(connection)
        except BaseException:
            connection.close()
            raise
        return connection


def _refuse(connection: psycopg.Connection) -> None:
    """Raise SettingNotKept, SuperuserRefused, PostgresqlTooOld."""
    asked = ", ".join(f"current_setting('{name}')" for name in SETTINGS)
    superuser = "(SELECT rolsuper FROM pg_roles WHERE rolname = current_user)"
    row = connection.execute(f"SELECT {superuser}, current_user, {asked}").fetchone()
    assert row is not None  # noqa: S101 - a SELECT without FROM has one row
    version = connection.info.server_version
    if version < OLDEST:
        raise PostgresqlTooOld(version=version // 10_000, least=OLDEST // 10_000)
    if row[0]:
        raise SuperuserRefused(role=row[1])
    for (name, wanted), found in zip(SETTINGS.items(), row[2:], strict=True):
        if found != wanted:
            raise SettingNotKept(setting=name, wanted=wanted, found=found)


class PostgresqlEngine(Engine):
    """A database by its address, and PostgreSQL's words."""

    driver_errors = (psycopg.Error, peewee.PeeweeException)
    these = "SELECT jsonb_array_elements_text(CAST(? AS JSONB)) AS value"
    note_events = notes.NOTE_EVENTS
    digest_of_events = notes.DIGEST_OF_EVENTS
    notes_of_events = notes.NOTES_OF_EVENTS

    def __init__(self, address: str) -> None:
        """`address` is postgresql://…, with whatever libpq understands in it. Raises DatabaseNotReached."""
        where = said_of(address)
        connections = _Connections(
            address,
            prefer_psycopg3=True,
            autoconnect=False,
            options=OPTIONS,
            connect_timeout=CONNECT_SECONDS,
            client_encoding="UTF8",
        )
        super().__init__(where, connections)
        self.address = address

    # Connections and transactions

    @override
    def begin_reading(self, connection: psycopg.Connection) -> None:
        connection.execute(READING)

    @override
    def begin_writing(self, connection: psycopg.Connection, *, noting: bool) -> None:
        connection.execute((WRITING % ("on" if noting else "off")).encode())

    @override
    def in_transaction(self, connection: psycopg.Connection) -> bool:
        return connection.pgconn.transaction_status in {TransactionStatus.INTRANS, TransactionStatus.INERROR}

    @override
    def is_broken(self, connection: psycopg.Connection) -> bool:
        return connection.closed or connection.pgconn.transaction_status not in {
            TransactionStatus.IDLE,
            TransactionStatus.INTRANS,
            TransactionStatus.INERROR,
        }

    @override
    def execute(
        self, connection: psycopg.Connection, statement: str, values: Values = ()
    ) -> list[tuple[Any, ...]]:
        given = _given(statement, values)
        cursor = connection.execute(placed(statement).encode() if given else statement.encode(), given)
        return cursor.fetchall() if cursor.description else []

    @override
    def execute_many(self, connection: psycopg.Connection, statement: str, rows: Sequence[Values]) -> None:
        if rows:
            connection.cursor().executemany(placed(statement).encode(), rows)

    @override
    def settings(self, connection: psycopg.Connection) -> dict[str, Any]:
        asked = ", ".join(f"current_setting('{name}')" for name in SETTINGS)
        return dict(zip(SETTINGS, self.execute(connection, f"SELECT {asked}")[0], strict=True))

    @override
    def named(self, error: BaseException) -> StoreError:
        return _named(error, self.where)

    @override
    def is_first(self, connection: psycopg.Connection) -> bool:
        """By a lock of the session, which the server lets go of when the process ends, however it ends."""
        held = (
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND pid = pg_backend_pid() AND granted"
        )
        if self.execute(connection, f"{held} AND objid = {LOOKING_AFTER} AND objsubid = 2")[0][0]:
            return True
        return bool(self.execute(connection, f"SELECT pg_try_advisory_lock(1, {LOOKING_AFTER})")[0][0])

    # The whole

    @override
    def exists(self) -> bool:
        """Whether the database has the store's tables. Raises DatabaseNotReached."""
        try:
            with psycopg.connect(
                self.address, options=OPTIONS, connect_timeout=CONNECT_SECONDS
            ) as connection:
                row = connection.execute("SELECT to_regclass('migration')").fetchone()
        except psycopg.Error as error:
            raise self.named(error) from error
        return row is not None and row[0] is not None

    @override
    def prepare(self) -> None:
        """Nothing: who administers the server makes the database and its role."""

    @override
    def columns(self, execute: Callable[..., list[tuple[Any, ...]]], table: str) -> list[str]:
        return [row[0] for row in execute(COLUMNS, (table,))]

    @override
    def before_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        """Once: a role that may only use the tables starts the program as well."""
        if execute("SELECT to_regclass('migration')")[0][0] is None:
            for statement in (MIGRATION_LOG, *FUNCTIONS):
                execute(statement)

    @override
    def after_migrating(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> None:
        """Have changes noted by triggers that fit the tables as they are now."""
        if execute("SELECT to_regclass('row_change')")[0][0] is None:
            return
        for statement in notes.triggers():
            execute(statement)

    @override
    def damage(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> list[str]:
        """Rows that name one that is not there, and indexes that are not whole; the server checks its pages
        itself.
        """
        found = [f"index {name}" for (name,) in execute(
            "SELECT indexrelid::regclass::text FROM pg_index WHERE NOT indisvalid OR NOT indisready"
        )]  # fmt: skip
        for table, other, columns, theirs in execute(FOREIGN_KEYS):
            same = " AND ".join(f"b.{b} = a.{a}" for a, b in zip(columns, theirs, strict=True))
            given = " AND ".join(f"a.{a} IS NOT NULL" for a in columns)
            count = execute(
                f"SELECT count(*) FROM {table} AS a WHERE {given} "  # noqa: S608
                f"AND NOT EXISTS (SELECT 1 FROM {other} AS b WHERE {same})"
            )[0][0]
            if count:
                found.append(f"foreign key of {table} to {other}: {count} rows")
        return found

    @override
    def layout(self, execute: Callable[[str], list[tuple[Any, ...]]]) -> dict[str, str]:
        return layout.there(execute)

    @override
    def layout_made_by(self, statements: Sequence[str]) -> dict[str, str]:
        return layout.made_by((*FUNCTIONS, *statements, *notes.triggers()))

    # Texts

    @override
    def statements(self, migration: Migration) -> tuple[str, ...]:
        if migration.postgresql is not None:
            return migration.postgresql
        return translated(migration.statements)

    @override
    def key_of(self, table: Covered) -> str:
        return notes.key_of(table, f"{table.name}.")

    @override
    def digest_of(self, table: Covered) -> str:
        return notes.digest_of(table, f"{table.name}.")


def said_of(address: str) -> str:
    """Which database this is, without account and password. Raises DatabaseNotReached for no address."""
    try:
        parts = conninfo_to_dict(address)
    except psycopg.Error as error:
        raise DatabaseNotReached(where="PostgreSQL", why="the address cannot be read") from error
    host, port = parts.get("host") or "this computer", parts.get("port")
    name = parts.get("dbname") or parts.get("user") or "the account's own"
    return f"the database {name} at {host}{f', port {port}' if port else ''}"


def _given(statement: str, values: Values) -> Any:
    if not values:
        return None
    if "?1" in statement:
        return {f"v{place}": value for place, value in enumerate(values, 1)}
    return values


def _named(error: BaseException, where: str) -> StoreError:
    state = str(attribute_in_chain(error, "sqlstate") or "")
    diagnosis = attribute_in_chain(error, "diag")
    why = getattr(diagnosis, "message_primary", None) or str(error).strip().partition("\n")[0]
    if state in {"55P03", "40001", "40P01", "57014"}:
        return DatabaseLocked(seconds=round(BUSY_SECONDS))
    if state == "53100":
        return DiskFull()
    if state == KEPT_FOREVER:
        return KeptForever(why=why)
    if state == "42501":
        return NotAllowed(where=where, why=why)
    classes: dict[str, StoreError] = {
        "58": DiskFailed(why=why),
        "XX": DatabaseDamaged(path=where, why=why),
        "23": Conflict(why=why),
        "22": Conflict(why=why),
    }
    if state[:2] in classes:
        return classes[state[:2]]
    if state[:2] in {"08", "28", "3D", "53", "57"} or (not state and _is_of_connection(error)):
        return DatabaseNotReached(where=where, why=why)
    if not state and "NUL" in why:
        return Conflict(why="a text with a NUL character in it")
    return StoreFailed(why=why)


def _is_of_connection(error: BaseException | None) -> bool:
    """Whether the driver itself lost the server, or never reached it."""
    while error is not None:
        if isinstance(error, (psycopg.OperationalError, peewee.OperationalError)):
            return True
        error = error.__cause__ or error.__context__
    return False
