"""The old values of the slot, copied down before it is cleared, and what they tell.

Rules of this module (the look into the other rows from the sheet's second format on):
- Values that are not a cleared row's (zeros, or what the lead parks a row at), are not what the own row was
  last seen with and are exactly one other row's may have been read in the wrong row: nothing is cleared
  before the label beside them was typed, and nothing names the row before.
- Where the own row fits as well, or several others do, a question to the lead comes first.
- The own label beside another row's values is a copied row: the lead hears of it, and it goes on.
  Any other label leads back to the slot, with nothing changed.
- A row that was cleared by mistake is put back from what was copied:
  its label typed without being shown, every value read back, with the lead, whose PIN is sealed beside it.
- `static/js/rules/setup/touching/copying.js` does the same in the browser.
"""

from __future__ import annotations

from webapp.domain.evidence.event_kinds import (
    AXIS_NAMES,
    Answer,
    Event,
    LabelRead,
    RowPutBack,
    SlotZeroed,
    ValuesCopied,
)
from webapp.domain.evidence.folded_setup import Copied
from webapp.domain.setup.state import AnyEvent, Refused, SetupState
from webapp.domain.setup.steps import stays_uncleared, typed_values
from webapp.domain.setup.trouble import lifts
from webapp.domain.touch.compare import compared_on_sheet, label_on_sheet, owner_on_sheet, rows_with_values


def copy_values(state: SetupState, event: Answer[ValuesCopied]) -> None:
    """Values.copied: the three old values, compared with what was last seen in the slot and in the other
    rows.
    """
    values_nm = typed_values(state, event)
    compared = compared_on_sheet(values_nm, state.slot, state.sheet)
    for axis in AXIS_NAMES:
        claimed = event["data"]["compared"][axis]
        if claimed != compared[axis]:
            state.note(event, "setup.compared_differs", axis=axis, claimed=claimed, found=compared[axis])
    state.copy_waits = None
    copied: Copied = {"values_nm": values_nm, "compared": compared, "event": event["id"]}
    if state.stops_are_the_leads and _stays(state, event, copied):
        return
    state.copied = copied
    state.close(event["step"], event)


def _stays(state: SetupState, event: AnyEvent, copied: Copied) -> bool:
    """Tell whether the values wait for a label or a question; else note what is odd about them."""
    values_nm, kinds = copied["values_nm"], copied["compared"].values()
    others = rows_with_values(values_nm, state.slot, state.sheet)
    if len(others) == 1 and any(kind != "same" for kind in kinds):
        state.copy_waits = copied, others[0]
        state.stay("setup.copy_whose_label")
        return True
    if others and not _asked_since_slot(state):
        state.stay("setup.copy_needs_question")
        return True
    own = [state.slot or ""]
    if others:
        state.remark("copy_fits_several", event, list(values_nm.values()), own + others)
    elif "changed" in kinds:
        state.remark("copy_changed", event, list(values_nm.values()), own)
    return False


def _asked_since_slot(state: SetupState) -> bool:
    return any(
        question["axis"] is None and state.question_order[question["question"]] > state.slot_read_at
        for question in state.questions
    )


def read_label(state: SetupState, event: Answer[LabelRead]) -> None:
    """Label.read: the label that stands beside the copied values."""
    if state.copy_waits is None:
        raise Refused("setup.no_label_asked")
    (copied, other), typed = state.copy_waits, event["data"]["typed"]
    state.copy_waits = None
    typed_nm = list(copied["values_nm"].values())
    if label_on_sheet(typed, state.sheet) == state.slot:
        state.remark("copied_row", event, typed_nm, [state.slot or "", other])
        state.copied = copied
        state.close(event["step"], event)
        return
    state.remark("anothers_row_read", event, typed_nm, [other, typed])
    for step_id, step in state.plan.items():
        if step["kind"] == "slot":
            state.open(step_id)
    state.stay("setup.copy_anothers", label=other, owner=owner_on_sheet(other, state.sheet), typed=typed)


def zero_row(state: SetupState, event: Answer[SlotZeroed]) -> None:
    """Slot.zeroed: the row of a setup that was broken off is cleared again, read back beside its label."""
    values_nm = typed_values(state, event)
    label = event["data"]["label"]
    if state.slot is None or label_on_sheet(label, state.sheet) != state.slot:
        state.stay("setup.zero_other_label", typed=label)
        return
    if stays_uncleared(state, event, values_nm):
        return
    state.zeroed = {"slot": state.slot, "event": event["id"], "at_utc": event["at_utc"]}
    state.close(event["step"], event)


def put_back(state: SetupState, event: Event[RowPutBack]) -> None:
    """Row.put_back: another's row holds again what was copied from it; the own slot is begun anew."""
    if state.copied is None:
        raise Refused("setup.nothing_to_put_back")
    data, values_nm = event["data"], typed_values(state, event)
    label = label_on_sheet(data["label"], state.sheet)
    if label is None or label == state.slot:
        state.stay("setup.put_back_label", typed=data["label"])
        return
    for axis in AXIS_NAMES:
        if values_nm[axis] != state.copied["values_nm"][axis]:
            state.stay("setup.put_back_value", axis=axis, typed=data["typed"][axis])
            return
    state.put_backs.append({
        "label": label,
        "values_nm": values_nm,
        "lead": data["lead"],
        "event": event["id"],
        "at_utc": event["at_utc"],
        "state": "on_device",
        "refused_because": None,
        "tries_left": None,
    })  # fmt: skip
    lifts.settle(state)
    state.remark("row_put_back", event, list(values_nm.values()), [label], data["lead"])
    _go_on_after_put_back(state, event)


def _go_on_after_put_back(state: SetupState, event: AnyEvent) -> None:
    """Begin anew in the own slot;
    where the setup is broken off, no row of its own is left to be set to zero.
    """
    for step_id, step in state.plan.items():
        is_open = step_id in state.steps and state.steps[step_id]["state"] == "open"
        if state.broken_off is not None and step["kind"] == "zero" and is_open:
            state.close(step_id, event)
        in_slot = step["kind"] in {"slot", "copy", "clear"} or step["axis"] is not None
        if state.broken_off is None and in_slot and state.is_done(step_id):
            state.open(step_id)
