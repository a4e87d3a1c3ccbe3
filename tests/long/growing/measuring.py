"""What each page and call costs: statements, and processor time of the program and of the database's own
process.

The least of some tries is taken: what others do on the machine only ever adds to it.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.kit.statements import noted
from tests.long.growing import built
from tests.long.growing.asked import Ask, Asking
from tests.long.growing.reads import reads_of
from tests.web.conftest import KEY_PASSPHRASE, Site
from webapp import create_app
from webapp.settings import Settings
from webapp.store.engines.opening import Address

PAGE_TRIES, CALL_TRIES = 5, 3
NS_PER_MS = 1_000_000


@dataclass(frozen=True)
class Cost:
    """Statements of the second asking, and the least processor time of some, milliseconds; and of that the
    longest read transaction.
    """

    statements: int
    ms: float
    read_ms: float = 0.0


@contextmanager
def site_on(folder: Path, address: Address | None = None) -> Iterator[Site]:
    """The application on a grown shop."""
    house = built.opened(folder, address)
    app = create_app(
        Settings(data_folder=folder, key_passphrase=KEY_PASSPHRASE, database_named=address),
        house.clock,
        _token(),
    )
    try:
        yield Site(house, app)
    finally:
        house.store.close()
        app.extensions["zerokeep"].close()


def _token() -> Callable[[], str]:
    numbers = iter(range(1, sys.maxsize))
    start = time.time_ns()
    return lambda: f"token-{start + next(numbers):040d}"


class Meter:
    """Measures what is asked of one site."""

    def __init__(self, site: Site) -> None:
        self._database = site.app.extensions["zerokeep"].store._database
        self.statements: list[str] = []

    def cost(self, ask: Ask) -> Cost:
        """Ask once and measure."""
        with noted(self._database) as asked, reads_of(self._database) as reads:
            began, there = time.process_time_ns(), self._spent_there_ns()
            ask()
            spent = time.process_time_ns() - began + self._spent_there_ns() - there
        self.statements = [statement for statement, _ in asked]
        return Cost(len(asked), spent / NS_PER_MS, reads.longest_ms)

    def _spent_there_ns(self) -> int:
        """What the database's own process of this thread's connection has spent; nothing for a file."""
        connection = self._database._connection()
        if isinstance(connection, sqlite3.Connection):
            return 0
        return int(Path(f"/proc/{connection.info.backend_pid}/schedstat").read_text().split()[0])


def costs(folder: Path, address: Address | None = None) -> dict[str, Cost]:
    """The cost of every page and call of the shop in this folder."""
    kept = built.made(folder)
    with site_on(folder, address) as site:
        asking, meter = Asking(site, kept["machines"]), Meter(site)
        found = {}
        for name, path in asking.pages(kept["setups"]).items():
            found[name] = _said(name, least(meter, asking.page(path)))
        for name, ready in asking.calls().items():
            tries = [meter.cost(ready()) for _ in range(CALL_TRIES)]
            found[name] = _said(name, _least(tries, tries))
    return found


def _said(name: str, cost: Cost) -> Cost:
    """Tell who waits what was found so far."""
    print(f"  {name}: {cost.statements}, {cost.ms:.1f} ms", file=sys.stderr, flush=True)
    return cost


def least(meter: Meter, ask: Ask) -> Cost:
    """The least of some askings behind the first."""
    tries = [meter.cost(ask) for _ in range(PAGE_TRIES)]
    return _least(tries, tries[1:])


def _least(tries: list[Cost], counted: list[Cost]) -> Cost:
    least_ms, least_read_ms = (min(getattr(one, name) for one in counted) for name in ("ms", "read_ms"))
    return Cost(tries[-1].statements, least_ms, least_read_ms)


ALONE = """
import json, resource, sys, time
from pathlib import Path
from tests.long.growing import alone
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
began = time.process_time()
told = getattr(alone, sys.argv[1])(Path(sys.argv[2]))
after = resource.getrusage(resource.RUSAGE_SELF)
print(json.dumps({"told": told, "s": time.process_time() - began, "mb": after.ru_maxrss / 1024,
                  "start_mb": before / 1024}))
"""


def alone(what: str, folder: Path) -> dict[str, Any]:
    """Do one of `alone.py` in a process of its own: what it told, processor seconds, and MB at most."""
    command = [sys.executable, "-c", ALONE, what, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=Path(__file__).parents[3])
    if done.returncode:
        raise RuntimeError(done.stderr)
    return dict(json.loads(done.stdout.splitlines()[-1]))
