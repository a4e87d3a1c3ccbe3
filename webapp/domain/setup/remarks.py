"""What the lead is to see before signing off, gathered from a folded setup.

Rules of this module:
- A remark is a fact with the values, labels and people that it is about; nothing is judged here.
  Its words stand in the catalogue under `remark.` and its kind.
- What is seen in one event is noted as it happens, by what takes that event in. Gathered here: taken_over,
  handed_over and, by axis, two_readings (all that was read of one touch),
  entered_otherwise (the surface that was to be entered by hand, and what was read back), stop_then_agrees
  (every touch, the one that stands last), stop_kept (with the lead's word), not_usable.
- `static/js/rules/setup/remarks.js` does the same in the browser.
"""

from __future__ import annotations

from collections.abc import Callable

from webapp.domain.evidence.folded_setup import Remark, Touch
from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.setup.state import SetupState, remark


def remarks_of(state: SetupState) -> list[Remark]:
    """Return all remarks: those noted as they happened, then those of the axes in the sheet's order."""
    found = [*_handing(state), *state.remarks]
    # What was sealed under an earlier sheet says what it said.
    for axis in state.axes if state.stops_are_the_leads else ():
        found += _readings(state, axis)
        found += _entered(state, axis)
        found += _stops(state, axis)
    return found


def _handing(state: SetupState) -> list[Remark]:
    taken, broken = state.taken_over, state.broken_off
    found = []
    if taken is not None:
        found.append(remark("taken_over", taken["event"], taken["at_utc"], by=taken["person"]))
    if broken is not None and "to" in broken:
        found.append(remark("handed_over", broken["event"], broken["at_utc"], by=broken["to"]))
    return found


def _readings(state: SetupState, axis: str) -> list[Remark]:
    searches: dict[int, list[Touch]] = {}
    for touch, note in zip(state.touches, state.touch_notes, strict=True):
        if touch["axis"] == axis:
            searches.setdefault(note.searched_at, []).append(touch)
    return [
        remark("two_readings", one[-1]["event"], one[-1]["at_utc"], axis=axis,
               values_nm=[touch["value_nm"] for touch in one])
        for one in searches.values()
        if len({touch["value_nm"] for touch in one}) > 1
    ]  # fmt: skip


def _entered(state: SetupState, axis: str) -> list[Remark]:
    """Each value that is another than the surface which was to be entered by hand: that surface first."""
    return [
        remark("entered_otherwise", touch["event"], touch["at_utc"], axis=axis,
               values_nm=[state.entered_otherwise[touch["event"]], touch["value_nm"]])
        for touch in state.touches
        if touch["axis"] == axis and touch["event"] in state.entered_otherwise
    ]  # fmt: skip


def _stops(state: SetupState, axis: str) -> list[Remark]:
    touches = [touch for touch in state.touches if touch["axis"] == axis]
    if not any(touch["verdict"] == "stop" for touch in touches):
        return []
    last, values_nm = touches[-1], [touch["value_nm"] for touch in touches]
    if axis in state.given_up:
        kind = "not_usable"
    elif last["kept"] and last["because"] == "lead":
        kind = "stop_kept"
    elif last["kept"]:
        kind = "stop_then_agrees"
    else:
        return []
    by = _lead_of(state, axis) if kind == "stop_kept" else None
    return [remark(kind, last["event"], last["at_utc"], axis=axis, values_nm=values_nm, by=by)]


def say_remark(one: Remark, display: Display, name_of: Callable[[str], str]) -> Finding:
    """Return the words of a remark; a value is written as the machine shows it."""
    values = [format_length(value_nm, display) for value_nm in one["values_nm"]]
    fields: Fields = {
        "axis": one["axis"] or "",
        "values": ", ".join(values),
        "slot": one["labels"][0] if one["labels"] else "",
        "others": ", ".join(one["labels"][1:]),
        "name": name_of(one["by"]) if one["by"] else "",
        "unit": display.unit.value,
    }
    return Finding(f"remark.{one['kind']}", fields)


def _lead_of(state: SetupState, axis: str) -> str | None:
    """Return who last said that the axis' value stands: by a verified PIN, else by an answer."""
    lifted = [lift["lead"] for lift in state.lifts if lift["axis"] == axis and lift["state"] == "verified"]
    said = [
        question["answer"]["by"]
        for question in state.questions
        if question["axis"] == axis and question["answer"] and question["answer"]["decision"] == "go_on"
    ]
    return next(iter((lifted or said)[-1:]), None)
