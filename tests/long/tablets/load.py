"""Many tablets at once, and a lead at the desk, some of them at a time."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from tests.kit.shop import PASSPHRASES
from tests.long.tablets.server import Running
from tests.long.tablets.tablet import Line, Tablet, ask_news, upload

AT_ONCE = 16
DESK_PAGES = ("/desk", "/desk/setups", "/", "/desk/tablets")
DESK_PAUSE_S = 0.5
TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


@dataclass
class Found:
    """What a load found: answer times by what was asked, sizes, and what the processes held on the way."""

    took_ms: dict[str, list[float]] = field(default_factory=dict)
    bytes: dict[str, int] = field(default_factory=dict)
    held_mb: list[float] = field(default_factory=list)
    held_back: int = 0
    wall_s: float = 0.0
    spent_s: float = 0.0

    def add(self, line: Line) -> None:
        """Take what a line has timed."""
        for name, ms in line.took_ms:
            self.took_ms.setdefault(name, []).append(ms)
        self.bytes |= line.bytes
        self.held_back += line.held_back

    def at(self, name: str, share: float) -> float:
        """The time within which this share of the answers came, milliseconds."""
        some = sorted(self.took_ms.get(name, [0.0]))
        return some[min(len(some) - 1, int(share * len(some)))]


class Desk:
    """A lead who looks at pages until they are told to stop."""

    def __init__(self, port: int) -> None:
        self.line = Line(port)
        self._origin = f"http://localhost:{port}"
        self._cookies: dict[str, str] = {}
        self._stop = threading.Event()
        self._sign_in()
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def end(self) -> None:
        self._stop.set()
        self._thread.join()

    def _look(self) -> None:
        number = 0
        while not self._stop.wait(DESK_PAUSE_S):
            self._ask("GET", DESK_PAGES[number % len(DESK_PAGES)], "", "desk")
            number += 1

    def _sign_in(self) -> None:
        from urllib.parse import urlencode  # noqa: PLC0415

        found = TOKEN.search(self._ask("GET", "/sign-in", "", "sign in"))
        assert found
        fields = {"csrf_token": found[1], "person": "ines", "passphrase": PASSPHRASES["ines"]}
        self._ask("POST", "/sign-in", urlencode(fields), "sign in")

    def _ask(self, method: str, path: str, body: str, name: str) -> str:
        headers = {"Cookie": "; ".join(f"{key}={value}" for key, value in self._cookies.items()),
                   "Sec-Fetch-Site": "same-origin", "Origin": self._origin}  # fmt: skip
        if body:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        answer, text = self.line.send(name, method, path, body, headers)
        for one in answer.headers.get_all("Set-Cookie") or ():
            key, _, value = one.partition(";")[0].partition("=")
            self._cookies[key] = value
        return text


def together(
    running: Running, some: list[Tablet], what: Callable[[Line, list[Tablet]], None], at_once: int = AT_ONCE
) -> Found:
    """Let threads do this, each with a share of the tablets, while somebody is at the desk."""
    found, desk = Found(), Desk(running.port)
    lines = [Line(running.port) for _ in range(min(at_once, len(some)))]
    failed: list[BaseException] = []

    def run(place: int, line: Line) -> None:
        try:
            what(line, some[place :: len(lines)])
        except BaseException as error:  # noqa: BLE001 - told after all have ended
            failed.append(error)

    threads = [threading.Thread(target=run, args=each) for each in enumerate(lines)]
    began, spent_s = time.monotonic(), running.spent_s()
    for thread in threads:
        thread.start()
    found.held_mb = list(_watched(running, threads))
    found.wall_s, found.spent_s = time.monotonic() - began, running.spent_s() - spent_s
    desk.end()
    for line in (*lines, desk.line):
        found.add(line)
        line.close()
    if failed:
        raise failed[0]
    return found


def _watched(running: Running, threads: list[threading.Thread]) -> Iterator[float]:
    while any(thread.is_alive() for thread in threads):
        yield running.held_mb()
        for thread in threads:
            thread.join(1.0 / len(threads))


def send_all(news_a_portion: int) -> Callable[[Line, list[Tablet]], None]:
    """Send what each tablet has, one portion after the other, and ask for news in between."""

    def run(line: Line, mine: list[Tablet]) -> None:
        for place in range(max((len(one.portions) for one in mine), default=0)):
            for one in mine:
                if place < len(one.portions):
                    upload(line, one.portions[place])
                for _ in range(news_a_portion):
                    ask_news(line, one)

    return run


def for_a_while(seconds: float, apart_s: float, *, news: bool) -> Callable[[Line, list[Tablet]], None]:
    """For so long, let each tablet send a portion now and then, and ask for news four times as often."""

    def run(line: Line, mine: list[Tablet]) -> None:
        until, turn = time.monotonic() + seconds, 0
        while time.monotonic() < until:
            began = time.monotonic()
            for number, one in enumerate(mine):
                if (turn + number) % 4 == 0 and one.portions:
                    upload(line, one.portions.pop(0))
                if news:
                    ask_news(line, one)
            turn += 1
            time.sleep(max(0.0, min(began + apart_s, until) - time.monotonic()))

    return run
