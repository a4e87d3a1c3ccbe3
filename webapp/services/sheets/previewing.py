"""A procedure as a tablet would show it at a machine, with the drawings and numbers of now, before anybody
works by it.

Rules: the sheet is nobody's and is kept nowhere. It names no person of the shop and no value of anybody's
slot: whoever it is for is called "Somebody", whose own slot is the machine's first.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING, cast

from webapp.domain.evidence.told import SHOPS
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.plain.levels import BESIDE
from webapp.domain.procedure.procedure import Procedure, Revision
from webapp.domain.sheet.sheet import Board, SheetPerson
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.slots import SlotRow
from webapp.services.sheets.preparing import NO_TIME, Inputs, asked_place

if TYPE_CHECKING:
    from webapp.store import Store

SOMEBODY, NAME = "somebody", "Somebody"


def sheet_of(
    store: Store, procedure: Procedure, machine_id: str, whose: str, level: str, now: datetime
) -> WrittenSheet:
    """The sheet by which somebody at this level ("alone", "beside") would work at a machine, with the fixture
    whose procedure it is or the one that is offered first, if a procedure without faults were in use. Raises
    as `preparing.current_sheet`.
    """
    with store.reading():
        made = Inputs(store, asked_place(store, machine_id, None if whose == SHOPS else whose), now)
    made.revision, made.board = Revision("", "", procedure), Board("clear", None, None, 0)
    made.people, made.leads = [SheetPerson(SOMEBODY, NAME, None, beside=level == BESIDE)], []
    made.practised, made.slots = frozenset(), _slots(made.machine)
    return cast("WrittenSheet", json.loads(made.compile(NO_TIME, NO_TIME).text))


def _slots(machine: Machine) -> list[SlotRow]:
    first, *others = machine.labels
    return [SlotRow(first, "person", SOMEBODY, NAME, None), *(SlotRow(label, "free") for label in others)]
