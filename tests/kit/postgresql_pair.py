"""A PostgreSQL server and a second one that follows it: what was committed on the first is on both.

As PostgreSQL's manual has it under "High Availability": a base backup, streaming replication, and
`synchronous_standby_names`, by which a commit waits for the second one's disk. Both are on this computer.
"""

from __future__ import annotations

import signal
import subprocess
import time
from pathlib import Path

import psycopg

from tests.kit.postgresql import DATABASE, OWNER, PATIENCE_S, Server


class Pair:
    """Two servers with one database; `address` leads to whichever takes writes."""

    def __init__(self) -> None:
        self.first = Server()
        self.data, self.sockets = self.first.folder / "second", self.first.folder / "second-sockets"
        subprocess.run([*self.first._as, "mkdir", str(self.sockets)], check=True)
        copy = [
            "-h",
            self.first.folder,
            "-U",
            "zerokeep",
            "-D",
            self.data,
            "-R",
            "-X",
            "stream",
            "-c",
            "fast",
        ]
        subprocess.run(self.first._command("pg_basebackup", *copy, "-c", "fast", "--no-sync"), check=True)
        self._second = self.first.running(self.data, self.sockets)
        self._until(self.first.folder, "SELECT count(*) = 1 FROM pg_stat_replication")
        self._ask(self.first.folder, "ALTER SYSTEM SET synchronous_standby_names = '*'")
        self._ask(self.first.folder, "SELECT pg_reload_conf()")
        self._until(
            self.first.folder, "SELECT count(*) = 1 FROM pg_stat_replication WHERE sync_state = 'sync'"
        )

    @property
    def address(self) -> str:
        hosts = f"{self.first.folder},{self.sockets}"
        return f"postgresql://{OWNER}@/{DATABASE}?host={hosts}&target_session_attrs=read-write"

    def promote(self) -> None:
        """Let the second one take writes, as whoever looks after the servers does."""
        self._ask(self.sockets, "SELECT pg_promote()")
        self._until(self.sockets, "SELECT NOT pg_is_in_recovery()")

    def stop(self) -> None:
        self._second.send_signal(signal.SIGQUIT)
        self._second.wait()
        self.first.stop()

    def _ask(self, sockets: Path, statement: str) -> object:
        where = f"postgresql://zerokeep@/postgres?host={sockets}"
        with psycopg.connect(where, autocommit=True) as connection:
            found = connection.execute(statement)
            row = found.fetchone() if found.description else None
            return row and row[0]

    def _until(self, sockets: Path, question: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                if self._ask(sockets, question):
                    return
            except psycopg.OperationalError:
                if time.monotonic() > end:
                    raise
            assert time.monotonic() < end, self.first._log()
            time.sleep(0.05)
