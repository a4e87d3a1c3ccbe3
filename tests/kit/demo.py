"""The demo shop as a test sees it:
made once, copied for each test, with its people's secrets and its mills.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from webapp import create_app
from webapp.chance import new_token
from webapp.commands.opening import opened
from webapp.demo import starting
from webapp.demo.history import Secrets
from webapp.demo.mill import NO_MISTAKE, Mistake, SimulatedMill
from webapp.demo.scenario import rebuild
from webapp.domain.plain.lengths import Display, format_length, parse_length
from webapp.domain.shop.told_shop import Shop
from webapp.proof.keys.key_file import WrappingCost
from webapp.proof.keys.key_ring import KeyRing
from webapp.server.serving import seal_what_is_missing
from webapp.services.intake import enrolling
from webapp.services.setups import recording
from webapp.services.sheets.fitted_machines import fitted_machine
from webapp.services.times import utc_text
from webapp.settings import Settings, key_passphrase, read_settings
from webapp.store import Store

SETUPS_A_MILL = 8
LEAST_COST = WrappingCost(passes=1, memory_kib=8, lanes=1)
AXES = ("X", "Y", "Z")
MOST_NM = 10**9


def now() -> datetime:
    """The time of this computer, as the server under test has it."""
    return datetime.now(UTC)


def settings_of(folder: Path) -> Settings:
    return read_settings({}, {"data_folder": str(folder), "demo": "yes"})


def make_demo(folder: Path, setups_a_mill: int = SETUPS_A_MILL) -> Path:
    """Make a demo shop with a short past in an empty folder,
    as its server leaves it that has run for a while.

    Every record is sealed, so that not each server on a copy does it anew;
    and the keys are wrapped at the least cost, because each start unwraps them twice.
    """
    settings = settings_of(folder)
    with opened(settings) as (store, keyring):
        starting.make_demo_shop(folder, store, keyring, now(), lambda _: None, setups_a_mill)
        wrap_cheaply(keyring, folder)
    seal_the_past(settings)
    return folder


def wrap_cheaply(keyring: KeyRing, folder: Path) -> None:
    """Wrap a shop's keys at the least cost: every start unwraps them."""
    settings = settings_of(folder)
    keyring.save(settings.keys_folder, key_passphrase(settings, new_token, made=True), cost=LEAST_COST)


def seal_the_past(settings: Settings) -> None:
    """Seal the record of every setup that is signed off, as a server does beside its first requests."""
    app = create_app(settings, now, new_token)
    sealed = seal_what_is_missing(app, pause_s=0)
    app.extensions["zerokeep"].close()
    with opened(settings) as (store, _):
        assert sealed > 0
        assert list(recording.unsealed(store)) == []


@dataclass
class Mill:
    """A simulated mill and how its control writes numbers."""

    mill: SimulatedMill
    display: Display
    mistakes: dict[str, list[Mistake]] = field(default_factory=dict)

    def touch(self, axis: str) -> str:
        """Touch a face, with the next mistake that was asked for; what the control shows."""
        waiting = self.mistakes.get(axis, [])
        return self.text(self.mill.touch(axis, waiting.pop(0) if waiting else NO_MISTAKE))

    def shown(self) -> dict[str, str]:
        """What the control shows in the selected slot."""
        return {axis: self.text(value) for axis, value in self.mill.shown_nm().items()}

    def text(self, value_nm: int) -> str:
        """A value as a person types it off the control."""
        return format_length(value_nm, self.display).replace("−", "-").replace("+", "")

    def value_nm(self, text: str) -> int:
        """What a value comes to that is entered as it was shown."""
        return parse_length(text, self.display, -MOST_NM, MOST_NM)


@dataclass
class Demo:
    """One copy of the demo shop in a folder of its own."""

    folder: Path

    @classmethod
    def copy(cls, made: Path, folder: Path) -> Demo:
        shutil.copytree(made, folder, dirs_exist_ok=True)
        return cls(folder)

    @property
    def people(self) -> dict[str, Secrets]:
        return starting.people(self.folder)

    @property
    def shop(self) -> Shop:
        return starting.practice_shop(self.folder, now())[0]

    def mill(self, machine: str) -> Mill:
        """The machine's mill as it was left, as the shop has it now, its vise where it stands today."""
        shop, practice = starting.practice_shop(self.folder, now())
        simulated = practice.mills[machine].mill
        with self.opened() as (store, _), store.reading():
            _, machine_now, _, probe = fitted_machine(store, machine)
        rebuild(simulated, machine_now, probe)
        simulated.chance = random.Random(20_261)
        return Mill(simulated, next(one.display for one in shop.machines if one.id == machine))

    def slot(self, machine: str, person: str) -> str:
        """The label of this person's slot."""
        return next(one.label for one in self.shop.slots if (one.machine, one.owner) == (machine, person))

    @contextmanager
    def opened(self) -> Iterator[tuple[Store, KeyRing]]:
        """The store and the keys, beside a server that may be running."""
        with opened(settings_of(self.folder)) as both:
            yield both

    def code(self, lead: str = "mara", code: str = "TRYTHEMALL") -> str:
        """A one-time code for one tablet, made by a lead."""
        with self.opened() as (store, _):
            enrolling.make_code(store, lead, now(), code)
        return code

    def setup_row(self, setup: str) -> dict[str, Any] | None:
        """Where a setup stands on the server, or None."""
        with self.opened() as (store, _), store.reading():
            return store.setups.setup(setup)

    def newest_setup(self, person: str) -> dict[str, Any]:
        """The setup of this person that was heard of last."""
        with self.opened() as (store, _), store.reading():
            return next(row for row in store.setups.setups() if row["person"] == person)


def utc_now_text() -> str:
    return utc_text(now())
