"""`python -m tests.long grow [SETUPS]`: what each page costs in a shop that has run for long.

The shop is written straight into the tables, but true: one setup is walked, signed and signed off on the
kit's shop, and every other one is its events with times, numbers and names of its own, signed again by the
tablet; leaves, nodes and hashes follow from them, so that the audit finds nothing. Printed for each page: the
statements that it makes, the steps of SQLite's own machine in thousands, and the server's processor time, for
a tenth of the setups and for all.
"""

from __future__ import annotations

import base64
import json
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.web.conftest import Site, make_site
from webapp.domain.plain.json_strict import canonical_text
from webapp.proof.jws import event_id
from webapp.services.audit.auditing import audit
from webapp.services.times import utc_text

SETUPS = 10_000
FIRST = datetime(2024, 1, 8, 7, 0, tzinfo=UTC)
APART = timedelta(minutes=25)
AT_A_TIME = 25
STEPS = 1_000
PAGES = (
    "/", "/desk", "/desk/setups", "/desk/setups?person=mara", "/desk/setups?from=2024-01-08&to=2024-01-08",
    "/audit", "/audit?before=50", "/audit/15", "/desk/slots", "/desk/people", "/desk/machines",
    "/desk/fixtures", "/desk/fixtures/vise-a/X", "/desk/tablets", "/desk/past.csv",
)  # fmt: skip
CHANGE = "INSERT INTO change VALUES (?, ?, ?, ?, ?, ?, ?)"
SETUP = (
    "INSERT INTO setup (id, device, sheet, machine, person, status, outcome, signature, probe_in_spindle, "
    "started_at_utc, last_at_utc) VALUES (?, ?, ?, 'mill-1', ?, 'signed_off', 'complete', 'verified', 0, ?, "
    "?)"
)
VALUE = "INSERT INTO kept_value VALUES (?, ?, 'vise-a', 'vise-a-1', ?, ?, NULL, NULL)"


def setup_id(number: int) -> str:
    """The id of one of these setups, counted from 0."""
    return str(UUID(int=(0xC0 << 120) | number))


class Grower:
    """A shop, the setup that all others are like, and the tablet that goes on with its chain."""

    def __init__(self, house: House) -> None:
        self.house, self.count = house, 0
        for _ in range(3):  # the first ones put questions
            walk = house.signed_off()
            house.clock.forward(minutes=20)
        self.payloads = [_payload(part["jws"]) for part in walk.parts]
        if any(payload["type"] == "question.put" for payload in self.payloads):
            raise AssertionError("the setup that all are like has to put no question")
        with house.store.reading():
            kept = house.store.numbers.kept_of(walk.setup)
            self.changes = [
                json.loads(row["text"]) for row in house.store.ledger.changes_of_setup(walk.setup)
            ]
        self.values_nm = {row["axis"]: row["value_nm"] for row in kept}
        self.ids = [event_id(part["jws"]) for part in walk.parts]
        self.device: Device = house.device
        self.began = datetime.fromisoformat(self.payloads[0]["at_utc"])

    def until(self, setups: int) -> None:
        """Let the shop have so many setups of this kind."""
        while self.count < setups:
            with self.house.store.writing():
                for _ in range(min(AT_A_TIME, setups - self.count)):
                    self._setup(self.count)
                    self.count += 1

    def _setup(self, number: int) -> None:
        store, setup, shift = self.house.store, setup_id(number), FIRST + number * APART - self.began
        events = [self._event(payload, setup, shift) for payload in self.payloads]
        start = store.ledger.append("event", [jws.encode() for jws, _ in events])
        rows = [
            (start + place, event_id(jws), jws, one["device"], one["sequence"], setup, one["type"],
             one["person"], one["sheet"], one["at_utc"], one["at_utc"], "[]")
            for place, (jws, one) in enumerate(events)
        ]  # fmt: skip
        first, last = events[0][1], events[-1][1]
        store._database.run_many(SETUP, [
            (setup, first["device"], first["sheet"], first["person"], first["at_utc"], last["at_utc"])
        ])  # fmt: skip
        store.setups.add_events(rows)
        self._changes(setup, shift, dict(zip(self.ids, (row[1] for row in rows), strict=True)))
        values = [(setup, axis, value_nm, last["at_utc"]) for axis, value_nm in self.values_nm.items()]
        store._database.run_many(VALUE, values)
        if not number % 2:  # the other half waits for its seal
            digest = store.records.files.write(b"%PDF-1.7 in place of a record")
            store.records.add(setup, digest, 30, last["at_utc"])

    def _event(self, payload: Any, setup: str, shift: timedelta) -> tuple[str, Any]:
        self.device.sequence += 1
        moved = utc_text(datetime.fromisoformat(payload["at_utc"]) + shift)
        own = {
            "setup": setup,
            "sequence": self.device.sequence,
            "previous": self.device.previous,
            "at_utc": moved,
        }
        one = {**payload, **own}
        jws = self.device.part(one)["jws"]
        self.device.previous = event_id(jws)
        return jws, one

    def _changes(self, setup: str, shift: timedelta, ids: dict[str, str]) -> None:
        texts = []
        for change in self.changes:
            data = {name: ids.get(value, value) if isinstance(value, str) else value
                    for name, value in change["data"].items() if name != "reviewed"}  # fmt: skip
            moved = utc_text(datetime.fromisoformat(change["at_utc"]) + shift)
            one = {**change, "data": data, "at_utc": moved, "setup": setup}
            one["subject"] = (
                setup
                if change["subject"] == change["setup"]
                else ids.get(change["subject"], change["subject"])
            )
            texts.append((canonical_text(one), one))
        start = self.house.store.ledger.append("change", [text.encode() for text, _ in texts])
        self.house.store._database.run_many(CHANGE, [
            (start + place, text, one["type"], one["by"], one["subject"], setup, one["at_utc"])
            for place, (text, one) in enumerate(texts)
        ])  # fmt: skip


