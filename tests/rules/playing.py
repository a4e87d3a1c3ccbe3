"""Plays a setup the way a tablet would, so that a scenario says only what is special about it.

A scenario's `play` is a list: a text "until STEP" lets a careful operator answer every step up to, not
including, STEP ("until end": all of them); an object is one event, with `type`, `data` and, where it is not
the current step, `step`. Whatever else an event carries can be replaced: `person`, `setup`, `sheet`,
`device`, `at_utc`, `id`.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from webapp.domain.evidence.for_whom import may_stand_beside
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.plain.lengths import format_length
from webapp.domain.setup.fold import Fold
from webapp.domain.touch.compare import display_of
from webapp.domain.touch.square import error_over_jaw_nm

SETUP = "3f0c9f7e-0000-4000-8000-000000000001"
DEVICE = "d" * 43
SHEET_HASH = "5" * 64
BEGUN = datetime(2026, 11, 25, 7, 30, tzinfo=UTC)
SECONDS_A_STEP = 20
# By the forward clock a step takes less, so that what was seen of the input holds for a whole walk.
FORWARD_MS_A_STEP = 2_000
# Where the vise sits when nothing is known of it yet.
UNKNOWN_NM = {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}

Plain = dict[str, Any]


def play(sheet: Plain, scenario: Plain) -> tuple[list[Plain], list[Plain]]:
    """The events and decisions of a scenario, events with ids and times by their place."""
    player = Player(sheet, scenario.get("person", "mara"))
    if scenario.get("start", True):
        player.add(
            {"type": "setup.started", "data": {"machine": sheet["machine"]["id"], "display": "standalone"}}
        )
    for line in scenario["play"]:
        if isinstance(line, str):
            player.until(line.removeprefix("until "))
        elif "decision" in line:
            player.decide(line)
        else:
            player.add(line)
    return player.events, player.decisions


class Player:
    """Events so far, and what they amount to."""

    def __init__(self, sheet: Plain, person: str) -> None:
        self.sheet, self.person = sheet, person
        self.events: list[Plain] = []
        self.decisions: list[Plain] = []
        self._fold = Fold(sheet)
        self.steps = planned_steps(sheet)

    @property
    def current(self) -> str | None:
        """The id of the step that is due."""
        return self._fold.current_step

    @property
    def waits_for_label(self) -> bool:
        """Whether copied values wait for the label beside them."""
        return self._fold.result()["copy_waits_for_label"]

    def add(self, line: Plain) -> None:
        """One event, at the current step where it names none."""
        place = len(self.events) + 1
        at_utc = (BEGUN + timedelta(seconds=place * SECONDS_A_STEP)).isoformat(timespec="milliseconds")
        step = None if line["type"] == "setup.started" else self._fold.current_step
        event = {
            "id": f"{place:064x}",
            "device": DEVICE,
            "setup": SETUP,
            "sheet": SHEET_HASH,
            "person": self.person,
            "elapsed_ms": place * FORWARD_MS_A_STEP,
            "at_utc": at_utc.replace("+00:00", "Z"),
            "step": step,
            "data": {},
        } | line
        self.events.append(event)
        self._fold.apply(event)

    def decide(self, line: Plain) -> None:
        """One decision of the server; `event_at` names an event by its place from the end."""
        data = dict(line.get("data", {}))
        if "event_at" in line:
            named = "worry" if line["decision"] == "worry.closed" else "event"
            data[named] = self.events[line["event_at"]]["id"]
        decision = {
            "domain": "zerokeep/change/1",
            "type": line["decision"],
            "at_utc": "2026-11-25T09:00:00.000Z",
            "by": line.get("by", "ines"),
            "subject": "",
            "setup": SETUP,
            "data": data,
        }
        self.decisions.append(decision)
        self._fold.decide(decision)

    def until(self, step_id: str) -> None:
        """Answer every step carefully until `step_id` is the current one, or all are done."""
        for _ in range(3 * len(self.steps)):
            current = self._fold.current_step
            if current in {None, step_id}:
                return
            self.add(self.careful(self.steps[current]))
        raise AssertionError(f"the careful operator never came to {step_id}")

    def careful(self, step: Plain) -> Plain:
        """What a careful operator answers to a step: the right slot, the usual value, nothing odd; who stands
        beside first, where the step asks.
        """
        if self._fold.result()["beside_waits_for"]:
            who = may_stand_beside(self.sheet, step, self.person)[0]["id"]
            return {"type": "beside.named", "data": {"who": who}}
        done = dict.fromkeys(("confirm", "jaw", "input", "over", "lower", "search"), "done")
        kind = {**done, "tool_in": "tool", "tool_out": "tool"}.get(step["kind"], step["kind"])
        answer: Plain = getattr(self, f"_{kind}")(step)
        return answer

    def _caution(self, step: Plain) -> Plain:
        return {"type": "caution.read", "data": {"caution": step["caution"]["id"]}}

    def _board(self, _step: Plain) -> Plain:
        return {"type": "board.checked", "data": {"found": "clear", "text": ""}}

    def _done(self, step: Plain) -> Plain:
        closing = [choice["id"] for choice in step["choices"] if choice["closes"]]
        return {"type": "step.done", "data": {"answer": closing[0] if closing else "done"}}

    def _checks(self, step: Plain) -> Plain:
        return {"type": "checks.ticked", "data": {"ticked": [check["id"] for check in step["checks"]]}}

    def _tool(self, step: Plain) -> Plain:
        tool = self.sheet["machine"]["probe_tool" if step["kind"] == "tool_in" else "parking_tool"]
        return {"type": "tool.read", "data": {"typed": tool, "matches": True}}

    def _slot(self, _step: Plain) -> Plain:
        return {"type": "slot.read", "data": {"typed": "G54", "outcome": "own"}}

    def _copy(self, _step: Plain) -> Plain:
        return {"type": "values.copied", "data": self.copied()}

    def _clear(self, _step: Plain) -> Plain:
        return {"type": "slot.cleared", "data": self._cleared()}

    def _cleared(self) -> Plain:
        values_nm = {axis: self.sheet["machine"].get("parked_nm", {}).get(axis, 0) for axis in "XYZ"}
        display = display_of(self.sheet["machine"])
        typed = {axis: format_length(nm, display) if nm else "0" for axis, nm in values_nm.items()}
        return {"typed": typed, "values_nm": values_nm}

    def _square(self, step: Plain) -> Plain:
        return {"type": "square.entered", "data": self.square(step["axis"], 0)}

    def _touch(self, step: Plain) -> Plain:
        return self.touched(step["axis"], 0)

    def touched(self, axis: str, off_nm: int) -> Plain:
        """What is typed at a touch: where the slot is written by hand, the trigger position first."""
        data = self.touch(axis, off_nm)
        by_hand_nm = self.by_hand_nm(axis)
        if by_hand_nm is None or self._fold.result()["to_enter_nm"] is not None:
            return {"type": "touch.entered", "data": data}
        trigger_nm = data["value_nm"] - by_hand_nm
        typed = format_length(trigger_nm, display_of(self.sheet["machine"]))
        read = {"typed": typed, "value_nm": trigger_nm, "surface_nm": data["value_nm"]}
        return {"type": "trigger.read", "data": {"axis": axis, **read}}

    def by_hand_nm(self, axis: str) -> int | None:
        """What the sheet adds to a trigger position, None where the control writes the slot."""
        return next((one.get("by_hand_nm") for one in self.sheet["axes"] if one["axis"] == axis), None)

    def _compare(self, step: Plain) -> Plain:
        result, axis = self._fold.result(), step["axis"]
        if result["keep_because"] is not None:
            return {"type": "touch.kept", "data": {"axis": axis, "because": result["keep_because"]}}
        waits = result["blocked"]["code"]
        if waits == "setup.compare_needs_reading":
            return {"type": "touch.read_again", "data": self.read_again(axis)}
        if waits == "setup.compare_needs_lead":
            again = result["may_touch_again"]
            return {"type": "touch.repeated" if again else "axis.given_up", "data": {"axis": axis}}
        number = f"9b2f8c1e-0000-4000-8000-{len(self.events):012x}"
        return {"type": "question.put", "data": {"question": number, "axis": axis, "text": "New?"}}

    def _zero(self, _step: Plain) -> Plain:
        return {"type": "slot.zeroed", "data": {"label": self._fold.result()["slot"], **self._cleared()}}

    def read_again(self, axis: str) -> Plain:
        """The last touch of the axis read a second time, as the same value."""
        last = [touch for touch in self._fold.result()["touches"] if touch["axis"] == axis][-1]
        return {name: last[name] for name in ("axis", "typed", "value_nm", "verdict", "difference_nm")}

    def _finish(self, _step: Plain) -> Plain:
        outcome = "broken_off" if self._fold.result()["broken_off"] else "complete"
        return {"type": "setup.finished", "data": {"outcome": outcome}}

    def _sign(self, _step: Plain) -> Plain:
        return {"type": "setup.signed", "data": {"meaning": "performed"}}

    def copied(self) -> Plain:
        """The values that the register last saw in G54, on the machine's display."""
        last = next(slot for slot in self.sheet["slots"] if slot["label"] == "G54")["last_values_nm"]
        display = display_of(self.sheet["machine"])
        step = display.resolution_nm
        values = {axis: round(value / step) * step for axis, value in last.items()}
        typed = {axis: format_length(value, display) for axis, value in values.items()}
        return {"typed": typed, "values_nm": values, "compared": dict.fromkeys("XYZ", "same")}

    def square(self, axis: str, askew_nm: int) -> Plain:
        """Two truthful touches whose second lies this far from the first."""
        display, plan = display_of(self.sheet["machine"]), self.sheet["square"]
        first = self.touch(axis, 0)["value_nm"]
        values = [first, first + askew_nm]
        error_nm, told = error_over_jaw_nm(values, plan)
        return {
            "axis": axis,
            "typed": [format_length(value, display) for value in values],
            "values_nm": values,
            "apart_nm": plan["apart_nm"],
            "error_nm": error_nm,
            "told": told,
        }

    def touch(self, axis: str, off_nm: int) -> Plain:
        """A truthful touch that lies this far from the usual."""
        usual = next(one["usual"] for one in self.sheet["axes"] if one["axis"] == axis)
        display = display_of(self.sheet["machine"])
        centre = usual["centre_nm"] if usual["centre_nm"] is not None else UNKNOWN_NM[axis]
        value = centre + off_nm
        verdict, difference = "ask", None
        if usual["centre_nm"] is not None:
            difference = off_nm
            verdict = (
                "agrees"
                if abs(off_nm) <= usual["ask_nm"]
                else "ask"
                if abs(off_nm) <= usual["stop_nm"]
                else "stop"
            )
        return {
            "axis": axis,
            "typed": format_length(value, display),
            "value_nm": value,
            "verdict": verdict,
            "difference_nm": difference,
        }
