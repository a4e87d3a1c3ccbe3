"""A setup in one look: where it was made, the newest touch of each axis beside its lines, what may be behind
an odd one. Whether anything about it asks for more than a look says `domain.setup.oddities`.
"""

from __future__ import annotations

from typing import TypedDict

from webapp.domain.causes.of_setup import causes_of_touch
from webapp.domain.evidence.folded_setup import Folded, Touch
from webapp.domain.evidence.written_sheet import Said, WrittenSheet

MOST_CAUSES = 2


class AxisGlance(TypedDict):
    """One axis of a setup: its newest touch (None before it), and its lines in nm; None without a usual."""

    axis: str
    touch: Touch | None
    ask_nm: int | None
    stop_nm: int | None


class Glance(TypedDict):
    """A setup in one look; `causes` are the likeliest of its newest odd touches."""

    machine_name: str
    fixture_name: str
    slot: str | None
    unit: str
    decimals: int
    axes: list[AxisGlance]
    causes: list[Said]


def glance(sheet: WrittenSheet, state: Folded) -> Glance:
    """The look of a folded setup."""
    machine, newest = sheet["machine"], {touch["axis"]: touch for touch in state["touches"]}
    return {
        "machine_name": machine["name"],
        "fixture_name": sheet["fixture"]["name"],
        "slot": state["slot"],
        "unit": machine["unit"],
        "decimals": machine["decimals"],
        "axes": [
            {
                "axis": axis["axis"],
                "touch": newest.get(axis["axis"]),
                "ask_nm": axis["usual"]["ask_nm"],
                "stop_nm": axis["usual"]["stop_nm"],
            }
            for axis in sheet["axes"]
        ],
        "causes": _causes(sheet, state),
    }


def _causes(sheet: WrittenSheet, state: Folded) -> list[Said]:
    last = {touch["axis"]: place for place, touch in enumerate(state["touches"])}
    found = [causes_of_touch(sheet, state, place) for place in last.values()]
    return [one.says for causes in found for one in (causes or ())[:1]][:MOST_CAUSES]
