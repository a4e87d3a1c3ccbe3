"""Worlds to walk in, and what comes of a case in one of them.

Rules of this module:
- The shop is the demo's with a short past, made once; each case gets a copy of its store,
  its mill as the past left it, the vise where it stands that day, and a seed.
- What came of it is judged from the outside:
  the mill's true state at the end against what the setup says, and the sheet's own words for what was hit.
"""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.long.mistakes.follower import Follower
from tests.long.mistakes.planted import Case, here
from tests.long.mistakes.walking import Walk, Walked
from webapp.commands.opening import opened
from webapp.demo import starting
from webapp.demo.device import Clock, Device
from webapp.demo.history import Secrets, enrolled_device
from webapp.demo.mill import WELL, SimulatedMill, Values
from webapp.demo.mill.planting import planted
from webapp.demo.scenario import place, rebuild
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.intake import intake
from webapp.services.sheets import fitted_machines, preparing
from webapp.settings import read_settings
from webapp.store import Store

NEXT_SETUP_S = 3600
FOLLOWED = Case("", "list followed", "prevented")
NOW = datetime(2026, 11, 29, 9, 0, tzinfo=UTC)
SETUPS_A_MILL = 8
WALKS = "odile"
OTHER = {"plover": "dunlin", "dunlin": "plover"}
# The mills at which the cases are walked: the machine, and what its profile says there instead.
KINDS: Mapping[str, tuple[str, Mapping[str, Any]]] = {
    "plover": ("plover", {}),
    "dunlin": ("dunlin", {}),
    "plover by hand": (
        "plover",
        {"slot_written": "by_hand", "z_zero_at_top": False, "parked_z_nm": -20_000_000},
    ),
}


@dataclass(frozen=True)
class Base:
    """A made shop: its folder, keys, secrets, and a tablet that is in use."""

    folder: Path
    keyring: KeyRing
    secrets: Mapping[str, Secrets]
    device: Device

    @classmethod
    def make(cls, folder: Path) -> Base:
        settings = read_settings({}, {"data_folder": str(folder), "demo": "yes"})
        with opened(settings) as (store, keyring):
            starting.make_demo_shop(folder, store, keyring, NOW, lambda _: None, SETUPS_A_MILL)
            device = enrolled_device(store, keyring, "Tablet of the walks", "WALKSWALKS", NOW)
        return cls(folder, keyring, starting.people(folder), device)


@dataclass
class World:
    """One copy of the shop, with a mill at which something may be wrong."""

    base: Base
    store: Store
    machine: str
    mill: SimulatedMill
    chance: random.Random
    clock: Clock
    device: Device
    rows_before: dict[str, Values] = field(default_factory=dict)

    @classmethod
    def open(cls, base: Base, folder: Path, kind: str, seed: int) -> World:
        machine, profile = KINDS[kind]
        shutil.copy(base.folder / "zerokeep.db", folder / "zerokeep.db")
        shop, practice = starting.practice_shop(base.folder, NOW)
        mill = practice.mills[machine].mill
        fixture = next(one.fixture for one in shop.machines if one.id == machine)
        chance = random.Random(f"{machine}:{seed}")
        mill.chance = random.Random(chance.getrandbits(32))
        place(mill, machine, starting.last_seating(shop, fixture), NOW, chance)
        store = Store.open(folder / "zerokeep.db")
        with store.writing():
            store.shop.put("machine", machine, {**(store.shop.item("machine", machine) or {}), **profile})
            _, here_now, _, probe = fitted_machines.fitted_machine(store, machine)
        rebuild(mill, here_now, probe)
        return cls(base, store, machine, mill, chance, Clock(NOW), replace(base.device))

    def sheet(self, machine: str) -> tuple[str, dict[str, Any]]:
        sheet_hash, text = preparing.current_sheet(self.store, machine, self.clock.at)
        return sheet_hash, json.loads(text)

    def walk(self, case: Case, person: str) -> Walked:
        """One setup of this person, sent in at its end."""
        sheet_hash, sheet = self.sheet(OTHER[self.machine] if case.sheet_of == "other" else self.machine)
        case = here(case, sheet, self.mill.truth.clamping_axis)
        own = next(row["label"] for row in sheet["slots"] if row["owner_id"] == person)
        follower = Follower(self.mill, sheet, own, dict(case.leaves), dict(case.slips), plate=self.machine)
        walk = Walk(
            self.device,
            sheet,
            sheet_hash,
            person,
            self.base.secrets[person].pin,
            follower,
            self.clock,
            self.chance,
            pauses=dict(case.pauses),
        )
        walked = walk.run()
        self._send(walked)
        return walked

    def has_what_it_needs(self, case: Case) -> bool:
        """Whether this mill has what the case is about: a step in its jaw, who writes the row."""
        by_hand = self.mill.build.slot_written == "by_hand"
        has = {"step": self.mill.truth.step_nm > 0, "cycle": not by_hand, "by hand": by_hand}
        return not case.needs or has[case.needs]

    def later(self, case: Case, person: str) -> Walked:
        """The next setup here, on another day's sheet: by whoever it is, the list followed."""
        if case.then == "bumped":
            self.mill.plant(planted(["vise_moved"], self.mill.ball_radius_nm, ""))
        if case.then == "board":
            self.mill.plant(WELL)
        self.clock.forward(NEXT_SETUP_S)
        return self.walk(FOLLOWED, person)

    def _send(self, walked: Walked) -> None:
        """What the server makes of the events is what the tablet made of them."""
        received = self.clock.at + timedelta(seconds=20)
        receipts = intake.accept(self.store, self.base.keyring, walked.parts, received)
        refused = [receipt for receipt in receipts if receipt["outcome"] != "accepted"]
        if refused:
            raise AssertionError(f"the server refused {refused[0]}")

    def plant(self, case: Case) -> None:
        """What is wrong before anybody comes."""
        self.rows_before = {label: dict(row) for label, row in self.mill.slots_nm.items()}
        other = next(number for number in self.mill.build.tools if number != self.mill.probe_tool)
        faults = planted(case.world, self.mill.ball_radius_nm, other)
        self.mill.plant(replace(faults, **case.more))
        if case.start is not None:
            case.start(self.mill)
