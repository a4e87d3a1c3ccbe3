"""`python -m tests.long machine [EXAMPLES]`: tablets and a server that go through anything, in any order.

Tablets write, send in any portions and any order and twice, lose answers, are copied and go on beside their
copy, are wiped, forget; the server ends and starts, is backed up, goes back to a backup and says so, or goes
back and says nothing. A tablet does here what static/js/sync.js does, through the use cases that the calls of
a tablet reach. What holds throughout: an event that has a receipt is there; none is there twice; a tablet of
which two events have one number is known as forked; a ledger that went back or was written anew is seen by
whoever kept a head of it, and no other. At the end every tablet comes home: then all that one of them still
holds is there, and an audit finds nothing.

Both databases, each with EXAMPLES random runs; the test command plays a few that are always the same.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from base64 import urlsafe_b64decode
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, ClassVar

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.postgresql import Rows, server
from tests.kit.shop import fixed_keyring
from webapp.domain.evidence.checkpoint import read_checkpoint
from webapp.domain.evidence.consistency import is_consistent
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.ledger.signed_note import read_note
from webapp.services.audit.auditing import audit
from webapp.services.errors import LedgerWentBack
from webapp.services.evidence import epochs, signed_heads
from webapp.services.intake import coming_back
from webapp.store.kept_head import NAME as HEAD_FILE

EXAMPLES = 500
STEPS = 30
MOST_TABLETS = 4
A_PORTION = 7
DATABASE = "zerokeep.db"
WHICH = st.integers(0, 10**6)


@dataclass
class Tablet:
    """What a tablet keeps: its key and place in the chain, events, which of them wait, heads, statement."""

    device: Device
    held: dict[str, dict[str, Any]] = field(default_factory=dict)
    waiting: set[str] = field(default_factory=set)
    out_of_order: set[str] = field(default_factory=set)
    refused: dict[str, str] = field(default_factory=dict)
    sheets: dict[str, tuple[str, str]] = field(default_factory=dict)
    heads: list[tuple[int, str]] = field(default_factory=list)
    epoch: str | None = None
    setup: dict[str, str] | None = None

    def copied(self) -> Tablet:
        """The same from a copy of its storage."""
        made = Tablet(self.device.clone(), epoch=self.epoch, setup=self.setup and dict(self.setup))
        made.held, made.waiting = dict(self.held), set(self.waiting)
        made.sheets, made.heads = dict(self.sheets), list(self.heads)
        return made

    def send_all_again(self) -> None:
        self.waiting = set(self.held)
        self.refused.clear()


@dataclass(frozen=True)
class Copy:
    """A shop as it was: what was there, and what had a receipt."""

    folder: Path
    rows: Rows | None
    receipted: frozenset[str]


class Lasting(RuleBasedStateMachine):
    """One shop in a folder of its own. `begun` makes it: a folder copied, or rows put back on a server."""

    begun: ClassVar[Callable[[Path], House]]

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="zerokeep-machine-"))
        (self.folder / "shop").mkdir()
        self.house = type(self).begun(self.folder / "shop")
        self.count = 0
        self.tablets = [Tablet(self.house.device)]
        self.copies: list[Copy] = []
        self.receipted: set[str] = set()  # on this line of the ledger
        self.owed: set[str] = set()  # had a receipt before the shop went back
        self.numbers: dict[str, tuple[str, int]] = {}

    # What happens

    @rule(which=WHICH, events=st.integers(1, 5))
    def write(self, which: int, events: int) -> None:
        tablet = self._tablet(which)
        if tablet is None:
            return
        for _ in range(events):
            self._write(tablet)

    @rule(which=WHICH)
    def begin_another_setup(self, which: int) -> None:
        if tablet := self._tablet(which):
            tablet.setup = None

    @rule(which=WHICH, order=st.randoms(use_true_random=False), answered=st.booleans())
    def send_some(self, which: int, order: Any, answered: bool) -> None:
        """Any portion, in any order, parts of it twice; the answer may be lost."""
        tablet = self._tablet(which)
        if tablet is None or not tablet.held:
            return
        ids = order.sample(sorted(tablet.held), min(len(tablet.held), order.randint(1, A_PORTION)))
        self._send(tablet, [*ids, *ids[: order.randint(0, 2)]], answered=answered)

    @rule(which=WHICH)
    def come_home(self, which: int) -> None:
        if tablet := self._tablet(which):
            self._sync(tablet)

    @rule()
    def a_new_tablet(self) -> None:
        if len(self.tablets) < MOST_TABLETS:
            self.count += 1
            device = Device(92_000 + self.count, f"Tablet {self.count}")
            self._enrol(device)
            self.tablets.append(Tablet(device))

    @rule(which=WHICH)
    def copy_a_tablet(self, which: int) -> None:
        tablet = self._tablet(which)
        if tablet is not None and len(self.tablets) < MOST_TABLETS:
            self.tablets.append(tablet.copied())

    @rule(which=WHICH)
    def wipe_a_tablet(self, which: int) -> None:
        if tablet := self._tablet(which):
            self.tablets.remove(tablet)

    @rule(which=WHICH)
    def forget(self, which: int) -> None:
        """What is long over goes from a tablet: all that it sent, but for the setup that goes on."""
        if tablet := self._tablet(which):
            setup = tablet.setup and tablet.setup["setup"]
            for id_ in [one for one in tablet.held if one not in tablet.waiting]:
                if _payload(tablet.held[id_])["setup"] != setup:
                    del tablet.held[id_]

    @rule()
    def another_day(self) -> None:
        self.house.clock.forward(hours=11)

    @rule()
    def end_and_start(self) -> None:
        self.house.store.close()
        self._open()

    @rule()
    def back_up(self) -> None:
        folder = self.folder / f"copy-{len(self.copies)}"
        folder.mkdir()
        if (self.folder / "shop" / HEAD_FILE).exists():
            shutil.copy(self.folder / "shop" / HEAD_FILE, folder)
        rows = server().rows() if self._on_server else None
        if rows is None:
            self.house.store.copy_to(folder / DATABASE)
        self.copies.append(Copy(folder, rows, frozenset(self.receipted)))

    @rule(which=WHICH, said=st.booleans())
    def go_back(self, which: int, said: bool) -> None:
        """To a backup; where nobody says so, whoever kept a later head has to see it by themselves."""
        if not self.copies:
            return
        copy = self.copies[which % len(self.copies)]
        self.house.store.close()
        (self.folder / "shop" / HEAD_FILE).unlink(missing_ok=True)
        for path in copy.folder.iterdir():
            shutil.copy(path, self.folder / "shop")
        if copy.rows is not None:
            server().emptied(copy.rows)
        self._open()
        self.owed |= self.receipted - copy.receipted
        self.receipted = set(copy.receipted)
        if said:
            epochs.open_epoch(self.house.store, self.house.keyring, "The disk failed.", self.house.clock())

    # What holds

    @invariant()
    def nothing_with_a_receipt_is_lost_and_nothing_is_there_twice(self) -> None:
        with self.house.store.reading():
            rows = list(self.house.store.events.events_between(0, 2**62))
            raw = self.house.store._database.raw
            leaves = raw("SELECT count(*) FROM leaf WHERE kind = 'event'")[0][0]
        ids = {row["id"] for row in rows}
        assert self.receipted <= ids, f"lost: {sorted(self.receipted - ids)}"
        assert len(ids) == len(rows) == leaves

    @invariant()
    def every_fork_is_seen(self) -> None:
        with self.house.store.reading():
            rows = list(self.house.store.events.events_between(0, 2**62))
            states = {row["id"]: row["state"] for row in self.house.store.devices.everything()}
            told = {row["subject"] for row in self.house.store.ledger.changes(kind="device.forked")}
        holders: dict[tuple[str, int], set[str]] = defaultdict(set)
        for row in rows:
            holders[self.numbers[row["id"]]].add(row["id"])
        forked = {device for (device, _), ids in holders.items() if len(ids) > 1}
        assert forked == {id_ for id_, state in states.items() if state == "forked"} == told

    def teardown(self) -> None:
        """All come home; then what any of them holds is there."""
        try:
            if sys.exc_info()[0] is None:
                self._everybody_comes_home()
        finally:
            self.house.store.close()
            shutil.rmtree(self.folder, ignore_errors=True)

    def _everybody_comes_home(self) -> None:
        for _ in range(2):  # what one copy of a tablet holds may be what the other's events wait for
            for tablet in self.tablets:
                self._sync(tablet)
        with self.house.store.reading():
            there = {row["id"] for row in self.house.store.events.events_between(0, 2**62)}
        for tablet in self.tablets:
            assert not tablet.refused, tablet.refused
            assert tablet.held.keys() <= there, "what a tablet holds did not come in"
            assert self.owed & tablet.held.keys() <= there
        self.nothing_with_a_receipt_is_lost_and_nothing_is_there_twice()
        self.every_fork_is_seen()
        assert audit(self.house.store) == []

    # How

    @property
    def _on_server(self) -> bool:
        return isinstance(self.house.store._address, str)

    def _open(self) -> None:
        before = self.house
        address = before.store._address if self._on_server else None
        self.house = House(self.folder / "shop", before.keyring, loaded=True, address=address)
        self.house.clock, self.house.device = before.clock, before.device

    def _tablet(self, which: int) -> Tablet | None:
        return self.tablets[which % len(self.tablets)] if self.tablets else None

    def _enrol(self, device: Device) -> None:
        self.count += 1
        device.enrol(self.house.store, self.house.keyring, self.house.clock, code=f"CODE{self.count:06d}")

    def _write(self, tablet: Tablet) -> None:
        self.house.clock.forward(seconds=5)
        if tablet.setup is None:
            self.count += 1
            hash_, text = self.house.sheet()
            tablet.sheets[hash_] = (text, coming_back.sheet_tag(self.house.keyring, hash_))
            tablet.setup = {"setup": f"7e400000-0000-4000-8000-{self.count:012d}", "sheet": hash_}
            type_, data = "setup.started", {"machine": "mill-1", "display": "standalone"}
        else:
            type_, data = "hold.pressed", {}
        event = tablet.device.event(type_, data, person="mara", at_utc=self.house.clock.text, **tablet.setup)
        id_ = event["id"]
        tablet.held[id_] = tablet.device.sent[-1]
        tablet.waiting.add(id_)
        self.numbers[id_] = (event["device"], event["sequence"])

    def _send(self, tablet: Tablet, ids: list[str], *, answered: bool = True) -> set[str]:
        """What was refused with a code that the tablet can do something about."""
        receipts = self.house.accept([tablet.held[id_] for id_ in ids])
        assert [receipt["event"] for receipt in receipts] == ids
        if not answered:
            return set()
        codes = set()
        for receipt in receipts:
            id_, outcome = receipt["event"], receipt["outcome"]
            assert id_ not in self.receipted or outcome in {"accepted", "already_had"}, receipt
            tablet.out_of_order.discard(id_)
            tablet.refused.pop(id_, None)
            if outcome in {"accepted", "already_had"}:
                self.receipted.add(id_)
                tablet.waiting.discard(id_)
            elif outcome == "kept_out_of_order":
                tablet.out_of_order.add(id_)
            else:
                codes.add(receipt["code"])
                tablet.refused[id_] = receipt["code"]
        return codes

    def _sync(self, tablet: Tablet) -> None:
        self._take_up_statement(tablet)
        self._send_waiting(tablet)
        if self._look(tablet):
            tablet.send_all_again()
            self._send_waiting(tablet)
        if tablet.out_of_order:
            coming_back.bridge(self.house.store, tablet.device.id, self._not_held(tablet), self.house.clock())
            self._send_waiting(tablet)

    def _take_up_statement(self, tablet: Tablet) -> None:
        statement = epochs.newest(self.house.store)
        if statement is None or statement == tablet.epoch:
            return
        restored = _payload({"jws": statement})["restored"]
        had = [head for head in tablet.heads if head[0] <= restored["size"]]
        tablet.heads = had or ([(restored["size"], restored["root"])] if restored["size"] else [])
        tablet.epoch = statement
        tablet.send_all_again()

    def _send_waiting(self, tablet: Tablet) -> None:
        for _ in range(2):
            ids = [id_ for id_ in tablet.held if id_ in tablet.waiting]
            codes: set[str] = set()
            for first in range(0, len(ids), A_PORTION):
                codes |= self._send(tablet, ids[first : first + A_PORTION])
            if "intake.device_unknown" in codes:
                self._enrol(tablet.device)
            if "intake.sheet_unknown" in codes:
                for text, tag in tablet.sheets.values():
                    coming_back.take_sheet(
                        self.house.store, self.house.keyring, text, tag, self.house.clock()
                    )
            if not codes:
                return
        if tablet.refused:  # an unknown sheet behind an unknown tablet
            self._send_waiting_once_more(tablet)

    def _send_waiting_once_more(self, tablet: Tablet) -> None:
        ids = [id_ for id_ in tablet.held if id_ in tablet.waiting]
        for first in range(0, len(ids), A_PORTION):
            self._send(tablet, ids[first : first + A_PORTION])

    def _not_held(self, tablet: Tablet) -> list[str]:
        before = {_payload(part)["previous"] for part in tablet.held.values()}
        return sorted(before - {None} - tablet.held.keys())

    def _look(self, tablet: Tablet) -> bool:
        """Ask for a head as a tablet does; whether the ledger is another: seen when it is, and only then."""
        store, signer = self.house.store, self.house.keyring.head_signer
        size, root = tablet.heads[-1] if tablet.heads else (0, "")
        with store.reading():
            leaves = [bytes(row[0]) for row in store._database.raw("SELECT hash FROM leaf ORDER BY position")]
        is_same = size == 0 or (size <= len(leaves) and naive_root(leaves[:size]).hex() == root)
        try:
            said = signed_heads.head_since(store, signer, size)
        except LedgerWentBack:
            assert not is_same
            return True
        got = read_checkpoint(read_note(said["note"], [signer.verifier]))
        proof = None if said["proof"] is None else [bytes.fromhex(one) for one in said["proof"]]
        grew = size == 0 or (
            proof is not None
            and is_consistent(size, bytes.fromhex(root), got.size, bytes.fromhex(got.root), proof)
        )
        assert grew == is_same, "a ledger that is another one was not seen, or one that grew was not believed"
        tablet.heads = [*tablet.heads, (got.size, got.root)] if grew else [(got.size, got.root)]
        return not grew


def naive_root(leaves: list[bytes]) -> bytes:
    """The root as RFC 6962 section 2.1 defines it, by its own words, from hashes of leaves."""
    if len(leaves) == 1:
        return leaves[0]
    left = 1
    while 2 * left < len(leaves):
        left *= 2
    return sha256(b"\x01" + naive_root(leaves[:left]) + naive_root(leaves[left:])).digest()


def _payload(part: dict[str, Any]) -> dict[str, Any]:
    text = part["jws"].split(".")[1]
    value: dict[str, Any] = json.loads(urlsafe_b64decode(text + "=" * (-len(text) % 4)))
    return value


def in_file(furnished: Path, keyring: KeyRing) -> type[Lasting]:
    """The machine over a folder that a loaded shop lies in."""

    def begun(folder: Path) -> House:
        shutil.copytree(furnished, folder, dirs_exist_ok=True)
        return House(folder, keyring, loaded=True)

    return type("InFile", (Lasting,), {"begun": staticmethod(begun)})


def on_server(rows: Rows, keyring: KeyRing) -> type[Lasting]:
    """The machine over the rows of a loaded shop, put into the tests' own server."""

    def begun(folder: Path) -> House:
        return House(folder, keyring, loaded=True, address=server().emptied(rows))

    return type("OnServer", (Lasting,), {"begun": staticmethod(begun)})


def play(machine: type[Lasting], examples: int, *, always_the_same: bool, steps: int = STEPS) -> None:
    """Run the machine so many times; raises what does not hold, with the shortest way there."""
    chosen = settings(
        max_examples=examples,
        stateful_step_count=steps,
        derandomize=always_the_same,
        deadline=None,
        database=None,
        phases=[Phase.generate] if always_the_same else [Phase.generate, Phase.shrink],
        print_blob=not always_the_same,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine, settings=chosen)  # type: ignore[no-untyped-call]


def run(count: int | None) -> int:
    """Both databases; what does not hold is raised."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        keyring = fixed_keyring(folder / "keys", Clock())
        (folder / "shop").mkdir()
        House(folder / "shop", keyring).store.close()
        play(in_file(folder / "shop", keyring), count or EXAMPLES, always_the_same=False)
        print(f"in a file: {count or EXAMPLES} runs of up to {STEPS} steps hold", flush=True)
        (folder / "beside").mkdir()
        House(folder / "beside", keyring, address=server().emptied()).store.close()
        play(on_server(server().rows(), keyring), count or EXAMPLES, always_the_same=False)
        print(f"on a server: {count or EXAMPLES} runs of up to {STEPS} steps hold", flush=True)
    return 0
