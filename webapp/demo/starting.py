"""Making the demo shop: loaded from its file, with people who have secrets, tablets, and a past.

Everything is made once in the demo's data folder; a second start finds it. The secrets of invented people lie
in one file there, so that a start can print them: a real shop has no such file.
"""

from __future__ import annotations

import json
import os
import random
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from webapp.chance import first_secret, one_time_code
from webapp.demo import z_checks
from webapp.demo.demo_shop import demo_shop_text
from webapp.demo.history import LEADS, SETUPS_A_MILL, Historian, Secrets, begun_seatings, enrolled_device
from webapp.demo.mill import SimulatedMill
from webapp.demo.practice_shop import PracticeMill, PracticeShop
from webapp.demo.scenario import make_mill, place
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.domain.shop.shop_file import read_shop
from webapp.domain.shop.told_shop import Shop
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.evidence.ledger import SERVER
from webapp.services.people import access
from webapp.services.shop import loading
from webapp.services.times import from_text
from webapp.store import Store

SEED = 20_260
PEOPLE_FILE = "people.json"
SHOP_FILE = "shop.toml"
PRACTICE_FILE = "practice.json"
DAYS_OPEN = 119
Say = Callable[[str], None]
Parts = tuple[Machine, Fixture, Probe]


def is_made(folder: Path) -> bool:
    """Whether the demo shop stands complete in this folder: its people's file is written last."""
    return (folder / PEOPLE_FILE).exists()


def make_demo_shop(
    folder: Path,
    store: Store,
    keyring: KeyRing,
    now: datetime,
    say: Say,
    setups_a_mill: int = SETUPS_A_MILL,
) -> None:
    """Load the demo shop into an empty store and give it its past, of at least two setups a mill."""
    opened = now - timedelta(days=DAYS_OPEN)
    text = demo_shop_text(now.date())
    (folder / SHOP_FILE).write_text(text, encoding="utf-8")
    shop = read_shop(text)
    say("Loading the demo shop …")
    secrets = _people_with_secrets(store, keyring, shop, opened)
    chance = random.Random(SEED)  # noqa: S311 - the scatter of a simulation
    mills = _mills(shop, chance)
    devices = {
        machine.id: enrolled_device(
            store, keyring, f"Tablet at {machine.name}", one_time_code(), opened + timedelta(hours=1)
        )
        for machine in shop.machines
    }
    for machine, _, probe in _parts(shop).values():
        z_checks.check(store, machine, probe, LEADS[0], secrets[LEADS[0]].passphrase, opened)
    say("Walking through the past four months …")
    count = Historian(store, keyring, shop, secrets, mills, devices, chance, setups_a_mill).write(now)
    _keep_practice(folder, shop, mills, now)
    _write_private(folder / PEOPLE_FILE, {name: vars(one) for name, one in secrets.items()})
    say(f"{count} past setups are in.")


def people(folder: Path) -> dict[str, Secrets]:
    """The secrets of the demo's people, by id."""
    kept = json.loads((folder / PEOPLE_FILE).read_text(encoding="utf-8"))
    return {name: Secrets(**one) for name, one in kept.items()}


def practice_shop(folder: Path, now: datetime) -> tuple[Shop, PracticeShop]:
    """The practice mills as they were left, their vises where they stand today."""
    shop = read_shop((folder / SHOP_FILE).read_text(encoding="utf-8"))
    return shop, _practice(folder, shop, now)


def _practice(folder: Path, shop: Shop, now: datetime) -> PracticeShop:
    mills = {}
    for machine_id, parts in _parts(shop).items():

        def make(chance: random.Random, machine_id: str = machine_id, parts: Parts = parts) -> SimulatedMill:
            mill = make_mill(*parts, chance)
            place(mill, machine_id, last_seating(shop, parts[1].id), now)
            return mill

        mills[machine_id] = PracticeMill(make, f"{SEED}:{machine_id}")
    return PracticeShop(mills, folder / PRACTICE_FILE)


def _keep_practice(folder: Path, shop: Shop, mills: dict[str, SimulatedMill], now: datetime) -> None:
    """Hand the mills' slots and spindles over from the past to the practice pages."""
    practice = _practice(folder, shop, now)
    for machine_id, mill in mills.items():
        practice.mills[machine_id].mill.state.slots_nm = mill.slots_nm
        practice.mills[machine_id].mill.state.spindle_tool = mill.spindle_tool
    practice.keep()


def _parts(shop: Shop) -> dict[str, Parts]:
    fixtures = {one.id: one for one in shop.fixtures}
    probes = {one.id: one for one in shop.probes}
    return {
        machine.id: (machine, fixtures[machine.fixture], probes[machine.probe]) for machine in shop.machines
    }


def _mills(shop: Shop, chance: random.Random) -> dict[str, SimulatedMill]:
    return {machine_id: make_mill(*parts, chance) for machine_id, parts in _parts(shop).items()}


def last_seating(shop: Shop, fixture: str) -> tuple[str, datetime]:
    """The id of the fixture's last seating in the shop's file, and since when."""
    last = [seating for seating in shop.seatings if seating.fixture == fixture][-1]
    return last.id, from_text(last.since_utc)


def _people_with_secrets(store: Store, keyring: KeyRing, shop: Shop, opened: datetime) -> dict[str, Secrets]:
    """Everybody in, and each first secret changed for the person's own, as people do in their first week."""
    changes = loading.load(store, begun_seatings(shop, opened), SERVER, opened, first_secret, keyring)
    first = {change["subject"]: change["secrets"] for change in changes if "secrets" in change}
    secrets = {}
    for person, given in first.items():
        own = Secrets(first_secret("passphrase"), first_secret("pin"))
        access.change_passphrase(store, person, given["passphrase"], own.passphrase, opened)
        access.change_pin(store, keyring, person, own.passphrase, own.pin, opened)
        secrets[person] = own
    return secrets


def _write_private(path: Path, value: object) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(value, file, indent=1)
