"""What a tablet compares with its sheet, decided again here from the sheet's plain data.

Rules of this module:
- The sheet carries the limits; nothing here recomputes a statistic. A value on a line is inside.
- A value's limits are the axis' travel. For copying and clearing, zero belongs to them too.
- Tool numbers are compared as whole numbers: a leading T, blanks and leading zeros do not count.
- `static/js/rules/touch/compare.js` does the same in the browser.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from webapp.domain.evidence.event_kinds import AXIS_NAMES, AxisName
from webapp.domain.evidence.written_sheet import MachineOnSheet, SlotOnSheet, UsualOnSheet, WrittenSheet
from webapp.domain.plain.lengths import Display, Unit, parse_length
from webapp.domain.shop.errors import LabelAmbiguousError, LabelEmptyError, SlotError
from webapp.domain.shop.slots import SlotFamily, SlotRow, match_slot, normalise_label

_TOOL = re.compile(r"[Tt]?[ \t]*0*([0-9]+)")


def display_of(machine: MachineOnSheet) -> Display:
    """Return how this machine's control shows lengths."""
    return Display(Unit(machine["unit"]), machine["decimals"])


def touch_length_nm(typed: str, machine: MachineOnSheet, axis: str) -> int:
    """Return the typed value of a touch, inside the axis' travel. Raises a `LengthError`."""
    low_nm, high_nm = machine["travel_nm"][axis]
    return parse_length(typed, display_of(machine), low_nm, high_nm)


def slot_length_nm(typed: str, machine: MachineOnSheet, axis: str) -> int:
    """Return the typed value of a slot, inside the axis' travel or zero. Raises a `LengthError`."""
    low_nm, high_nm = machine["travel_nm"][axis]
    return parse_length(typed, display_of(machine), min(low_nm, 0), max(high_nm, 0))


def verdict_on(value_nm: int, usual: UsualOnSheet) -> tuple[str, int | None]:
    """Return the verdict and the signed difference from the usual in nanometres, None without a usual yet."""
    centre_nm, ask_nm, stop_nm = usual["centre_nm"], usual["ask_nm"], usual["stop_nm"]
    if centre_nm is None or ask_nm is None or stop_nm is None:
        return "ask", None
    difference_nm = value_nm - centre_nm
    if abs(difference_nm) <= ask_nm:
        return "agrees", difference_nm
    is_stop = abs(difference_nm) > stop_nm or any(
        low <= value_nm <= high for low, high in usual.get("early_stops_nm", ())
    )
    return ("stop" if is_stop else "ask"), difference_nm


def repeat_agrees(value_nm: int, before_nm: int, usual: UsualOnSheet) -> bool:
    """Tell whether two touches differ by no more than the ask line; without one they never agree."""
    return usual["ask_nm"] is not None and abs(value_nm - before_nm) <= usual["ask_nm"]


def same_tool(typed: str, expected: str) -> bool:
    """Tell whether the typed tool number is the expected one."""
    one, other = (_TOOL.fullmatch(text.strip(" \t")) for text in (typed, expected))
    return one is not None and other is not None and one.group(1) == other.group(1)


def parked_nm(sheet: WrittenSheet, axis: str) -> int:
    """Return what an axis of a cleared row holds: zero, or the lead's parked value."""
    return sheet["machine"].get("parked_nm", {}).get(axis, 0)


def is_parked(sheet: WrittenSheet) -> bool:
    """Tell whether the lead parks the machine's rows at something else than zeros."""
    return any(sheet["machine"].get("parked_nm", {}).values())


def not_cleared(values_nm: Mapping[str, int], sheet: WrittenSheet) -> AxisName | None:
    """Return the first axis that does not hold what a cleared row holds, None where all of them do."""
    return next((axis for axis in AXIS_NAMES if values_nm[axis] != parked_nm(sheet, axis)), None)


@dataclass(frozen=True)
class SelectedSlot:
    """What the selected slot is to the person, its label (None: no slot of the machine), its owner's name."""

    outcome: str
    label: str | None
    owner_name: str


def slot_on_sheet(typed: str, sheet: WrittenSheet, person: str, at_utc: str) -> SelectedSlot:
    """Return whose the typed slot is, by the sheet's copy of the register;
    a label that fits two is unknown.
    """
    family = SlotFamily(tuple(sheet["machine"]["slot_family"]))
    rows = [_row(row) for row in sheet["slots"]]
    try:
        match = match_slot(typed, family, rows, person, datetime.fromisoformat(at_utc))
    except (LabelEmptyError, LabelAmbiguousError):
        return SelectedSlot("unknown", None, "")
    return SelectedSlot(match.outcome, match.label, (match.row.owner_name or "") if match.row else "")


def label_on_sheet(typed: str, sheet: WrittenSheet) -> str | None:
    """Return the machine's own spelling of a typed label, None where it is no label of it, or two."""
    try:
        return normalise_label(typed, SlotFamily(tuple(sheet["machine"]["slot_family"])))
    except SlotError:
        return None


def owner_on_sheet(label: str, sheet: WrittenSheet) -> str:
    """Return the name of a row's owner by the sheet's register; empty where it has none."""
    row = next((row for row in sheet["slots"] if row["label"] == label), None)
    return (row["owner_name"] or "") if row else ""


def rows_with_values(values_nm: Mapping[str, int], label: str | None, sheet: WrittenSheet) -> list[str]:
    """Return the labels of other rows that were last seen with exactly these values;
    none for a cleared row's.

    Exactly: each within half a step of the display.
    """
    if _was_cleared(values_nm, sheet):
        return []
    resolution_nm = display_of(sheet["machine"]).resolution_nm
    return [
        row["label"]
        for row in sheet["slots"]
        if row["label"] != label
        and row["last_values_nm"] is not None
        and all(
            _compared(value_nm, row["last_values_nm"].get(axis), resolution_nm) == "same"
            for axis, value_nm in values_nm.items()
        )
    ]


def _was_cleared(values_nm: Mapping[str, int], sheet: WrittenSheet) -> bool:
    """Tell whether a row holds zeros, but for axes that are parked:
    at whatever value they were parked when.
    """
    return all(value_nm == 0 or parked_nm(sheet, axis) != 0 for axis, value_nm in values_nm.items())


def _row(row: SlotOnSheet) -> SlotRow:
    return SlotRow(
        label=row["label"],
        kind=row["kind"],
        owner_id=row["owner_id"],
        owner_name=row["owner_name"],
        until_utc=None if row["until_utc"] is None else datetime.fromisoformat(row["until_utc"]),
        held_back=row["held_back"],
    )


def compared_on_sheet(values_nm: Mapping[str, int], label: str | None, sheet: WrittenSheet) -> dict[str, str]:
    """Return for each axis `same`,
    `changed` or `not_seen_before` against what the slot was last seen with.
    """
    row = next((row for row in sheet["slots"] if row["label"] == label), None)
    last_nm = row["last_values_nm"] if row else None
    resolution_nm = display_of(sheet["machine"]).resolution_nm
    return {
        axis: _compared(value_nm, (last_nm or {}).get(axis), resolution_nm)
        for axis, value_nm in values_nm.items()
    }


def _compared(value_nm: int, last_nm: int | None, resolution_nm: int) -> str:
    if last_nm is None:
        return "not_seen_before"
    return "same" if 2 * abs(value_nm - last_nm) <= resolution_nm else "changed"
