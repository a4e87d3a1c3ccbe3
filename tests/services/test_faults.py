"""A server that is killed, a disk that is full, many uploads at once: a receipted event is never lost."""

import json
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from webapp.services.audit.auditing import audit
from webapp.store.errors import DiskFull

ROUNDS, ROUNDS_ON_SERVER = 20, 6  # what is left half done there is the server's to take back
ROOT = Path(__file__).resolve().parents[2]
SERVER = """
import json, sys, tempfile
from pathlib import Path
from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from webapp.services.intake import intake
keyring = fixed_keyring(Path(tempfile.mkdtemp(dir=sys.argv[1])), Clock())
house = House(Path(sys.argv[1]), keyring, loaded=True, address=(sys.argv[2:] or [None])[0])
house.clock.forward(days=1)
print("ready", flush=True)
for line in sys.stdin:
    receipts = intake.accept(house.store, house.keyring, json.loads(line), house.clock())
    print(json.dumps([receipt["event"] for receipt in receipts]), flush=True)
"""


def test_a_server_killed_at_any_moment_never_loses_a_receipted_event(house: House) -> None:
    for _ in range(3):
        house.walk().through()
    parts = house.device.sent
    house.store.close()
    receipted: set[str] = set()
    rounds = ROUNDS_ON_SERVER if isinstance(house.store._address, str) else ROUNDS
    for number in range(rounds):
        after = 1 + number * len(parts) // (2 * rounds)
        receipted |= set(_serve_and_kill(house, parts, after, (number % 10) * 0.001))
    with house.store.reading():
        stored = {row["id"] for row in house.store.events.events_between(0, 2**62)}
    assert receipted <= stored
    assert audit(house.store) == []
    outcomes = {receipt["outcome"] for receipt in house.accept(parts)}
    assert outcomes <= {"accepted", "already_had"}
    assert receipted


def _serve_and_kill(house: House, parts: list[dict[str, object]], after: int, delay_s: float) -> list[str]:
    """Send two events at a time to a server of its own;
    kill it after so many receipts, a moment into the next upload.

    Counted by receipts, not by a clock: on a busy machine the server is as far as on a quiet one.
    What it gave receipts for.
    """
    on_server = [house.store._address] if isinstance(house.store._address, str) else []
    command = [sys.executable, "-c", SERVER, str(house.folder), *on_server]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True, "bufsize": 1}
    found: list[str] = []
    with subprocess.Popen(command, cwd=ROOT, **pipes) as server:
        assert server.stdout.readline() == "ready\n"
        for place in range(after):
            server.stdin.write(json.dumps(parts[2 * place : 2 * place + 2]) + "\n")
            found += json.loads(server.stdout.readline())
        server.stdin.write(json.dumps(parts[2 * after : 2 * after + 2]) + "\n")
        time.sleep(delay_s)
        server.send_signal(signal.SIGKILL)
        last = server.stdout.readline()
        if last.endswith("\n"):
            found += json.loads(last)
        with suppress(BrokenPipeError):
            server.stdin.close()
    return found


def test_a_full_disk_gives_no_receipt_stores_nothing_and_is_got_over(house_in_file: House) -> None:
    house = house_in_file
    parts = house.walk().through().parts
    connection = house.store._database._connection()
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count={pages}")
    with pytest.raises(DiskFull):
        house.accept(parts)
    with house.store.reading():
        assert list(house.store.events.events_between(0, 2**62)) == []
    assert audit(house.store) == []
    connection.execute("PRAGMA max_page_count=1000000")
    assert {receipt["outcome"] for receipt in house.accept(parts)} == {"accepted"}


def test_many_tablets_at_once_end_in_one_whole_ledger(house: House) -> None:
    devices = []
    for number in range(6):
        device = Device(91_000 + number, f"Tablet {number}")
        device.enrol(house.store, house.keyring, house.clock, code=f"CODE{number:06d}")
        house.walk(device=device).through()
        devices.append(device)
    outcomes: list[str] = []

    def send(device: Device) -> None:
        for start in range(0, len(device.sent), 7):
            outcomes.extend(receipt["outcome"] for receipt in house.accept(device.sent[start : start + 7]))
        house.store.close()

    threads = [threading.Thread(target=send, args=(device,)) for device in devices + devices[:2]]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with house.store.reading():
        stored = len(list(house.store.events.events_between(0, 2**62)))
    assert stored == sum(len(device.sent) for device in devices)
    assert outcomes.count("accepted") + outcomes.count("already_had") == len(outcomes)
    assert audit(house.store) == []
