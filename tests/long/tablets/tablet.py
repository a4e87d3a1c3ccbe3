"""One tablet without its pages: what it has to send, and how it asks."""

from __future__ import annotations

import http.client
import json
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.walk import Walk
from tests.long.growing import large_shop
from webapp.services.intake import enrolling

PORTIONS = 5
SENT_TWICE, OUT_OF_ORDER = 0.05, 0.05
WITH_CALL = {"X-Zerokeep": "1", "Content-Type": "application/json", "Sec-Fetch-Site": "same-origin"}
BUSY, LONGEST_PAUSE_S = 503, 2.0
Portion = list[dict[str, Any]]


@dataclass
class Tablet:
    """`portions` is what it sends, in this order; `sent` the ids of all events and the setup of each."""

    device: Device
    machine: str
    portions: list[Portion]
    sent: dict[str, str]
    known: dict[str, Any] = field(default_factory=dict)


def tablets(house: House, count: int, setups: int, machines: int) -> list[Tablet]:
    """So many tablets in use, each with setups walked and ready to be sent."""
    sheets = {f"mill-{n + 1}": house.sheet(f"mill-{n + 1}") for n in range(machines)}
    return [_tablet(house, number, setups, sheets, number % machines) for number in range(count)]


def _tablet(
    house: House, number: int, setups: int, sheets: dict[str, tuple[str, str]], machine: int
) -> Tablet:
    device, chance = Device(60_000 + number, f"Tablet {number}"), random.Random(number)
    device.enrol(house.store, house.keyring, house.clock, f"5QF3KM9X{number:03d}")
    found = Tablet(device, f"mill-{machine + 1}", [], {})
    for _ in range(setups):
        house.count += 1
        walk = _walk(
            house, device, sheets[found.machine], large_shop.owners(machine)[number % large_shop.OWNERS]
        )
        found.portions += _portions(walk.parts, chance)
        found.sent |= {event["id"]: walk.setup for event in walk.events}
    return found


def _walk(house: House, device: Device, sheet: tuple[str, str], person: str) -> Walk:
    walk = Walk(device, Clock(house.clock()), sheet, person, house.count).through()
    walk.sign(large_shop.PIN, house.keyring)
    return walk


def _portions(parts: Portion, chance: random.Random) -> Iterator[Portion]:
    """A setup's events in portions: some two of them the other way round, some once more."""
    size = -(-len(parts) // PORTIONS)
    found = [parts[start : start + size] for start in range(0, len(parts), size)]
    if chance.random() < OUT_OF_ORDER * PORTIONS:
        found[1], found[2] = found[2], found[1]
    for one in found:
        yield one
        if chance.random() < SENT_TWICE:
            yield one


class Line:
    """A connection to the server that is kept open, and how long each answer took, by what was asked."""

    def __init__(self, port: int) -> None:
        self._port, self._connection = port, http.client.HTTPConnection("localhost", port, timeout=120)
        self.took_ms: list[tuple[str, float]] = []
        self.bytes: dict[str, int] = {}
        self.held_back = 0

    def close(self) -> None:
        """Give the connection up."""
        self._connection.close()

    def call(self, name: str, path: str, body: Any) -> Any:
        """Ask as a tablet's page does; what came back. Raises AssertionError for anything but 200."""
        headers = {**WITH_CALL, "Origin": f"http://localhost:{self._port}"}
        return json.loads(self.send(name, "POST", path, json.dumps(body), headers)[1])

    def send(
        self, name: str, method: str, path: str, body: str = "", headers: dict[str, str] | None = None
    ) -> tuple[http.client.HTTPResponse, str]:
        """One request, timed under this name; where the store is busy it is made again, as a tablet does."""
        began = time.monotonic()
        while True:
            answer = self._answer(method, path, body or None, headers or {})
            text = answer.read().decode()
            if answer.status != BUSY:
                break
            self.held_back += 1
            time.sleep(min(float(answer.headers["Retry-After"]), LONGEST_PAUSE_S))
        self.took_ms.append((name, 1_000 * (time.monotonic() - began)))
        self.bytes[name] = len(text)
        assert answer.status in {200, 303}, f"{path}: {answer.status} {text[:300]}"
        return answer, text

    def _answer(
        self, method: str, path: str, body: str | None, headers: dict[str, str]
    ) -> http.client.HTTPResponse:
        """The answer to one request; on a new connection, as a browser does, where the server had closed the
        one that nothing came on for a while.
        """
        try:
            self._connection.request(method, path, body, headers)
            return self._connection.getresponse()
        except (BrokenPipeError, ConnectionResetError, http.client.RemoteDisconnected):
            self._connection.close()
        self._connection.request(method, path, body, headers)
        return self._connection.getresponse()


def upload(line: Line, portion: Portion) -> None:
    """Send a portion."""
    line.call("upload", "/api/events", {"events": portion})


def ask_news(line: Line, tablet: Tablet) -> None:
    """Ask whether the server is reached, then what is new, and keep what sheets there are."""
    answer = line.call("reach", "/api/reach", {"nonce": "n" * 32})["answer"]
    payload = {"domain": "zerokeep/request/1", "challenge": _payload(answer)["challenge"], "setups": [],
               "have": [], "own_machines": [tablet.machine], **tablet.known}  # fmt: skip
    request = tablet.device.signed(payload, enrolling.REQUEST_TYPE)
    told = line.call("news", "/api/news", {"request": request})
    if told["sheets"] is None:
        line.took_ms.append(("news, nothing changed", line.took_ms[-1][1]))
        line.bytes["news, nothing changed"] = line.bytes["news"]
        return
    tablet.known = {"have": [one["hash"] for one in told["sheets"]], "sheets_sha256": told["sheets_sha256"]}


def _payload(jws: str) -> Any:
    from webapp.proof.keys.encoding import from_base64url  # noqa: PLC0415

    return json.loads(from_base64url(jws.split(".")[1]))
