"""Setups that are really walked, signed, sent in and signed off: what all others in a grown shop are like."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.walk import CENTRES, Walk
from webapp.domain.record.bundle import RecordBundle
from webapp.proof.keys.jws import event_id
from webapp.services.evidence.entries import SEALED
from webapp.services.setups import recording
from webapp.services.sheets.preparing import current_sheet
from webapp.store import Store

NM = 1_000
BEFORE = 2


@dataclass(frozen=True)
class Original:
    """One setup with its rows: events as their payloads, changes as their texts read, kept values
    by axis, and the terms and words that it is found by."""

    device: Device
    setup: str
    row: dict[str, Any]
    payloads: list[dict[str, Any]]
    ids: list[str]
    problems: list[str]
    changes: list[dict[str, Any]]
    values: list[dict[str, Any]]
    terms: list[str]
    words: str

    @property
    def began(self) -> datetime:
        """When its first event was made."""
        return datetime.fromisoformat(self.payloads[0]["at_utc"])


def originals(
    house: House, devices: list[Device], people: list[list[str]], pins: dict[str, str]
) -> list[str]:
    """The ids of one setup of each of these people at each machine, walked after those that put the first
    questions. `people` are those of each machine.
    """
    for _ in range(BEFORE):
        _round(house, devices, [some[:1] for some in people], pins)
    return [walk.setup for walk in _round(house, devices, people, pins)]


def stand_in(setup: str) -> bytes:
    """What lies in the place of a record: what is measured is not the printing."""
    return b"%PDF-1.7 in place of " + setup.encode()


def _round(house: House, devices: list[Device], people: list[list[str]], pins: dict[str, str]) -> list[Walk]:
    """Let everybody walk once, the next of a machine a day later than the one before."""
    walks = []
    for place in range(max(map(len, people))):
        house.clock.forward(hours=20)
        for machine, (device, some) in enumerate(zip(devices, people, strict=True), start=1):
            if place < len(some):
                walks.append(sealed(house, device, f"mill-{machine}", some[place], pins[some[place]], place))
                house.clock.forward(minutes=1)
    return walks


def sealed(house: House, device: Device, machine: str, person: str, pin: str, place: int = 0) -> Walk:
    """The same as `walked`, and its record is kept."""
    walk = walked(house, device, machine, person, pin, place)
    recording.sealed_pdf(
        house.store, walk.setup, _stood_in, _as_it_is, house.keyring.head_signer, house.clock(), {}
    )
    return walk


def _stood_in(bundle: RecordBundle) -> bytes:
    return stand_in(bundle.record["setup"])


def _as_it_is(pdf: bytes, _: str) -> bytes:
    return pdf


def walked(house: House, device: Device, machine: str, person: str, pin: str, place: int = 0) -> Walk:
    """A setup signed off by the lead; `place` sets its values a little apart from others'."""
    walk = signed(house, device, machine, person, pin, place)
    house.answer_all("First value here.")
    house.clock.forward(minutes=1)
    house.sign_off(walk.setup)
    return walk


def values_nm(place: int) -> dict[str, int]:
    """What the control shows of somebody: others' values are a little apart, so that rows differ."""
    return {axis: value + (place * 2 - 4) * NM for axis, value in CENTRES.items()}


def signed(house: House, device: Device, machine: str, person: str, pin: str, place: int = 0) -> Walk:
    """A setup sent in and signed by its operator."""
    house.count += 1
    sheet = current_sheet(house.store, machine, house.clock())
    walk = Walk(device, house.clock, sheet, person, house.count, values_nm(place)).through()
    walk.sign(pin, house.keyring)
    receipts = house.accept(walk.parts)
    assert receipts[-1]["signature"] == "verified", receipts[-1]
    return walk


def original(store: Store, setup: str, devices: list[Device]) -> Original:
    """A setup as all that stands of it. Raises AssertionError for one with a question or without a record."""
    with store.reading():
        row = store.setups.setup(setup)
        events = store.events.events_of(setup)
        changes = store.ledger.changes_of_setup(setup)
        values = store.numbers.kept_of(setup)
        terms, words, _ = store.found.found_by(setup)
    payloads = [_payload(event["jws"]) for event in events]
    asked = [payload for payload in payloads if payload["type"] == "question.put"]
    assert row is not None
    assert not asked, asked
    assert changes[-1]["type"] == SEALED, changes[-1]
    return Original(
        next(device for device in devices if device.id == row["device"]),
        setup,
        dict(row),
        payloads,
        [event_id(event["jws"]) for event in events],
        [event["problems"] for event in events],
        [json.loads(change["text"]) for change in changes],
        [dict(value) for value in values],
        sorted(terms),
        words,
    )


def _payload(jws: str) -> Any:
    part = jws.split(".")[1]
    return json.loads(base64.urlsafe_b64decode(part + "=" * (-len(part) % 4)))


def with_questions(
    house: House, devices: list[Device], people: list[list[str]], pins: dict[str, str]
) -> Iterator[Walk]:
    """What a lead finds in the morning: a setup of each machine that waits for a decision."""
    for machine, (device, some) in enumerate(zip(devices, people, strict=True), start=1):
        yield signed(house, device, f"mill-{machine}", some[0], pins[some[0]])
        house.clock.forward(minutes=1)
