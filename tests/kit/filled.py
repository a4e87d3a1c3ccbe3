"""A shop with a row in every table of which notes are made."""

from __future__ import annotations

from typing import Any

from tests.kit.device import Device
from tests.kit.house import House

# One row for each table that a short walk does not fill; written through the program, so that they are noted.
MORE_ROWS = (
    "INSERT INTO code VALUES ('c0', 'ines', '2026-11-25T07:00:00.000Z', '2026-11-25T07:10:00.000Z', NULL)",
    "INSERT INTO session VALUES ('t0', 'ines', '10.0.0.1', '2026-11-25', '2026-11-25', NULL, NULL)",
    "INSERT INTO axis_choice VALUES ('vise-a', 'X', 200, 20000, 500000, 2.17, NULL)",
    "INSERT INTO history_import VALUES (1, '"
    + "ab" * 32
    + "', 'past.csv', 1, 1, 0, 'ines', '2026-11-25T07:00:00.000Z')",
    "INSERT INTO imported_setup VALUES ('past-1', 1, 2, 'mill-1', 'mara', '', '')",
    (
        "INSERT INTO kept_value SELECT 'past-1', 'X', fixture, "
        "seating, value_nm, at_utc, NULL, 1 FROM kept_value LIMIT 1"
    ),
    "INSERT INTO probe_care VALUES ('probe-1', 30, 200)",
    (
        "INSERT INTO probe_check VALUES (1, 'probe-1', 'mill-1', "
        "'2026-11-25T07:00:00.000Z', 'ines', '', '{}', '{}')"
    ),
    "INSERT INTO budget VALUES ('mill-1', 'vise-a', 'probe-1', '{}')",
    (
        "INSERT INTO z_check VALUES (1, 'mill-1', 'gauge_line', "
        "1000, 'a', '{}', 'ines', '2026-11-25T07:00:00.000Z')"
    ),
    (
        "INSERT INTO pending_seal SELECT id, "
        "'seal' FROM event WHERE position = (SELECT max(position) FROM event)"
    ),
    "INSERT INTO throttle VALUES ('pin:mara', 2, '2026-11-25T07:00:00.000Z')",
)


def fill(house: House) -> str:
    """Walk, ask, sign off, worry, wait, and put in the rest; the setup that was signed off."""
    asked = house.walk().start()
    asked.question(1, None, "Is this vise the right one?")
    house.accept(asked.parts)
    house.signed_off()
    with house.store.reading():
        setup = str(house.store.ledger.changes(kind="setup.signed_off")[0]["setup"])
    digest = house.store.records.files.write(b"%PDF the sealed record")
    with house.store.writing():
        house.store.records.add(setup, digest, 22, "2026-11-25T09:00:00.000Z")
    worried = house.walk().start()
    worried.event("worry.raised", {"worry": "probe_looks_wrong", "about": "probe", "text": "Bent?"})
    house.device.event("hold.pressed", {"more": 1}, **_envelope(worried))
    waits = house.walk(device=_ahead(house)).start()
    house.accept([*worried.parts, *waits.parts])
    with house.store.writing():
        for statement in MORE_ROWS:
            house.store._database.raw(statement)
    return setup


def _envelope(walk: Any) -> dict[str, Any]:
    return {"setup": walk.setup, "sheet": walk.sheet_hash, "person": walk.person, "at_utc": walk.clock.text}


def _ahead(house: House) -> Device:
    """The tablet as it is after events that it has not sent."""
    return Device(house.device.number, "Tablet 1", house.device.sequence + 5, "ab" * 32)
