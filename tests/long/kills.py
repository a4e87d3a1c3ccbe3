"""`python -m tests.long kills [ROUNDS]`: a server killed at any moment, under load, whatever it was at.

Each round a process takes in what a tablet sends, one upload after the other, and beside that in a second
thread does one of: signing off, sealing, loading a shop file, a backup, renewing a key, or more uploads. It
says of each what it has done only once it is done. SIGKILL ends it at a random moment. What it said has to
hold afterwards: events with a receipt are there, sign-offs and sealed files too, a backup that has its name
opens whole, the keys open and hold what they held, and every few rounds an audit finds nothing.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Any

from tests.kit.clock import Clock
from tests.kit.device import Device, event_id
from tests.kit.house import House
from tests.kit.shop import SHOP, fixed_keyring
from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands import backup, renew_key, renew_seal
from webapp.proof import backup_file
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.audit.auditing import audit
from webapp.services.evidence.succession import PIN_KEY_RENEWED, RECEIPT_KEY_RENEWED
from webapp.services.setups import recording
from webapp.services.shop.loading import load
from webapp.settings import Settings
from webapp.shop_folder import open_keyring

ROUNDS = 500
AUDIT_EVERY = 25
A_PORTION = 3
EVENTS_READY = 400
LONGEST_S = 1.5
# Both say when to try again: a backup of a file that is written to all the time, and a sign-off after others
# that were killed while a passphrase was looked at, each of which counts as a try.
CALM = ("CopyDisturbed", "TooManyTries")
PASSPHRASE = "four plain words here"
RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
WORKS = ("intake", "sign_off", "seal", "load", "backup", "renew_seal", "renew_key")


@dataclass
class Shop:
    """The shop in its folder, what was said to be done, and what a process may do next."""

    house: House
    settings: Settings
    key: backup_file.BackupKey
    recipient: str
    senders: list[Device]
    chance: Random
    receipted: set[str] = field(default_factory=set)
    signed_off: set[str] = field(default_factory=set)
    sealed: dict[str, str] = field(default_factory=dict)
    count: int = 0
    first_keys: tuple[str, ...] = ()

    @property
    def folder(self) -> Path:
        return self.house.folder


def shop_in(folder: Path, seed: int = 20261130) -> Shop:
    """A loaded shop with two tablets that have much to send, and a key for backups."""
    house = House(folder, fixed_keyring(folder / "keys", Clock()))
    senders = [Device(93_000 + number, f"Sender {number}") for number in range(2)]
    for number, device in enumerate(senders):
        device.enrol(house.store, house.keyring, house.clock, code=f"SEND{number:06d}")
    key, recipient = backup_file.new_key(house.keyring.receipt_key_id)
    settings = Settings(data_folder=folder, key_passphrase=PASSPHRASE)
    first = house.keyring.receipt_key_id, house.keyring.pin_key_id
    return Shop(house, settings, key, recipient, senders, Random(seed), first_keys=first)


def refill(shop: Shop) -> None:
    """Give the tablets something to send: small setups, all signed."""
    sheet = shop.house.sheet()[0]
    for device in shop.senders:
        while len(device.sent) < EVENTS_READY:
            shop.count += 1
            shop.house.clock.forward(seconds=5)
            of = {"setup": f"7e400000-0000-4000-8000-{shop.count:012d}", "sheet": sheet, "person": "mara"}
            started = {"machine": "mill-1", "display": "standalone"}
            device.event("setup.started", started, **of, at_utc=shop.house.clock.text)
            for _ in range(4):
                device.event("hold.pressed", {}, **of, at_utc=shop.house.clock.text)


class Child:
    """What runs in the process that is killed; each thing done is one line of JSON in a pipe."""

    def __init__(self, shop: Shop, out: int) -> None:
        self.shop, self.house, self.out = shop, shop.house, out

    def say(self, kind: str, value: Any) -> None:
        os.write(self.out, (json.dumps([kind, value]) + "\n").encode())

    def send(self, device: Device) -> None:
        for first in range(0, len(device.sent), A_PORTION):
            receipts = self.house.accept(device.sent[first : first + A_PORTION])
            self.say("receipts", [one["event"] for one in receipts if one["outcome"] != "refused"])

    def work(self, kind: str) -> None:
        getattr(self, kind)()
        self.say("done", kind)

    def intake(self) -> None:
        self.send(self.shop.senders[1])

    def sign_off(self) -> None:
        for setup in to_sign_off(self.shop):
            self.house.sign_off(setup)
            self.say("signed_off", setup)

    def seal(self) -> None:
        for setup in recording.unsealed(self.house.store):
            digest, _ = recording.sealed_pdf(
                *(self.house.store, setup, lambda bundle: b"%PDF " + bundle.digest().encode()),
                *(lambda pdf, _: pdf, self.house.keyring.head_signer, self.house.clock(), RENDERER),
            )
            self.say("sealed", [setup, digest])

    def load(self) -> None:
        for number in range(5):
            machine = SHOP.machines[0]
            name = f"{machine.name} {self.shop.count}-{number}"
            changed = replace(SHOP, machines=(replace(machine, name=name), *SHOP.machines[1:]))
            load(
                self.house.store,
                changed,
                "server",
                self.house.clock(),
                lambda _: "271936",
                self.house.keyring,
            )

    def backup(self) -> None:
        path = self.shop.folder.parent / "night.age"
        path.unlink(missing_ok=True)
        backup.write(self.shop.settings, self.house.store, self.house.keyring, path, self.shop.recipient)

    def renew_seal(self) -> None:
        renew_seal.renew_seal(self.shop.settings, as_json=True)

    def renew_key(self) -> None:
        renew_key.renew_key(self.shop.settings, self.shop.chance.choice((renew_key.RECEIPTS, renew_key.PINS)))


def to_sign_off(shop: Shop) -> list[str]:
    """Setups that wait for the lead."""
    with shop.house.store.reading():
        return [row["id"] for row in shop.house.store.setups.setups(status=("signed",))]


def prepare(shop: Shop, kind: str) -> None:
    """Let there be something to do, and time go by: a sign-off that was killed counts as a try."""
    shop.house.clock.forward(minutes=20)
    refill(shop)
    if kind == "sign_off" and not to_sign_off(shop):
        for _ in range(2):
            shop.house.signed()
    if kind == "seal" and len(recording.unsealed(shop.house.store)) < 2:
        for _ in range(2):
            shop.signed_off.add(shop.house.signed_off().setup)


def killed(shop: Shop, kind: str) -> tuple[set[str], bool]:
    """Run a process and kill it at a random moment; what it said to have done, and whether it had ended."""
    shop.house.store.close()
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        _in_child(shop, kind, writer)
    os.close(writer)
    with os.fdopen(reader, encoding="utf-8") as said:
        assert said.readline() == '["begun", null]\n'
        time.sleep(shop.chance.random() * LONGEST_S)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = [json.loads(line) for line in said if line.endswith("\n")]
    for what, value in lines:
        if what == "receipts":
            shop.receipted |= set(value)
        elif what == "signed_off":
            shop.signed_off.add(value)
        elif what == "sealed":
            shop.sealed[value[0]] = value[1]
    failed = [value for what, value in lines if what == "failed" and not value.startswith(CALM)]
    assert not failed, failed
    return {what for what, _ in lines}, any(what == "done" for what, _ in lines)


def _in_child(shop: Shop, kind: str, out: int) -> None:
    child = Child(shop, out)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)

    def run(work: Callable[[], None]) -> None:
        try:
            work()
        except BaseException as error:  # noqa: BLE001 - it is said, and the run ends with it
            child.say("failed", f"{type(error).__name__}: {error}")

    child.say("begun", None)
    threads = [
        threading.Thread(target=run, args=(lambda: child.send(shop.senders[0]),)),
        threading.Thread(target=run, args=(lambda: child.work(kind),)),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    signal.pause()


def check(shop: Shop, kind: str) -> None:
    """What was said holds. What was received needs not be sent again."""
    store = shop.house.store
    with store.reading():
        there = {row["id"] for row in store.events.events_between(0, 2**62)}
        rows = store.setups.setups_by_id(shop.signed_off)
        states = {setup: row["status"] for setup, row in rows.items()}
        records = {row["setup"]: row["sha256"] for row in store.records.all_records()}
    assert shop.receipted <= there, "an event that had a receipt is lost"
    assert all(states[setup] == "signed_off" for setup in shop.signed_off)
    assert shop.sealed.items() <= records.items()
    assert all(store.records.files.is_whole(digest) for digest in records.values())
    for device in shop.senders:
        device.sent = [part for part in device.sent if event_id(part["jws"]) not in shop.receipted]
    if kind == "backup" and (shop.folder.parent / "night.age").exists():
        opens(shop, shop.folder.parent / "night.age")
    if kind.startswith("renew"):
        shop.house.keyring = same_keys_and_more(shop)


def opens(shop: Shop, path: Path) -> None:
    """A file with a backup's name is a whole backup."""
    with tempfile.TemporaryDirectory() as into, path.open("rb") as source:
        backup_file.unpack(source, shop.key, Path(into), 1 << 30)


