"""A mill of the demo whose control writes no touch into the slot:
a person enters it, from where the probe answered.
"""

from __future__ import annotations

from tests.kit.demo import Demo, Mill, now, settings_of
from webapp.commands.opening import opened
from webapp.services.evidence.ledger import SERVER, change

BY_HAND = {"slot_written": "by_hand"}


def make_by_hand(demo: Demo, machine: str) -> None:
    """Let the demo's shop say of this machine that values are entered by hand."""
    with opened(settings_of(demo.folder)) as (store, _), store.writing():
        value = store.shop.item("machine", machine) or {}
        store.shop.put("machine", machine, {**value, **BY_HAND})
        change(store, "machine.changed", SERVER, machine, None, BY_HAND, now())


def answered_at(mill: Mill, axis: str) -> str:
    """Touch a face; the position on the machine page at which the probe answered. The row stays as it was.

    The simulated control writes what it found; it has added the ball's radius along the search to the place
    of the spindle, on Z it has taken the length off. That is taken out again here, and its page counts Z by
    its own point.
    """
    simulated = mill.mill
    before = simulated.shown_nm()[axis]
    mill.touch(axis)
    found = simulated.shown_nm()[axis]
    simulated.set_value(simulated.selected_slot, axis, before)
    if axis != "Z":
        return mill.text(found + simulated.truth.normal[axis] * simulated.ball_radius_nm)
    above = {
        "gauge_line": simulated.probing().length_told_nm,
        "ball_centre": simulated.ball_radius_nm,
        "ball_underside": 0,
    }
    return mill.text(found + above[simulated.build.z_reads])