def _payload(jws: str) -> Any:
    part = jws.split(".")[1]
    return json.loads(base64.urlsafe_b64decode(part + "=" * (-len(part) % 4)))


def costs(site: Site) -> Iterator[tuple[int, int, float]]:
    """Statements, steps in thousands and milliseconds of each page, asked for a second time."""
    lead = site.signed_in("ines")
    connection = site.app.extensions["zerokeep"].store._database._connection()
    for path in PAGES:
        lead.get(path).get_data()
        statements, steps = 0, 0

        def statement(_: str) -> None:
            nonlocal statements
            statements += 1

        def step() -> int:
            nonlocal steps
            steps += 1
            return 0

        connection.set_progress_handler(step, STEPS)
        connection.set_trace_callback(statement)
        began = time.process_time()
        lead.get(path).get_data()
        took_ms = 1_000 * (time.process_time() - began)
        connection.set_progress_handler(None, STEPS)
        connection.set_trace_callback(None)
        yield statements, steps, took_ms


def run(count: int | None) -> int:
    """Print the table; 1 where the audit of the grown shop finds something."""
    most = count or SETUPS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "ring").mkdir()
        keys = folder / "ring", fixed_keyring(folder / "ring" / "keys", Clock())
        (folder / "shop").mkdir()
        site = make_site(folder / "shop", keys)
        grower, found = Grower(site.house), []
        for size in (most // 10, most):
            grower.until(size)
            found.append(list(costs(site)))
        print(f"| page | {most // 10:,} setups: statements, 1,000 steps, ms | {most:,} setups | ms, times |")
        print("| --- | --- | --- | --- |")
        for path, few, many in zip(PAGES, *found, strict=True):
            told = (f"{one[0]}, {one[1]}, {one[2]:.0f}" for one in (few, many))
            print(f"| `{path}` | {' | '.join(told)} | {many[2] / few[2]:.1f} |")
        began = time.process_time()
        faults = audit(site.house.store)
        print(f"audit: {len(faults)} findings, {time.process_time() - began:.1f} s of processor")
        print(f"database: {(folder / 'shop' / 'zerokeep.db').stat().st_size / most / 1_000:.1f} kB a setup")
        for fault in faults[:5]:
            print(" ", fault.code, fault.record)
        site.house.store.close()
        site.app.extensions["zerokeep"].close()
    return 1 if faults else 0
