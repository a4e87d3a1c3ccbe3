"""What somebody answers to a step: the event that closes it, from what the machine shows.

The demo's past, the tests' walks and the walks with planted mistakes answer through here, so that all of them
go through the events that a real tablet sends, and a new kind of step is answered in one place.

Rules of this module:
- What is read off the machine comes from a `Control`: a simulated mill with somebody at it, or plain numbers.
- What was typed is worked out as the tablet works it out, from the sheet alone.
- A comparison is met as the list says: read again where it asks, touch again once (or, for whoever is in a
  hurry, only where nothing else is left), then ask; what stays past the stop line without the lead's word is
  given up, and so is a face before which a search found nothing twice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from webapp.demo.mill import AXES, Values
from webapp.domain.evidence.folded_setup import Folded
from webapp.domain.evidence.for_whom import may_stand_beside
from webapp.domain.evidence.written_sheet import StepOnSheet, UsualOnSheet, WrittenSheet
from webapp.domain.plain.lengths import format_length
from webapp.domain.touch.compare import (
    compared_on_sheet,
    display_of,
    same_tool,
    slot_length_nm,
    slot_on_sheet,
    touch_length_nm,
    verdict_on,
)
from webapp.domain.touch.square import error_over_jaw_nm

Answer = tuple[str, dict[str, Any]]
READ_AGAIN = "setup.compare_needs_reading"
NEEDS_LEAD = "setup.compare_needs_lead"
SEARCH_NEEDS_LEAD = "setup.search_needs_lead"
WHOSE_LABEL, SEVERAL_ROWS = "setup.copy_whose_label", "setup.copy_needs_question"


class Control(Protocol):
    """What a walk does and reads at the machine. Lengths in whole nanometres."""

    def act(self, step: StepOnSheet) -> str | None:
        """Do what a step without a value asks;
        the choice that fits what is seen, None for the one that closes.
        """

    def tool(self, expected: str) -> str:
        """Call this tool; the number that the control shows."""

    def label(self, own: str) -> str:
        """Select the own slot; the label that the control shows."""

    def row_nm(self, label: str) -> Values:
        """The three values beside that label, as the person reads them."""

    def label_beside(self, label: str) -> str:
        """The label that stands beside the values just read, looked at once more."""

    def cleared_nm(self, label: str) -> Values:
        """The same after the row was set to zero."""

    def touched_nm(self, axis: str) -> int:
        """Run the search that was set; the value that the person reads then."""

    def answered_nm(self, axis: str) -> int:
        """Run it where a person writes the slot; the position that the control keeps of the touch."""

    def entered_nm(self, axis: str, surface_nm: int) -> int:
        """Enter this surface into the row; the value that the person reads there then."""

    def read_again_nm(self, axis: str) -> int:
        """The same value read a second time."""


class StepAnswers:
    """Answers for one person on one sheet."""

    def __init__(
        self,
        sheet: WrittenSheet,
        person: str,
        control: Control,
        new_id: Callable[[], str],
        *,
        touches_again: bool = True,
    ) -> None:
        self.sheet, self.person, self.control, self._new_id = sheet, person, control, new_id
        self.touches = dict.fromkeys(AXES, 0)
        self._touches_again = touches_again

    def answer(self, step: StepOnSheet, state: Folded, at_utc: str) -> Answer:
        """The type of the event that answers this step, and its data."""
        if state["beside_waits_for"]:
            return "beside.named", {"who": may_stand_beside(self.sheet, step, self.person)[0]["id"]}
        if _waits(state) == SEARCH_NEEDS_LEAD:
            return "axis.given_up", {"axis": step["axis"]}
        make = getattr(self, f"_{step['kind']}", None)
        if make is not None:
            return make(step, state)  # type: ignore[no-any-return]
        if step["kind"] == "slot":
            return self._own_slot(at_utc)
        return self._done(step)

    def _done(self, step: StepOnSheet) -> Answer:
        """A confirmation, one answer out of some, a way over or down, a search that is set."""
        closing = [choice["id"] for choice in step["choices"] if choice.get("closes", True)]
        chosen = self.control.act(step) or (closing[0] if closing else "done")
        return "step.done", {"answer": chosen}

    def _checks(self, step: StepOnSheet, _: Folded) -> Answer:
        self.control.act(step)
        return "checks.ticked", {"ticked": [check["id"] for check in step.get("checks", ())]}

    def _caution(self, step: StepOnSheet, _: Folded) -> Answer:
        self.control.act(step)
        return "caution.read", {"caution": step["caution"]["id"] if step["caution"] else ""}

    def _board(self, step: StepOnSheet, _: Folded) -> Answer:
        return "board.checked", {"found": self.control.act(step) or "clear", "text": ""}

    def _tool_in(self, _step: StepOnSheet, _: Folded) -> Answer:
        return self._tool(self.sheet["machine"]["probe_tool"])

    def _tool_out(self, _step: StepOnSheet, _: Folded) -> Answer:
        return self._tool(self.sheet["machine"]["parking_tool"])

    def _tool(self, expected: str) -> Answer:
        typed = self.control.tool(expected)
        return "tool.read", {"typed": typed, "matches": same_tool(typed, expected)}

    @property
    def own_label(self) -> str:
        """The label of the person's own slot on this sheet."""
        return next(row["label"] for row in self.sheet["slots"] if row["owner_id"] == self.person)

    def _own_slot(self, at_utc: str) -> Answer:
        typed = self.control.label(self.own_label)
        found = slot_on_sheet(typed, self.sheet, self.person, at_utc)
        return "slot.read", {"typed": typed, "outcome": found.outcome}

    def _copy(self, _: StepOnSheet, state: Folded) -> Answer:
        label = state["slot"] or ""
        if _waits(state) == WHOSE_LABEL:
            return "label.read", {"typed": self.control.label_beside(label)}
        if _waits(state) == SEVERAL_ROWS:
            text = "More than one row shows these values. Which is mine?"
            return "question.put", {"question": self._new_id(), "axis": None, "text": text}
        data = self._values(self.control.row_nm(label))
        compared = compared_on_sheet(data["values_nm"], label, self.sheet)
        return "values.copied", {**data, "compared": dict(compared)}

    def _clear(self, _: StepOnSheet, state: Folded) -> Answer:
        return "slot.cleared", self._values(self.control.cleared_nm(state["slot"] or ""))

    def _zero(self, _: StepOnSheet, state: Folded) -> Answer:
        label = self.control.label(state["slot"] or "")
        return "slot.zeroed", {"label": label, **self._values(self.control.cleared_nm(state["slot"] or ""))}

    def _values(self, shown_nm: Values) -> dict[str, Any]:
        typed = {axis: self.typed(shown_nm[axis]) for axis in AXES}
        values_nm = {axis: slot_length_nm(typed[axis], self.sheet["machine"], axis) for axis in AXES}
        return {"typed": typed, "values_nm": values_nm}

    def _touch(self, step: StepOnSheet, state: Folded) -> Answer:
        axis = step["axis"] or ""
        to_enter_nm = state["to_enter_nm"]
        if self._by_hand_nm(axis) is not None and to_enter_nm is None:
            return "trigger.read", self.trigger(axis, self.control.answered_nm(axis))
        self.touches[axis] += 1
        if to_enter_nm is not None:
            return "touch.entered", self.reading(axis, self.control.entered_nm(axis, to_enter_nm))
        return "touch.entered", self.reading(axis, self.control.touched_nm(axis))

    def trigger(self, axis: str, answered_nm: int) -> dict[str, Any]:
        """What the position that the control kept comes to, as the tablet works it out."""
        typed, added_nm = self.typed(answered_nm), self._by_hand_nm(axis) or 0
        value_nm = touch_length_nm(typed, self.sheet["machine"], axis)
        return {"axis": axis, "typed": typed, "value_nm": value_nm, "surface_nm": value_nm + added_nm}

    def _by_hand_nm(self, axis: str) -> int | None:
        """What the sheet adds to a trigger position, None where the control writes the slot."""
        return next(one.get("by_hand_nm") for one in self.sheet["axes"] if one["axis"] == axis)

    def reading(self, axis: str, shown_nm: int) -> dict[str, Any]:
        """What a touch's value comes to on this sheet, as the tablet works it out."""
        typed = self.typed(shown_nm)
        value_nm = touch_length_nm(typed, self.sheet["machine"], axis)
        verdict, difference_nm = verdict_on(value_nm, self._usual(axis))
        data = {"axis": axis, "typed": typed, "value_nm": value_nm}
        return {**data, "verdict": verdict, "difference_nm": difference_nm}

    def _square(self, step: StepOnSheet, _: Folded) -> Answer:
        axis, plan = step["axis"] or "", self.sheet.get("square")
        if plan is None:
            raise LookupError("this sheet has no look for square")
        touched = self.control.touched_nm if self._by_hand_nm(axis) is None else self.control.answered_nm
        typed = [self.typed(touched(axis)) for _ in range(2)]
        values_nm = [touch_length_nm(one, self.sheet["machine"], axis) for one in typed]
        error_nm, told = error_over_jaw_nm(values_nm, plan)
        found = {"apart_nm": plan["apart_nm"], "error_nm": error_nm, "told": told}
        return "square.entered", {"axis": axis, "typed": typed, "values_nm": values_nm, **found}

    def _compare(self, step: StepOnSheet, state: Folded) -> Answer:
        axis, waits = step["axis"] or "", _waits(state)
        if waits == READ_AGAIN:
            return "touch.read_again", self.reading(axis, self.control.read_again_nm(axis))
        last = [touch for touch in state["touches"] if touch["axis"] == axis][-1]
        is_odd = last["verdict"] != "agrees" and last["difference_nm"] is not None
        may_touch = state["may_touch_again"]
        if self._touches_again and is_odd and self.touches[axis] < 2 and may_touch:
            return "touch.repeated", {"axis": axis}
        if state["keep_because"] is not None:
            return "touch.kept", {"axis": axis, "because": state["keep_because"]}
        asked = any(question["axis"] == axis for question in state["questions"])
        if waits != NEEDS_LEAD or not (asked or self._touches_again):
            return "question.put", {"question": self._new_id(), "axis": axis, "text": self.question(axis)}
        return "touch.repeated" if may_touch else "axis.given_up", {"axis": axis}

    def question(self, axis: str) -> str:
        """What is asked where a value differs."""
        return f"{axis} differs from the usual, twice the same. May I go on?"

    def _finish(self, _: StepOnSheet, state: Folded) -> Answer:
        return "setup.finished", {"outcome": "complete" if state["broken_off"] is None else "broken_off"}

    def _sign(self, _step: StepOnSheet, _: Folded) -> Answer:
        return "setup.signed", {"meaning": "performed"}

    def typed(self, value_nm: int) -> str:
        """A value as a person types it off the control."""
        text = format_length(value_nm, display_of(self.sheet["machine"]))
        return text.replace("−", "-").replace("+", "")

    def _usual(self, axis: str) -> UsualOnSheet:
        return next(row["usual"] for row in self.sheet["axes"] if row["axis"] == axis)


def _waits(state: Folded) -> str | None:
    """The code of what the open step waits for."""
    return state["blocked"]["code"] if state["blocked"] else None
