"""Somebody who walks a setup: reads the next step off the fold, works the simulated mill, types what it shows.

The demo's past setups and the tests use the same walker, so both go through the events that a real tablet sends.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from webapp.demo.device import Clock, Device
from webapp.demo.mill import AXES, NO_MISTAKE, Mistake, SimulatedMill
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import StepOnSheet, UsualOnSheet, WrittenSheet
from webapp.domain.plain.lengths import format_length
from webapp.domain.setup.fold import Fold
from webapp.domain.setup.state import AnyEvent
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
from webapp.services.times import utc_text

Event = dict[str, Any]
Part = dict[str, Any]
# Seconds that a step takes, give or take: read, walk to the vise, watch the search.
SECONDS = {"caution": 9, "confirm": 14, "checks": 20, "search": 20, "touch": 45, "copy": 35, "compare": 8}
USUAL_SECONDS = 15
MOST_STEPS = 200


class StuckError(RuntimeError):
    """The walker does not know what to do at a step: a fault of the program, with the step and what blocks it."""


@dataclass(frozen=True)
class Person:
    """Who walks: the id, the PIN, and what they get wrong at the first touch of an axis."""

    id: str
    pin: str
    first_mistakes: Mapping[str, Mistake] = field(default_factory=dict)
    holds_at: Sequence[str] = ()


class Walker:
    """One setup of one person at one simulated mill, on one sheet."""

    def __init__(
        self,
        device: Device,
        sheet_text: str,
        sheet_hash: str,
        person: Person,
        mill: SimulatedMill,
        clock: Clock,
        chance: random.Random,
        setup: str,
        new_id: Callable[[], str],
    ) -> None:
        self.device, self.person, self.mill, self.clock = device, person, mill, clock
        self.sheet: WrittenSheet = json.loads(sheet_text)
        self.fold = Fold(self.sheet)
        self._sheet_hash, self._setup, self._chance, self._new_id = sheet_hash, setup, chance, new_id
        self._plan = planned_steps(self.sheet)
        self._display = display_of(self.sheet["machine"])
        self._touched: dict[str, int] = {}

    def start(self) -> Part:
        """Begin the setup."""
        return self._send(
            "setup.started", {"machine": self.sheet["machine"]["id"], "display": "standalone"}, None
        )

    def walk(self, until: str | None = None) -> Iterator[Part]:
        """The parts of an upload, one event each, up to the step `until` (not done) or to the end."""
        for _ in range(MOST_STEPS):
            step_id = self.fold.current_step
            if step_id is None or step_id == until:
                return
            yield from self._do(self._plan[step_id])
        raise StuckError(self.fold.current_step, self.fold.result()["blocked"])

    def break_off(self, reason: str, text: str) -> Iterator[Part]:
        """Break the setup off where it stands, and say why."""
        step_id = self.fold.current_step
        yield self._send("setup.broken_off", {}, step_id)
        yield self._send("break.explained", {"reason": reason, "text": text}, self.fold.current_step)

    def note(self, kind: str, data: dict[str, Any]) -> Part:
        """Any event at the current step."""
        return self._send(kind, data, self.fold.current_step)

    def _do(self, step: StepOnSheet) -> Iterator[Part]:
        self.clock.forward(SECONDS.get(step["kind"], USUAL_SECONDS) * self._chance.lognormvariate(0, 0.25))
        if step["id"] in self.person.holds_at and self._touched.setdefault(f"hold {step['id']}", 0) == 0:
            self._touched[f"hold {step['id']}"] = 1
            yield self._send("hold.pressed", {}, step["id"])
        kind, data = getattr(self, f"_{step['kind']}")(step)
        yield self._send(kind, data, step["id"])

    def _send(self, kind: str, data: dict[str, Any], step: str | None) -> Part:
        about = {"setup": self._setup, "sheet": self._sheet_hash, "person": self.person.id, "step": step}
        jws, event = self.device.event(kind, data, about, self.clock)
        self.fold.apply(cast("AnyEvent", event))
        pin = None
        if kind == "setup.signed":
            pin = self.device.seal(self.person.pin, self.sheet["pin_key"], event)
        return {"jws": jws, "pin": pin}

    # What is done at each kind of step: (type of event, its data).

    def _caution(self, step: StepOnSheet) -> tuple[str, Event]:
        return "caution.read", {"caution": step["caution"]["id"] if step["caution"] else ""}

    def _board(self, _: StepOnSheet) -> tuple[str, Event]:
        return "board.checked", {"found": "clear", "text": ""}

    def _confirm(self, step: StepOnSheet) -> tuple[str, Event]:
        closing = [choice["id"] for choice in step["choices"] if choice.get("closes", True)]
        return "step.done", {"answer": closing[0] if closing else "done"}

    _search = _over = _lower = _jaw = _input = _confirm

    def _checks(self, step: Event) -> tuple[str, Event]:
        return "checks.ticked", {"ticked": [check["id"] for check in step["checks"]]}

    def _tool_in(self, _: StepOnSheet) -> tuple[str, Event]:
        return self._tool(self.sheet["machine"]["probe_tool"])

    def _tool_out(self, _: StepOnSheet) -> tuple[str, Event]:
        return self._tool(self.sheet["machine"]["parking_tool"])

    def _tool(self, expected: str) -> tuple[str, Event]:
        typed = self.mill.call_tool(expected)
        return "tool.read", {"typed": typed, "matches": same_tool(typed, expected)}

    def _slot(self, _: StepOnSheet) -> tuple[str, Event]:
        own = next(row["label"] for row in self.sheet["slots"] if row["owner_id"] == self.person.id)
        self.mill.select_slot(own)
        found = slot_on_sheet(own, self.sheet, self.person.id, utc_text(self.clock.at))
        return "slot.read", {"typed": own, "outcome": found.outcome}

    def _copy(self, _: StepOnSheet) -> tuple[str, Event]:
        data = self._values()
        compared = compared_on_sheet(data["values_nm"], self.fold.result()["slot"], self.sheet)
        return "values.copied", {**data, "compared": dict(compared)}

    def _clear(self, _: StepOnSheet) -> tuple[str, Event]:
        self.mill.clear_selected()
        return "slot.cleared", self._values()

    def _values(self) -> Event:
        typed = {axis: self._typed(self.mill.shown_nm()[axis]) for axis in AXES}
        values_nm = {axis: slot_length_nm(typed[axis], self.sheet["machine"], axis) for axis in AXES}
        return {"typed": typed, "values_nm": values_nm}

    def _touch(self, step: StepOnSheet) -> tuple[str, Event]:
        axis = step["axis"] or ""
        count = self._touched[axis] = self._touched.get(axis, 0) + 1
        mistake = self.person.first_mistakes.get(axis, NO_MISTAKE) if count == 1 else NO_MISTAKE
        typed = self._typed(self.mill.touch(axis, mistake))
        value_nm = touch_length_nm(typed, self.sheet["machine"], axis)
        verdict, difference_nm = verdict_on(value_nm, self._usual(axis))
        return "touch.entered", {
            "axis": axis,
            "typed": typed,
            "value_nm": value_nm,
            "verdict": verdict,
            "difference_nm": difference_nm,
        }

    def _square(self, step: StepOnSheet) -> tuple[str, Event]:
        """The same face at both places: a jaw that is square, but for the scatter of two touches."""
        axis, plan = step["axis"] or "", self.sheet.get("square")
        if plan is None:
            raise LookupError("this sheet has no look for square")
        typed = [self._typed(self.mill.touch(axis, NO_MISTAKE)) for _ in range(2)]
        values_nm = [touch_length_nm(one, self.sheet["machine"], axis) for one in typed]
        error_nm, told = error_over_jaw_nm(values_nm, plan)
        found = {"apart_nm": plan["apart_nm"], "error_nm": error_nm, "told": told}
        return "square.entered", {"axis": axis, "typed": typed, "values_nm": values_nm, **found}

    def _compare(self, step: StepOnSheet) -> tuple[str, Event]:
        """Read again what is past a line; touch again once where it differs; then ask, and keep what may be kept."""
        axis = step["axis"] or ""
        state = self.fold.result()
        waits = "" if state["blocked"] is None else state["blocked"]["code"]
        last = [touch for touch in state["touches"] if touch["axis"] == axis][-1]
        if waits == "setup.compare_needs_reading":
            read = {"axis": axis, "typed": last["typed"], "value_nm": last["value_nm"]}
            seen = {"verdict": last["verdict"], "difference_nm": last["difference_nm"]}
            return "touch.read_again", read | seen
        if last["verdict"] != "agrees" and last["difference_nm"] is not None and self._touched[axis] < 2:
            return "touch.repeated", {"axis": axis}
        if state["keep_because"] is not None:
            return "touch.kept", {"axis": axis, "because": state["keep_because"]}
        if waits == "setup.compare_needs_lead" and state["may_touch_again"]:
            return "touch.repeated", {"axis": axis}
        if waits == "setup.compare_needs_lead":
            return "axis.given_up", {"axis": axis}
        text = f"{axis} differs from the usual, twice the same. May I go on?"
        return "question.put", {"question": self._new_id(), "axis": axis, "text": text}

    def _zero(self, _: StepOnSheet) -> tuple[str, Event]:
        self.mill.clear_selected()
        return "slot.zeroed", {"label": self.fold.result()["slot"], **self._values()}

    def _finish(self, _: StepOnSheet) -> tuple[str, Event]:
        broken = self.fold.result()["broken_off"] is not None
        return "setup.finished", {"outcome": "broken_off" if broken else "complete"}

    def _sign(self, _: StepOnSheet) -> tuple[str, Event]:
        return "setup.signed", {"meaning": "performed"}

    def _typed(self, value_nm: int) -> str:
        return format_length(value_nm, self._display).replace("−", "-").replace("+", "")

    def _usual(self, axis: str) -> UsualOnSheet:
        return next(row["usual"] for row in self.sheet["axes"] if row["axis"] == axis)
