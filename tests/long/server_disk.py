"""`python -m tests.long server_disk`: a PostgreSQL server whose disk is full, and then mounted for reading
only.

The server's folder lies on a small disk in memory, which only root may mount. Setups are sent until the disk
refuses; each refusal has to be one of the store's own that an answer of 503 is made of, nothing of a refused
upload may stay, everything with a receipt has to be there, and once there is room the same uploads are taken
by the same server and process, with an audit that finds nothing. The other fault, a disk mounted for reading
only, cannot be had here: the system refuses to remount one with files that are open for writing (EBUSY).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.kit import postgresql
from tests.kit.device import event_id
from tests.kit.house import House
from webapp.services.audit.auditing import audit
from webapp.store.errors import StoreError

SIZE_MIB = 300
ROOM_BYTES = 512 * 1024
UPLOADS = 60
REFUSALS = 3
PATIENCE_S = 120.0
Uploads = list[list[dict[str, Any]]]


@contextmanager
def small_disk() -> Iterator[Path]:
    """A disk in memory; nobody but root may mount one."""
    folder = Path(tempfile.mkdtemp(prefix="zkdisk-", dir="/tmp"))
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE_MIB}m,mode=755", "tmpfs", folder], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)
        folder.rmdir()


@contextmanager
def server_on(disk: Path) -> Iterator[postgresql.Server]:
    """The tests' own server, its folder on this disk."""
    make = tempfile.mkdtemp
    postgresql.tempfile.mkdtemp = lambda **named: make(**{**named, "dir": str(disk)})  # type: ignore[assignment]
    try:
        server = postgresql.Server()
    finally:
        postgresql.tempfile.mkdtemp = make
    try:
        yield server
    finally:
        server.stop()


@contextmanager
def no_room(disk: Path) -> Iterator[None]:
    """All of the disk taken by something else but for a few blocks."""
    ballast, room = disk / "ballast", os.statvfs(disk)
    ballast.write_bytes(bytes(room.f_bavail * room.f_frsize - ROOM_BYTES))
    try:
        yield
    finally:
        ballast.unlink()


def uploads(house: House, count: int) -> Uploads:
    """So many whole setups to be sent, one an upload."""
    return [house.walk().through().parts for _ in range(count)]


def sent_until_refused(house: House, waiting: Uploads, found: Counter[str]) -> set[str]:
    """Send until the disk refused a few times; events with a receipt. What was taken is off the list."""
    receipted: set[str] = set()
    refused = 0
    while waiting and refused < REFUSALS:
        try:
            receipts = house.accept(waiting[0])
        except StoreError as error:
            refused += 1
            found[f"refused with {error.code}"] += 1
            continue
        receipted |= {one["event"] for one in receipts if one["outcome"] != "refused"}
        waiting.pop(0)
        found["uploads taken"] += 1
    return receipted


def holds(house: House, receipted: set[str], refused: list[dict[str, Any]]) -> None:
    """What has a receipt is there, and nothing of what was refused."""
    with house.store.reading():
        there = {row["id"] for row in house.store.setups.all_events()}
    assert receipted <= there, "an event that had a receipt is lost"
    assert not {event_id(part["jws"]) for part in refused} & there, "a part of a refused upload stayed"


def until_it_goes_on(house: House, waiting: Uploads) -> float:
    """Seconds until the first of what waits is taken."""
    begun = time.monotonic()
    while True:
        try:
            house.accept(waiting[0])
            waiting.pop(0)
            return time.monotonic() - begun
        except StoreError:
            if time.monotonic() - begun > PATIENCE_S:
                raise
            time.sleep(0.5)


def play(say: Callable[[str], object]) -> Counter[str]:
    """Fill the disk, free it, and send what waits."""
    found: Counter[str] = Counter()
    with small_disk() as disk, server_on(disk) as server, tempfile.TemporaryDirectory() as files:
        house = House(Path(files), address=server.emptied())
        waiting = uploads(house, UPLOADS)
        with no_room(disk):
            receipted = sent_until_refused(house, waiting, found)
            assert waiting, "nothing was refused"
        holds(house, receipted, waiting[0])
        seconds = until_it_goes_on(house, waiting)
        holds(house, receipted, [])
        assert audit(house.store) == []
        house.store.close()
        say(f"{dict(found)}; went on after {seconds:.1f} s, an audit finds nothing")
    return found


def run(_: int | None) -> int:
    """Play it; 2 where nobody but root could."""
    if os.geteuid():
        print("Only root may mount a small disk.", file=sys.stderr)
        return 2
    play(print)
    return 0
