"""Slots that a setup left half set: its old values are gone or may be, and not every new one was kept.

Rules of this module:
- From the moment the old values are copied down the slot is at risk:
  the next thing done at the control is to clear it.
- A row that was set to zero again holds no value of any axis.
- A slot is whole again when each axis that the sheet has was touched and its value kept.
- Nobody but the control knows what really stands in it;
  so no program is to be run with it, and the next setup in it starts with copying down what is there.
"""

from __future__ import annotations

from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.written_sheet import WrittenSheet


def missing_axes(sheet: WrittenSheet, state: Folded) -> tuple[str, ...]:
    """Return the axes without a kept value in the slot of a folded setup;
    none where the slot was never at risk.
    """
    if state["slot"] is None or state["copied"] is None:
        return ()
    gone = state["zeroed"] is not None
    return tuple(one["axis"] for one in sheet["axes"] if gone or state["values_nm"][one["axis"]] is None)


def not_usable_axes(state: Folded) -> tuple[str, ...]:
    """Return the axes for which a setup ended as not usable; none where it did not."""
    return () if state["not_usable"] is None else tuple(state["not_usable"]["axes"])
