"""A mill whose slots are written by hand, from its sheet to the record:
trigger positions are taken in and told.
"""

from __future__ import annotations

import pytest

from tests.kit.house import House
from tests.kit.shop import CENTRES_NM, PASSPHRASES, PINS
from webapp.domain.plain.lengths import Display, Unit, format_length
from webapp.domain.record.facts import record_facts
from webapp.domain.shop.z_check import ZTyped
from webapp.record import render
from webapp.services.audit.auditing import audit
from webapp.services.evidence.ledger import SERVER, change, on_ledger
from webapp.services.numbers import z_reading
from webapp.services.setups import recording
from webapp.words import say

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
MM = Display(Unit.MM, 3)
# The top at -300.050, the ball's radius 3 mm, the gauge line 150 mm above its centre: -300.050 + 3 + 150.
Z_CHECK = ZTyped("gauge_line", "150", "-300.050", "-147.050")
# By hand, from the made-up probe (effective radius 2.996): the jaw's faces look to -X and -Y, so the ball
# comes from there and the face lies one radius on; the gauge line stands 150 + 2.996 above the top when the
# ball meets it.
ADDED_NM = {"X": 2_996_000, "Y": 2_996_000, "Z": -152_996_000}


@pytest.fixture
def house(house: House) -> House:
    """The same shop, its mill written by hand, its reading on Z checked."""
    with house.store.writing():
        value = house.store.shop.item("machine", "mill-1") or {}
        said = {**value, "slot_written": "by_hand"}
        house.store.shop.put("machine", "mill-1", said)
        data = {"value": on_ledger(said)}
        change(house.store, "machine.changed", SERVER, "mill-1", None, data, house.clock())
    z_reading.keep_check(house.store, "mill-1", Z_CHECK, PASSPHRASES["ines"], "ines", house.clock())
    house.clock.forward(minutes=2)
    return house


def test_what_was_typed_is_taken_in_signed_off_and_told_on_the_record(house: House) -> None:
    walk = house.signed_off()
    assert {one["axis"]: one["by_hand_nm"] for one in walk.sheet["axes"]} == ADDED_NM
    state = walk.fold.result()
    assert (state["status"], state["problems"], state["values_nm"]) == ("signed", [], CENTRES_NM)
    bundle = recording.bundle(house.store, walk.setup, house.clock(), RENDERER)
    told = [say(line.what.code, line.what.fields) for line in record_facts(bundle, final=True).happenings]
    for axis, centre_nm in CENTRES_NM.items():
        trigger, surface = (format_length(one, MM) for one in (centre_nm - ADDED_NM[axis], centre_nm))
        typed = trigger.replace("−", "-")
        assert f"The probe answered at {axis} {typed}; {surface} mm was given to enter by hand." in told
    assert render(bundle).startswith(b"%PDF-")
    assert audit(house.store) == []


def test_a_row_that_holds_another_value_reaches_the_lead_and_the_record(house: House) -> None:
    walk = house.walk().start().until("touch", "X")
    walk.answer()
    walk.event("touch.entered", walk.answers.reading("X", CENTRES_NM["X"] + 1_000), walk.step["id"])
    walk.event("touch.read_again", walk.answers.reading("X", CENTRES_NM["X"] + 1_000), walk.step["id"])
    assert walk.fold.result()["keep_because"] is None
    walk.question(77, "X", "The row shows one more. Is that all right?")
    walk.until("sign")
    walk.sign(PINS["mara"], house.keyring)
    receipts = house.accept(walk.parts)
    assert receipts[-1]["signature"] == "verified", receipts[-1]
    house.answer_all("One step of the display is nothing.")
    house.clock.forward(minutes=1)
    house.sign_off(walk.setup)
    bundle = recording.bundle(house.store, walk.setup, house.clock(), RENDERER)
    told = [say(line.what.code, line.what.fields) for line in record_facts(bundle, final=True).happenings]
    entered = "X was entered by hand; the surface to enter, and what was read back: −381.250, −381.249 mm."
    assert entered in told
