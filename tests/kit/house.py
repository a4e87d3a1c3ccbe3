"""Everything a test of the use cases needs, joined:
a store in a folder of its own, keys, a clock, one tablet.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.postgresql import server
from tests.kit.shop import PASSPHRASES, PINS, fixed_keyring, load_shop
from tests.kit.walk import Walk
from webapp.domain.shop.told_shop import Shop
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.decisions import signing_off
from webapp.services.intake import intake
from webapp.services.setups import answering
from webapp.services.sheets.preparing import current_sheet
from webapp.store import Store
from webapp.store.engines.opening import Address


class House:
    """A shop with its server's parts.
    Keys may be handed in; `loaded` takes a folder that another house was made in.
    """

    def __init__(
        self,
        folder: Path,
        keyring: KeyRing | None = None,
        shop: Shop | None = None,
        *,
        loaded: bool = False,
        address: Address | None = None,
    ) -> None:
        self.folder = folder
        self.clock = Clock()
        self.keyring = keyring or fixed_keyring(folder / "keys", self.clock)
        self.store = Store.open(address or folder / "zerokeep.db", folder)
        self.device = Device()
        self.count = 0
        if not loaded:
            load_shop(self.store, self.keyring, self.clock, shop)
            self.device.enrol(self.store, self.keyring, self.clock)

    def kept(self) -> bytes:
        """All that is kept now, to look for what must not be in it: the file's bytes, or a server's rows."""
        if isinstance(self.store._address, str):
            return repr(server().rows()).encode()
        return b"".join(path.read_bytes() for path in self.folder.glob("zerokeep.db*"))

    def sheet(self, machine: str = "mill-1", fixture: str | None = None) -> tuple[str, str]:
        return current_sheet(self.store, machine, self.clock(), fixture)

    def walk(
        self, person: str = "mara", device: Device | None = None, fixture: str | None = None, **more: Any
    ) -> Walk:
        """A new setup on the sheet of now, of the fixture that is named or offered first."""
        self.count += 1
        sheet = self.sheet(fixture=fixture)
        return Walk(device or self.device, self.clock, sheet, person, self.count, **more)

    def accept(self, parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return intake.accept(self.store, self.keyring, parts, self.clock())

    def signed(self, person: str = "mara", **more: Any) -> Walk:
        """A complete setup, uploaded, its signature verified, its questions answered."""
        walk = self.walk(person, **more).through()
        walk.sign(PINS[person], self.keyring)
        receipts = self.accept(walk.parts)
        assert receipts[-1]["signature"] == "verified", receipts[-1]
        self.answer_all("First value here.")
        return walk

    def answer_all(self, reason: str) -> None:
        """The lead lets everything that is asked go on."""
        for question in answering.questions(self.store):
            answering.answer(self.store, question["id"], "ines", "go_on", reason, self.clock())

    def signed_off(self, person: str = "mara", note: str = "", **more: Any) -> Walk:
        """The same, signed off by the lead."""
        walk = self.signed(person, **more)
        self.clock.forward(minutes=1)
        self.sign_off(walk.setup, note=note)
        return walk

    def sign_off(self, setup: str, by: str = "ines", passphrase: str | None = None, note: str = "") -> None:
        typed = PASSPHRASES[by] if passphrase is None else passphrase
        seen = self.seen(setup)
        signing_off.sign_off(self.store, setup, by, typed, note, self.clock(), seen=seen)

    def seen(self, setup: str) -> str:
        """The fingerprint of a setup as it stands: what a lead's page carries who reads it now."""
        return signing_off.reviewed_now(self.store, setup)["sha256"]
