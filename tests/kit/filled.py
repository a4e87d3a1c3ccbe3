"""A shop with a row in every table of which notes are made, each put in by the use case that makes such
rows.
"""

from __future__ import annotations

from typing import Any

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from webapp.domain.budget.lines import LeadLine
from webapp.domain.probe.probe_health import CheckTyped
from webapp.domain.shop.z_check import ZTyped
from webapp.domain.usual.choice import LinesChoice
from webapp.services.intake import enrolling
from webapp.services.numbers import budgeting, choosing, past_values, probing, z_reading
from webapp.services.people import access
from webapp.services.setups import recording

ENDS = {"x_low": "-403.004", "x_high": "-358.996", "y_low": "-174.004", "y_high": "-129.996"}
PAST = (
    b"at_utc,machine,fixture,seating,person,x_mm,y_mm,z_mm\n"
    b"2026-11-10,mill-1,vise-a,vise-a-1,mara,-381.210,-152.410,-300.010\n"
)
RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
# What only a check that could not be made leaves behind, and what nothing else fails at.
MORE_ROWS = (
    (
        "INSERT INTO pending_seal SELECT id, "
        "'seal' FROM event WHERE position = (SELECT max(position) FROM event)"
    ),
    "INSERT INTO throttle VALUES ('pin:mara', 2, '2026-11-25T07:00:00.000Z')",
)


def fill(house: House) -> str:
    """Walk, ask, sign off, seal, worry, wait, and put in the rest; the setup that was signed off."""
    asked = house.walk().start()
    asked.question(1, None, "Is this vise the right one?")
    house.accept(asked.parts)
    setup = house.signed_off().setup
    recording.sealed_pdf(
        *(house.store, setup, lambda bundle: b"%PDF " + bundle.digest().encode()),
        *(lambda pdf, _: pdf, house.keyring.head_signer, house.clock(), RENDERER),
    )
    worried = house.walk().start()
    worried.event("worry.raised", {"worry": "probe_looks_wrong", "about": "probe", "text": "Bent?"})
    house.device.event("hold.pressed", {"more": 1}, **_envelope(worried))
    waits = house.walk(device=_ahead(house)).start()
    house.accept([*worried.parts, *waits.parts])
    _put_in(house)
    with house.store.writing():
        for statement in MORE_ROWS:
            house.store._database.raw(statement)
    return setup


def _put_in(house: House) -> None:
    """What people do at the desk."""
    store, now = house.store, house.clock()
    enrolling.make_code(store, "ines", now, "NEVERUSED1")
    access.sign_in(store, "ines", PASSPHRASES["ines"], now, "a token", "10.0.0.1")
    choosing.choose(
        store, "vise-a", "X", LinesChoice(200, 20_000, 500_000, 2.17), "Too many asks.", "ines", now
    )
    past_values.take_in(store, lambda: [PAST], "past.csv", "ines", now)
    probing.set_care(store, "probe-1", 30, 200, "As the maker says.", "ines", now)
    ring = CheckTyped("ring", "50", "", "diametral", ENDS, "")
    probing.keep_check(store, "probe-1", "mill-1", ring, "", "ines", now)
    wide = LeadLine("own-1", "Chips", None, 30_000, "rectangular", None, "Looked at for a month")
    budgeting.set_line(store, "mill-1", wide, "Never counted before.", "ines", now)
    typed = ZTyped("gauge_line", "150", "-300.050", "-147.050")
    z_reading.keep_check(store, "mill-1", typed, PASSPHRASES["ines"], "ines", now)


def _envelope(walk: Any) -> dict[str, Any]:
    return {"setup": walk.setup, "sheet": walk.sheet_hash, "person": walk.person, "at_utc": walk.clock.text}


def _ahead(house: House) -> Device:
    """The tablet as it is after events that it has not sent."""
    return Device(house.device.number, "Tablet 1", house.device.sequence + 5, "ab" * 32)
