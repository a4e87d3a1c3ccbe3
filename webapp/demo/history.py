"""The demo's past: setups that really were walked, sent in, signed and signed off, through the same use
cases.

Nothing is written past the services: every past setup is a chain of signed events on the sheet of its day,
so that the usual, the records and the ledger of the demo are what a shop would have.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric import ec

from webapp.demo import probe_checks
from webapp.demo.device import Clock, Device
from webapp.demo.mill import Mistake, SimulatedMill
from webapp.demo.scenario import SCENARIOS, place
from webapp.demo.walker import Person, Walker
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.plain.json_strict import canonical_bytes
from webapp.domain.shop.told_shop import Shop
from webapp.proof.keys.jws import sign
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.decisions import signing_off
from webapp.services.intake import enrolling, intake
from webapp.services.setups import answering
from webapp.services.sheets import preparing
from webapp.services.shop import loading
from webapp.services.times import from_text
from webapp.store import Store

FIRST_DAY, LAST_DAY = -112, -1
SETUPS_A_MILL = 34
LEADS = ("mara", "henk")
LEFT_FOR_THE_LEAD = 2
CHECKED_EVERY = timedelta(days=28)


@dataclass(frozen=True)
class Secrets:
    """What one person of the demo knows by heart."""

    passphrase: str
    pin: str


@dataclass(frozen=True)
class Past:
    """One setup to come about: when, where, who, and how it went ("clean" or the name of what went wrong)."""

    at: datetime
    machine: str
    person: str
    story: str


@dataclass
class Historian:
    """Writes the past into a store, setup by setup, oldest first."""

    store: Store
    keyring: KeyRing
    shop: Shop
    secrets: Mapping[str, Secrets]
    mills: Mapping[str, SimulatedMill]
    devices: Mapping[str, Device]
    chance: random.Random
    setups_a_mill: int = SETUPS_A_MILL
    seatings: int = 0
    probes_checked_at: datetime | None = None
    # Apart from the walks' chance, so that how often probes are checked changes no walk.
    ring_chance: random.Random = field(default_factory=lambda: random.Random(CHECKED_EVERY.days))  # noqa: S311

    def write(self, today: datetime) -> int:
        """All past setups up to yesterday; how many."""
        pasts = sorted(
            (past for machine in SCENARIOS for past in self._pasts(machine, today)), key=lambda past: past.at
        )
        for number, past in enumerate(pasts, start=1):
            self._seat(past.at)
            self._check_probes(past.at - timedelta(minutes=40))
            self._live(past, left_open=number > len(pasts) - LEFT_FOR_THE_LEAD)
        return len(pasts)

    def _pasts(self, machine: str, today: datetime) -> Iterator[Past]:
        """Days spread over the past, people taking turns, most of it clean. At least two setups a mill."""
        stories = {
            6: "chip",
            13: "hold",
            19: "ball_left_out",
            25: "broken_off",
            self.setups_a_mill - 1: "question" if machine == "plover" else "hold",
        }
        span = (LAST_DAY - FIRST_DAY) / (self.setups_a_mill - 1)
        midnight = today.replace(hour=0, minute=0, second=0, microsecond=0)
        operators = SCENARIOS[machine].operators
        for number in range(self.setups_a_mill):
            day = round(FIRST_DAY + number * span)
            at = midnight + timedelta(days=day, hours=8 + self.chance.random() * 7)
            yield Past(at, machine, operators[number % len(operators)], stories.get(number, "clean"))

    def _live(self, past: Past, *, left_open: bool) -> None:
        if not self._may(past):
            past = Past(past.at, past.machine, "odile", past.story)
        sheet_hash, sheet_text = preparing.current_sheet(self.store, past.machine, past.at)
        mill = self.mills[past.machine]
        place(mill, past.machine, self._seating(past), past.at, self.chance)
        clock = Clock(past.at)
        walker = Walker(
            self.devices[past.machine],
            sheet_text,
            sheet_hash,
            self._person(past),
            mill,
            clock,
            self.chance,
            self._uuid(),
            self._uuid,
        )
        parts = [walker.start(), *self._walk(walker, past)]
        received = clock.at + timedelta(seconds=20)
        intake.accept(self.store, self.keyring, parts, received)
        if not left_open:
            self._decide(walker.fold.result(), past, received)

    def _walk(self, walker: Walker, past: Past) -> Iterator[dict[str, Any]]:
        if past.story == "broken_off":
            yield from walker.walk(until="y.touch")
            yield from walker.break_off("out_of_time", "The room was needed for a course.")
        if past.story == "question":
            yield from walker.walk(until="stow.up")
            text = "The moving jaw felt looser than last week. Should somebody look at its slide?"
            yield walker.note("question.put", {"question": self._uuid(), "axis": None, "text": text})
        yield from walker.walk()

    def _decide(self, state: Folded, past: Past, received: datetime) -> None:
        """The lead answers what was asked and signs off, some hours later."""
        lead = next(one for one in LEADS if one != past.person)
        later = received + timedelta(hours=1 + 4 * self.chance.random())
        for question in state["questions"]:
            reason = "Within what this vise has shown on cold mornings. Go on."
            answering.answer(self.store, question["question"], lead, "go_on", reason, later)
        setup = state["setup"] or ""
        signing_off.sign_off(
            self.store,
            setup,
            lead,
            self.secrets[lead].passphrase,
            "",
            later + timedelta(minutes=2),
            seen=signing_off.reviewed_now(self.store, setup)["sha256"],
        )

    def _person(self, past: Past) -> Person:
        mistakes = {
            "chip": {"X": Mistake(chip_nm=180_000)},
            "ball_left_out": {"X": Mistake(ball_left_out=True)},
        }
        return Person(
            past.person,
            self.secrets[past.person].pin,
            mistakes.get(past.story, {}),
            ("x.touch",) if past.story == "hold" else (),
        )

    def _may(self, past: Past) -> bool:
        slots = [
            slot for slot in self.shop.slots if (slot.machine, slot.owner) == (past.machine, past.person)
        ]
        until = slots[0].until_utc if slots else ""
        return until is None or from_text(until) > past.at + timedelta(hours=6)

    def _seat(self, at: datetime) -> None:
        """Load the shop again, as it stood then, when a fixture has been seated anew since the last setup."""
        begun = begun_seatings(self.shop, at)
        if len(begun.seatings) > self.seatings:
            self.seatings = len(begun.seatings)
            since = from_text(begun.seatings[-1].since_utc)
            loading.load(self.store, begun, LEADS[0], since, no_secret, self.keyring)

    def _check_probes(self, at: datetime) -> None:
        """Check every probe when the last time lies four weeks back."""
        last = self.probes_checked_at
        if last is not None and at - last < CHECKED_EVERY:
            return
        self.probes_checked_at = at
        probes = {probe.id: probe for probe in self.shop.probes}
        for machine in self.shop.machines:
            probe = probes[machine.probe]
            if last is None:
                probe_checks.care_for(self.store, probe, LEADS[0], at)
            probe_checks.check(self.store, machine, probe, LEADS[0], at, self.ring_chance)

    def _seating(self, past: Past) -> tuple[str, datetime]:
        fixture = next(machine.fixture for machine in self.shop.machines if machine.id == past.machine)
        begun = [one for one in begun_seatings(self.shop, past.at).seatings if one.fixture == fixture]
        return begun[-1].id, from_text(begun[-1].since_utc)

    def _uuid(self) -> str:
        return str(UUID(int=self.chance.getrandbits(128), version=4))


def begun_seatings(shop: Shop, at: datetime) -> Shop:
    """The shop with the seatings that have begun by then, in order of time."""
    begun = [seating for seating in shop.seatings if from_text(seating.since_utc) <= at]
    return replace(shop, seatings=tuple(sorted(begun, key=lambda seating: seating.since_utc)))


def no_secret(kind: str) -> str:
    """Nobody is new when the shop is loaded again."""
    raise LookupError(kind)


def enrolled_device(store: Store, keyring: KeyRing, name: str, code: str, at: datetime) -> Device:
    """A tablet of the demo, taken in with a one-time code that a lead made."""
    device = Device(ec.generate_private_key(ec.SECP256R1()), name, keyring.pin_jwk)
    enrolling.make_code(store, LEADS[0], at, code)
    claim = {
        "domain": "zerokeep/enrol/1",
        "code_sha256": sha256(code.encode()).hexdigest(),
        "name": name,
    }
    proof = sign(canonical_bytes(claim), device.private_key, device.id, "zerokeep-enrol+jws")
    enrolling.enrol(store, keyring, code, name, device.jwk, "standalone", proof, at)
    return device
