"""The server that is asked: the program itself on a shop made for it, its processes watched."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.postgresql import server as database_server
from tests.kit.server import Server, free_port
from tests.kit.shop import fixed_keyring
from tests.long.growing import large_shop
from tests.long.growing.alone import family, spent_s
from tests.long.growing.built import KEYS, hurry
from tests.long.growing.large_shop import Size
from tests.long.growing.originals import BEFORE, walked
from webapp.store.engines.opening import Address

PASSPHRASE = "four plain words here"
LONGEST_START_S = 120.0


def shop(folder: Path, machines: int, address: Address | None) -> House:
    """A shop whose machines have a past of some values, its clock at the time of now."""
    keyring = fixed_keyring(folder / KEYS, Clock())
    house, devices = large_shop.make(folder, keyring, Size(machines, machines * 6), address)
    hurry(house)
    house.clock.moment = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=20 * (BEFORE + 1))
    for _ in range(BEFORE + 1):
        house.clock.forward(hours=19)
        for number, device in enumerate(devices, start=1):
            person = large_shop.owners(number - 1)[0]
            walked(house, device, f"mill-{number}", person, large_shop.PIN)
    house.clock.moment = datetime.now(UTC)
    return house


def address_of(on_server: bool) -> str | None:
    """An empty database on a server of our own, or None for a file."""
    return database_server().emptied() if on_server else None


class Running:
    """The program, served by so many workers."""

    def __init__(self, folder: Path, address: str | None, workers: int) -> None:
        self.port = free_port()
        more = {"ZEROKEEP_DATABASE": address, "ZEROKEEP_WORKERS": str(workers)} if address else {}
        command = [
            sys.executable,
            "-m",
            "webapp.cli",
            "serve",
            "--data-folder",
            str(folder),
            "--port",
            str(self.port),
        ]
        environment = {**os.environ, "ZEROKEEP_KEY_PASSPHRASE": PASSPHRASE, **more}
        self._log = (folder / "server.log").open("ab")
        self._process = subprocess.Popen(command, env=environment, stdout=self._log, stderr=self._log)
        until, asked = time.monotonic() + LONGEST_START_S, Server(folder, self.port)
        while not asked.answers():
            assert self._process.poll() is None, (folder / "server.log").read_text()
            assert time.monotonic() < until, (folder / "server.log").read_text()
            time.sleep(0.1)

    def held_mb(self) -> float:
        """What its processes hold now, all together: what they share counts for each."""
        return sum(map(_held_mb, family(self._process.pid)))

    def spent_s(self) -> float:
        """What its processes have spent of the processor."""
        return spent_s(self._process.pid)

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(60)
        self._log.close()


def _held_mb(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024
