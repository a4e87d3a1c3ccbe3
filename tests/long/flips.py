"""Bytes of the database and of the files beside it flipped by chance: the audit finds each, or it changed no
meaning.

A byte that no row is made of (a free page, the rest of a page) may be another without anybody seeing it. What
the tables say is then read by another program than the audit and has to be what it was.
`python -m tests.long flips [COUNT]` flips two hundred; the test command plays a slice.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.kit.clock import Clock
from tests.kit.filled import fill
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.services.audit.auditing import audit
from webapp.services.audit.auditing import run as audit_run
from webapp.store import Store
from webapp.store.covered_rows import COVERED, EVENTS
from webapp.store.errors import StoreError

FLIPS = 200
SEED = 20261129
FOUND, NOT_OPENED, NO_MEANING = "found by an audit", "does not open any more", "unseen, and means nothing"
MASKS = (1, 32, 128, 255)
EVENT_SAYS = (
    "position", "id", "device", "sequence", "setup", "type", "person", "sheet", "at_utc", "received_at_utc",
    "problems",
)  # fmt: skip


def shop_in(folder: Path) -> None:
    """A shop with a row in every table and a sealed record, audited once."""
    house = House(folder, fixed_keyring(folder / "keys", Clock()))
    fill(house)
    audit_run(house.store, house.clock())
    house.store.close()


def flips(shop: Path, copy: Path, count: int, seed: int, say: Callable[[str], object]) -> Counter[str]:
    """Flip so many bytes, one at a time, each in a copy of the shop: four of five in the database."""
    shutil.copytree(shop, copy)
    beside = [path for path in sorted((shop / "records").rglob("*")) if path.is_file()]
    beside.append(shop / "ledger-head.json")
    chance, meant, counted = random.Random(seed), everything_said(shop / "zerokeep.db"), Counter[str]()
    for number in range(count):
        file = chance.choice(beside) if number % 5 == 4 else shop / "zerokeep.db"
        target, whole = copy / file.relative_to(shop), file.read_bytes()
        place, mask = chance.randrange(len(whole)), chance.choice(MASKS)
        target.write_bytes(whole[:place] + bytes([whole[place] ^ mask]) + whole[place + 1 :])
        how = seen(copy)
        if how == NO_MEANING:
            assert file.name == "zerokeep.db", f"byte {place} of {file.name} was changed and nobody saw it"
            assert everything_said(target) == meant, f"byte {place} of the database means something else now"
        counted[how] += 1
        say(f"{file.name}, byte {place}, {mask:3}: {how}")
        target.write_bytes(whole)
    return counted


def seen(folder: Path) -> str:
    """How the changed byte shows."""
    store = Store(folder / "zerokeep.db")
    try:
        return FOUND if audit(store) else NO_MEANING
    except (StoreError, sqlite3.Error, UnicodeError):
        return NOT_OPENED
    finally:
        store.close()


def everything_said(database: Path) -> dict[str, list[Any]]:
    """All that the covered tables and the ledger hold, what is said not to be covered aside."""
    tables = {table.name: (*table.key, *table.others, *table.since) for table in COVERED}
    tables |= {
        EVENTS: EVENT_SAYS,
        "leaf": ("position", "kind", "hash"),
        "change": ("position", "text"),
        "node": ("level", "number", "hash"),
    }
    connection = sqlite3.connect(database)
    try:
        return {
            name: sorted(connection.execute(f"SELECT {', '.join(columns)} FROM {name}").fetchall(), key=repr)  # noqa: S608
            for name, columns in tables.items()
        }
    finally:
        connection.close()


def run(count: int | None) -> int:
    """Flip two hundred bytes, or so many; a byte that means something else and is not found is raised."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "shop").mkdir()
        shop_in(folder / "shop")
        counted = flips(folder / "shop", folder / "copy", count or FLIPS, SEED, print)
    for how, times in sorted(counted.items()):
        sys.stdout.write(f"{times:4} {how}\n")
    return 0