def same_keys_and_more(shop: Shop) -> KeyRing:
    """The keys as they are now: they open, and no certificate that a record may be sealed under is gone."""
    now, before = open_keyring(shop.settings, utc_now, new_token), shop.house.keyring
    assert set(before.trusted_certificates) <= set(now.trusted_certificates)
    assert {key.text for key in before.head_keys} <= {key.text for key in now.head_keys}
    with shop.house.store.reading():
        told = [json.loads(row["text"])["data"]["kid"] for row in newest_renewals(shop)]
    assert {now.receipt_key_id, now.pin_key_id} <= {*shop.first_keys, *told}, "tablets cannot follow"
    return now


def newest_renewals(shop: Shop) -> list[Any]:
    """The last entry of each kind that names a new key."""
    changes = shop.house.store.ledger.changes
    return [row for kind in (RECEIPT_KEY_RENEWED, PIN_KEY_RENEWED) for row in changes(kind=kind, newest=1)]


def rounds(shop: Shop, count: int, say: Callable[[str], object]) -> Counter[str]:
    """Kill so many times; how often what was killed, in the middle of it or behind its end."""
    found: Counter[str] = Counter()
    for number in range(count):
        kind = WORKS[number % len(WORKS)]
        prepare(shop, kind)
        said, finished = killed(shop, kind)
        check(shop, kind)
        found[f"{kind}, {'behind its end' if finished else 'in the middle'}"] += 1
        found["with an upload said"] += "receipts" in said
        if number % AUDIT_EVERY == AUDIT_EVERY - 1 or number == count - 1:
            faults = audit(shop.house.store)
            assert faults == [], faults[:3]
            say(f"{number + 1} kills: {len(shop.receipted)} receipts, {len(shop.signed_off)} sign-offs, "
                f"{len(shop.sealed)} sealed; nothing lost, an audit finds nothing")  # fmt: skip
    return found


def run(count: int | None) -> int:
    """Print how often which work was killed where; what does not hold is raised."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "shop"
        folder.mkdir()
        found = rounds(shop_in(folder), count or ROUNDS, lambda text: print(text, flush=True))
    for what, times in sorted(found.items()):
        sys.stdout.write(f"{times:5} {what}\n")
    return 0
