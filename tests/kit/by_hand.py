"""A mill of the demo whose control writes no touch into the slot, and whose cleared rows are parked.

A person enters each value, from where the probe answered.
"""

from __future__ import annotations

from typing import Any

from tests.kit.demo import Demo, Mill, now, settings_of
from webapp.commands.opening import opened
from webapp.services.evidence.ledger import SERVER, change, on_ledger

BY_HAND = {"slot_written": "by_hand"}
PARKED = {"z_zero_at_top": False, "parked_z_nm": -20_000_000}


def say_of_machine(demo: Demo, machine: str, said: dict[str, Any]) -> None:
    """Let the demo's shop say this of this machine."""
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        value = {**(store.shop.item("machine", machine) or {}), **said}
        store.shop.put("machine", machine, value)
        change(store, "machine.changed", SERVER, machine, None, {"value": on_ledger(value)}, now())


def answered_at(mill: Mill, axis: str) -> str:
    """Touch a face; the position on the machine page at which the probe answered. The row stays as it was."""
    mill.touch(axis)
    kept = mill.mill.state.answered
    assert kept is not None
    return mill.text(kept.page_nm)
