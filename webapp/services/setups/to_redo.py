"""Which slots of a machine hold a setup that a lead wants done again.

Rules: a slot is looked at by the last setup that was seen in it, as for half-set ones;
whoever sets it anew takes the mark away. The state is the fold's, as everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.services.setups.stored_setups import fold_stored

if TYPE_CHECKING:
    from webapp.store import Store

OVER = ("finished", "signed", "not_accepted")


@dataclass(frozen=True)
class SlotToRedo:
    """A slot to be set again: whose setup it was, why (touch_again, redo, break_off,
    not_accepted), about which axis (None: all of it), and the lead's words.
    """

    label: str
    person: str
    why: str
    axis: str | None
    reason: str
    by_name: str
    at_utc: str


def slots_to_redo(store: Store, machine_id: str, names: dict[str, str]) -> tuple[SlotToRedo, ...]:
    """The slots of a machine that are to be set again, by label, inside the caller's transaction."""
    last = {row["label"]: row["last_setup"] for row in store.shop.slots(machine_id) if row["last_setup"]}
    setups = store.setups.setups_by_id(set(last.values()))
    found = []
    for label, setup_id in sorted(last.items()):
        if setups[setup_id]["status"] not in OVER:
            continue
        redo = fold_stored(store, setup_id)["redo"]
        if redo is not None:
            said = (
                redo["why"],
                redo["axis"],
                redo["reason"],
                names.get(redo["by"], redo["by"]),
                redo["at_utc"],
            )
            found.append(SlotToRedo(label, setups[setup_id]["person"], *said))
    return tuple(found)
