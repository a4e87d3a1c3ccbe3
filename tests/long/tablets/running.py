"""The runs and their tables."""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.kit.house import House
from tests.long.tablets import load, server
from tests.long.tablets.load import Found
from tests.long.tablets.server import Running
from tests.long.tablets.tablet import Tablet, tablets
from webapp.store import Store

TABLETS, MACHINES, SETUPS, NEWS_A_PORTION = 200, 20, 2, 3
WORKERS = 4
ON_A_QUIET_DAY, SECONDS, APART_S = 50, 60.0, 15.0


@dataclass(frozen=True)
class Kept:
    """What is in the ledger of what was sent."""

    sent: int
    lost: int
    doubled: int
    setups: int
    sheets: int
    sheets_kb: float


def kept(store: Store, some: list[Tablet]) -> Kept:
    """Every event that was sent, held against what is stored."""
    sent = {event: setup for one in some for event, setup in one.sent.items()}
    with store.reading():
        stored = [event for setup in sorted(set(sent.values())) for event, _ in store.events.texts_of(setup)]
        leaves = store.ask("SELECT count(*), count(DISTINCT hash) FROM leaf WHERE kind = 'event'")[0]
        sheets, held = store.ask("SELECT count(*), coalesce(sum(length(text)), 0) FROM sheet")[0]
        parts = store.ask("SELECT coalesce(sum(length(body)), 0) FROM sheet_part")[0][0]
    times = Counter(stored)
    doubled = sum(count - 1 for count in times.values()) + leaves[0] - leaves[1]
    lost = len(sent.keys() - times.keys())
    return Kept(len(sent), lost, doubled, len(set(sent.values())), sheets, int(held + parts) / 1_000)


@contextmanager
def served(
    machines: int, count: int, setups: int, *, on_server: bool
) -> Iterator[tuple[House, Running, list[Tablet]]]:
    """A shop, its tablets with something to send, and the server in front of it."""
    with tempfile.TemporaryDirectory() as name:
        folder, address = Path(name), server.address_of(on_server)
        house = server.shop(folder, machines, address)
        some = tablets(house, count, setups, machines)
        house.store.close()
        running = Running(folder, address, WORKERS if on_server else 1)
        try:
            yield house, running, some
        finally:
            running.stop()
            house.store.close()


