"""The old values of the slot, copied down before it is cleared, and what they tell.

Rules of this module (the look into the other rows from the sheet's second format on):
- Values that are not all zero, are not what the own row was last seen with and are exactly one other row's may have
  been read in the wrong row: nothing is cleared before the label beside them was typed, and nothing names the row
  before.
- Where the own row fits as well, or several others do, a question to the lead comes first.
- The own label beside another row's values is a copied row: the lead hears of it, and it goes on. Any other label
  leads back to the slot, with nothing changed.
- A row that was cleared by mistake is put back from what was copied: its label typed without being shown, every value
  read back, with the lead, whose PIN is sealed beside it.
- `static/js/rules/setup/copying.js` does the same in the browser.
"""

from __future__ import annotations

from webapp.domain.setup import lifts
from webapp.domain.setup.state import Event, Refused, SetupState
from webapp.domain.setup.steps import typed_values
from webapp.domain.touch.compare import compared_on_sheet, label_on_sheet, owner_on_sheet, rows_with_values


def copy_values(state: SetupState, event: Event) -> None:
    """Values.copied: the three old values, compared with what was last seen in the slot and in the other rows."""
    values_nm = typed_values(state, event)
    compared = compared_on_sheet(values_nm, state.slot, state.sheet)
    for axis, found in compared.items():
        claimed = event["data"]["compared"][axis]
        if claimed != found:
            state.note(event, "setup.compared_differs", axis=axis, claimed=claimed, found=found)
    state.copy_waits = None
    copied = {"values_nm": values_nm, "compared": compared, "event": event["id"]}
    if state.stops_are_the_leads:
        others = rows_with_values(values_nm, state.slot, state.sheet)
        is_own = all(found == "same" for found in compared.values())
        if len(others) == 1 and not is_own:
            state.copy_waits = copied | {"other": others[0]}
            state.stay("setup.copy_whose_label")
            return
        if others and not _asked_since_slot(state):
            state.stay("setup.copy_needs_question")
            return
        _remark_copy(state, event, values_nm, compared, others)
    state.copied = copied
    state.close(event["step"], event)


def _remark_copy(
    state: SetupState, event: Event, values_nm: dict[str, int], compared: dict[str, str], others: list[str]
) -> None:
    typed_nm = list(values_nm.values())
    if others:
        state.remark("copy_fits_several", event, values_nm=typed_nm, labels=[state.slot or "", *others])
    elif "changed" in compared.values():
        state.remark("copy_changed", event, values_nm=typed_nm, labels=[state.slot or ""])


def _asked_since_slot(state: SetupState) -> bool:
    return any(
        question["axis"] is None and state.question_order[question["question"]] > state.slot_read_at
        for question in state.questions
    )


def read_label(state: SetupState, event: Event) -> None:
    """Label.read: the label that stands beside the copied values."""
    waits, typed = state.copy_waits, event["data"]["typed"]
    if waits is None:
        raise Refused("setup.no_label_asked")
    other = waits["other"]
    copied = {name: waits[name] for name in ("values_nm", "compared", "event")}
    state.copy_waits = None
    typed_nm = list(copied["values_nm"].values())
    if label_on_sheet(typed, state.sheet) == state.slot:
        state.remark("copied_row", event, values_nm=typed_nm, labels=[state.slot or "", other])
        state.copied = copied
        state.close(event["step"], event)
        return
    state.remark("anothers_row_read", event, values_nm=typed_nm, labels=[other, typed])
    for step_id, step in state.plan.items():
        if step["kind"] == "slot":
            state.open(step_id)
    state.stay("setup.copy_anothers", label=other, owner=owner_on_sheet(other, state.sheet), typed=typed)


def zero_row(state: SetupState, event: Event) -> None:
    """Slot.zeroed: the row of a setup that was broken off stands at zero again, read back beside its label."""
    values_nm = typed_values(state, event)
    label = event["data"]["label"]
    if state.slot is None or label_on_sheet(label, state.sheet) != state.slot:
        state.stay("setup.zero_other_label", typed=label)
        return
    left = next((axis for axis, value_nm in values_nm.items() if value_nm != 0), None)
    if left is not None:
        state.stay("setup.slot_not_zero", axis=left, typed=event["data"]["typed"][left])
        return
    state.zeroed = {"slot": state.slot, "event": event["id"], "at_utc": event["at_utc"]}
    state.close(event["step"], event)


def put_back(state: SetupState, event: Event) -> None:
    """Row.put_back: another's row holds again what was copied from it; the own slot is begun anew."""
    if state.copied is None:
        raise Refused("setup.nothing_to_put_back")
    values_nm, typed = typed_values(state, event), event["data"]["label"]
    label = label_on_sheet(typed, state.sheet)
    if label is None or label == state.slot:
        state.stay("setup.put_back_label", typed=typed)
        return
    for axis, value_nm in values_nm.items():
        if value_nm != state.copied["values_nm"][axis]:
            state.stay("setup.put_back_value", axis=axis, typed=event["data"]["typed"][axis])
            return
    state.put_backs.append({
        "label": label,
        "values_nm": values_nm,
        "lead": event["data"]["lead"],
        **lifts.standing(state, event),
    })  # fmt: skip
    state.remark("row_put_back", event, values_nm=list(values_nm.values()), labels=[label],
                 by=event["data"]["lead"])  # fmt: skip
    _go_on_after_put_back(state, event)


def _go_on_after_put_back(state: SetupState, event: Event) -> None:
    """Begin anew in the own slot; where the setup is broken off, no row of its own is left to be set to zero."""
    for step_id, step in state.plan.items():
        here = state.steps.get(step_id, {"state": None})
        if state.broken_off is not None and step["kind"] == "zero" and here["state"] == "open":
            state.close(step_id, event)
        in_slot = step["kind"] in {"slot", "copy", "clear"} or step["axis"] is not None
        if state.broken_off is None and in_slot and here["state"] == "done":
            state.open(step_id)
