"""What tablets follow is told whole, however long ago it was written, by either database."""

from __future__ import annotations

import pytest

from tests.kit.house import House
from webapp.services.evidence import succession
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.intake import alarms
from webapp.services.intake.errors import ProofRefused


def test_every_statement_of_the_receipt_key_is_told_oldest_first(house: House) -> None:
    said = [str(number) for number in range(205)]
    with house.store.writing():
        for one in said:
            data = {"statement": one}
            change(house.store, succession.RECEIPT_KEY_RENEWED, SERVER, "receipts", None, data, house.clock())
    assert succession.all_statements(house.store) == said


def test_a_report_is_answered_however_many_came_after_it_and_none_that_nobody_made(house: House) -> None:
    with house.store.writing():
        for number in range(205):
            data = {"alarm": f"{number}", "kind": "forked", "statement": ""}
            change(house.store, alarms.RAISED, SERVER, "a tablet", None, data, house.clock())
    alarms.answer(house.store, "0", "ines", "The server was restored.", house.clock())
    with pytest.raises(ProofRefused):
        alarms.answer(house.store, "205", "ines", "Nobody said so.", house.clock())