def bare_ms(house: House, some: list[Tablet], uploads: int = 200) -> float:
    """What it takes the bare database to keep an upload's texts and their hashes, one transaction each with
    the same settings and through the same driver: milliseconds at the median.
    """
    portions = [portion for one in some for portion in one.portions][:uploads]
    with tempfile.TemporaryDirectory() as name:
        in_file = isinstance(house.store._address, Path)
        store = Store.open(Path(name) / "bare.db") if in_file else house.store
        with store.writing():
            store.ask("CREATE TABLE bare_entry (position INTEGER PRIMARY KEY, hash TEXT, jws TEXT)")
        took = [_put_bare(store, portion, 1_000 * number) for number, portion in enumerate(portions)]
        with store.writing():
            store.ask("DROP TABLE bare_entry")
        store.close()
    return sorted(took)[len(took) // 2]


def _put_bare(store: Store, portion: list[dict[str, Any]], start: int) -> float:
    rows = [
        (start + place, sha256(part["jws"].encode()).hexdigest(), part["jws"])
        for place, part in enumerate(portion)
    ]
    began = time.monotonic()
    with store.writing():
        store.put_rows("INSERT INTO bare_entry VALUES (?, ?, ?)", rows)
    return 1_000 * (time.monotonic() - began)


def busy(
    count: int, *, on_server: bool, machines: int = MACHINES, setups: int = SETUPS
) -> tuple[Kept, Found, float]:
    """All tablets send all they have as fast as they are answered; what came of it, and the bare database's
    time in the same run.
    """
    with served(machines, count, setups, on_server=on_server) as (house, running, some):
        before = bare_ms(house, some)
        found = load.together(running, some, load.send_all(NEWS_A_PORTION))
        bare = min(before, bare_ms(house, some))
        return kept(house.store, some), found, bare


def quiet(
    count: int, *, on_server: bool, seconds: float = SECONDS, apart_s: float = APART_S
) -> tuple[Found, Found]:
    """The same uploads and looks at the desk without news and then with them, as often as tablets ask."""
    with served(MACHINES, count, 2 * SETUPS, on_server=on_server) as (_, running, some):
        load.together(running, some, load.for_a_while(2 * apart_s, apart_s, news=True), count)
        without = load.together(running, some, load.for_a_while(seconds, apart_s, news=False), count)
        with_news = load.together(running, some, load.for_a_while(seconds, apart_s, news=True), count)
        return without, with_news


def run(words: list[str]) -> int:
    """Print the table; 1 where something was lost or doubled."""
    reading = argparse.ArgumentParser(prog="python -m tests.long tablets")
    reading.add_argument("count", nargs="?", type=int)
    reading.add_argument("--on-server", action="store_true", help="PostgreSQL with four workers")
    reading.add_argument("--setups", type=int, default=SETUPS, help="of each tablet")
    reading.add_argument("--news", action="store_true", help="a minute with news beside one without")
    asked = reading.parse_args(words)
    where = f"PostgreSQL, {WORKERS} workers" if asked.on_server else "SQLite, one worker"
    if asked.news:
        _say_quiet(where, *quiet(asked.count or ON_A_QUIET_DAY, on_server=asked.on_server))
        return 0
    count = asked.count or TABLETS
    told, found, bare = busy(count, on_server=asked.on_server, setups=asked.setups)
    _say_busy(f"{where}, {count} tablets", told, found, bare)
    return 1 if told.lost or told.doubled else 0


def _say_busy(where: str, told: Kept, found: Found, bare: float) -> None:
    uploads = len(found.took_ms["upload"])
    quarter = [found.held_mb[int(share * (len(found.held_mb) - 1))] for share in (0.25, 0.5, 0.75, 1.0)]
    rows = (
        ("setups, events sent, uploads, asked for news",
         f"{told.setups:,}, {told.sent:,}, {uploads:,}, {len(found.took_ms['news']):,}"),
        ("lost, doubled; asked to wait", f"{told.lost}, {told.doubled}; {found.held_back}"),
        ("sheets, kB of them a setup", f"{told.sheets}, {told.sheets_kb / told.setups:.1f}"),
        ("seconds, uploads a second", f"{found.wall_s:.0f}, {uploads / found.wall_s:.1f}"),
        ("processor of the program, seconds; all of it an upload, ms",
         f"{found.spent_s:.0f}; {1_000 * found.spent_s / uploads:.0f}"),
        ("bare database, an upload, ms", f"{bare:.2f}"),
        ("uploads a second over the bare database's", f"{uploads / found.wall_s / (1_000 / bare):.3f}"),
        *((f"{name}, p50 and p95, ms", f"{found.at(name, 0.5):.0f}, {found.at(name, 0.95):.0f}")
          for name in ("upload", "news", "desk")),
        ("held at a quarter, half, three quarters, end, MB", ", ".join(f"{one:.0f}" for one in quarter)),
    )  # fmt: skip
    print(f"| {where} | |\n| --- | --- |")
    for name, value in rows:
        print(f"| {name} | {value} |", flush=True)


def _say_quiet(where: str, without: Found, with_news: Found) -> None:
    print(f"| {where} | without news | with news | times |\n| --- | --- | --- | --- |")
    for name in ("upload", "desk"):
        for share in (0.5, 0.95):
            a, b = without.at(name, share), with_news.at(name, share)
            print(f"| {name}, p{100 * share:.0f}, ms | {a:.0f} | {b:.0f} | {b / a:.2f} |")
    name = "news, nothing changed"
    times = with_news.took_ms.get(name, [])
    size, p50 = with_news.bytes.get(name, 0), with_news.at(name, 0.5)
    print(f"| {name}: answers, bytes, p50 ms | | {len(times):,}, {size:,}, {p50:.1f} | |")
    a, b = without.spent_s, with_news.spent_s
    print(f"| processor of the program, s | {a:.1f} | {b:.1f} | {b / a:.2f} |", flush=True)
