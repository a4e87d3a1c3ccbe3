"""A grown shop in a folder: made once, opened again as often as it is measured."""

from __future__ import annotations

import json
import shutil
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PINS, fixed_keyring
from tests.long.growing import large_shop
from tests.long.growing.large_shop import Size
from tests.long.growing.originals import original, originals, sealed, with_questions
from tests.long.growing.writing import Grower, Span
from webapp.proof.keys.key_ring import KeyRing
from webapp.store import Store
from webapp.store.engines.opening import Address
from webapp.store.moving import carry

SETUPS_A_YEAR = 10_000
KEYS, MADE, DATABASE = "keys", "made.json", "zerokeep.db"
HURRIED = {"journal_mode": "OFF", "synchronous": "OFF", "cache_size": "-2000000", "locking_mode": "EXCLUSIVE",
           "secure_delete": "OFF"}  # fmt: skip
OF_THE_KIT = 3


def build(
    folder: Path, size: Size, setups: int, years: float | None = None, address: Address | None = None
) -> House:
    """Make a shop with so many setups in an empty folder: some wait for the lead, all others are done.

    `years` is how long it took, at a busy shop's pace by default. A shop with the originals alone is made
    beside it, once for all that have as many machines and people.
    """
    base = folder.parent / f"originals-{size.machines}-{size.people}"
    if not made(base):
        _build_originals(base, size)
    shutil.copytree(base, folder, ignore=shutil.ignore_patterns("*.lock"))
    (folder / MADE).unlink()
    house = carried(base, folder, address)
    kept = made(base)
    devices = [tablet(house.store, number) for number in range(size.machines)]
    found = [original(house.store, setup, devices) for setup in kept["originals"]]
    span = Span.before(house.clock(), setups, setups / SETUPS_A_YEAR if years is None else years)
    hurry(house)
    Grower(house, found, span).until(setups)
    list(with_questions(house, devices, *_people(size)))
    house.store.close()
    _keep(folder, house, {**kept, "setups": setups})
    return house


def carried(base: Path, folder: Path, address: Address | None) -> House:
    """The copy in this folder; on a server, carried there."""
    if address is not None:
        source, target = Store.open(base / DATABASE), Store.open(address, folder)
        carry(source, target)
        source.close()
        target.close()
    return opened(base, address, folder)


def _build_originals(base: Path, size: Size) -> None:
    base.mkdir(parents=True)
    keyring = fixed_keyring(base / KEYS, Clock())
    house, devices = large_shop.make(base, keyring, size)
    hurry(house)
    ids = originals(house, devices, *_people(size))
    _mara_too(house, devices[0])
    house.store.close()
    _keep(base, house, {"machines": size.machines, "people": size.people, "originals": ids})


def _keep(folder: Path, house: House, what: dict[str, Any]) -> None:
    kept = {**what, "now": house.clock.text, "walked": house.count}
    (folder / MADE).write_text(json.dumps(kept))


def _people(size: Size) -> tuple[list[list[str]], dict[str, str]]:
    """Who walks at each machine, and their PINs."""
    people = [large_shop.owners(number)[: size.walkers] for number in range(size.machines)]
    return people, {person: large_shop.PIN for some in people for person in some}


def _mara_too(house: House, device: Device) -> None:
    """One of the kit's people who can sign in has a past, too."""
    for _ in range(OF_THE_KIT):
        house.clock.forward(hours=20)
        sealed(house, device, "mill-1", "mara", PINS["mara"], large_shop.OWNERS)


def hurry(house: House) -> None:
    """Let this connection leave the flushing to the system, as far as its database has such a word."""
    connection = house.store._database._connection()
    if isinstance(connection, sqlite3.Connection):
        for name, value in HURRIED.items():
            connection.execute(f"PRAGMA {name} = {value}")


def opened(made_in: Path, address: Address | None = None, folder: Path | None = None) -> House:
    """A shop that was made before, its clock where it stood; the house's tablet is the first machine's.

    `folder` is another one that it lies in by now.
    """
    kept = made(made_in)
    folder = folder or made_in
    ring = KeyRing.open(folder / KEYS, "four plain words here")
    house = House(folder, ring, loaded=True, address=address)
    house.clock.moment = datetime.fromisoformat(kept["now"])
    house.device = tablet(house.store, 0)
    house.count = kept["walked"]
    return house


def made(folder: Path) -> dict[str, Any]:
    """What was made in a folder: now, machines, people, setups; empty where nothing was."""
    path = folder / MADE
    return dict(json.loads(path.read_text())) if path.exists() else {}


def tablet(store: Store, number: int) -> Device:
    """The tablet of a machine, counted from 0, at the end of its chain."""
    device = Device(90_001 + number, f"Tablet {number + 1}")
    newest = "SELECT sequence, id FROM event WHERE device = ? ORDER BY sequence DESC LIMIT 1"
    with store.reading():
        rows = store.ask(newest, (device.id,))
    device.sequence, device.previous = rows[0] if rows else (0, None)
    return device
