"""An operator at a tablet: walks a setup step by step on a real sheet, with the fold that the server uses."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from tests.kit.clock import Clock
from tests.kit.device import Device
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.plain.lengths import format_length
from webapp.domain.setup.fold import Fold
from webapp.domain.touch.compare import (
    compared_on_sheet,
    display_of,
    slot_on_sheet,
    touch_length_nm,
    verdict_on,
)
from webapp.domain.touch.square import error_over_jaw_nm
from webapp.proof.keys import KeyRing

AXES = ("X", "Y", "Z")
MOST_ANSWERS = 200


class Walk:
    """One setup. `values_nm` is what the control will show at each touch."""

    def __init__(
        self,
        device: Device,
        clock: Clock,
        sheet: tuple[str, str],
        person: str = "mara",
        number: int = 1,
        values_nm: dict[str, int] | None = None,
    ) -> None:
        self.device, self.clock, self.person = device, clock, person
        self.sheet_hash, self.sheet = sheet[0], json.loads(sheet[1])
        self.setup = str(UUID(int=0x7E40_0000 + number))
        self.values_nm = values_nm or dict(CENTRES)
        self.fold = Fold(self.sheet)
        self.events: list[dict[str, Any]] = []
        self.first = len(device.sent)

    @property
    def parts(self) -> list[dict[str, Any]]:
        """What this setup brought to the tablet's outbox."""
        return self.device.sent[self.first :]

    @property
    def step(self) -> Mapping[str, Any]:
        """The step that is open."""
        return self._plan[self.fold.current_step or ""]

    @property
    def _plan(self) -> dict[str, Mapping[str, Any]]:
        return planned_steps(self.sheet)

    def event(
        self,
        type: str,  # noqa: A002
        data: dict[str, Any],
        step: str | None = None,
        **envelope: Any,
    ) -> dict[str, Any]:
        """Make an event of this setup five seconds later, whether it is allowed or not."""
        self.clock.forward(seconds=5)
        fields = {
            "setup": self.setup,
            "sheet": self.sheet_hash,
            "person": self.person,
            "at_utc": self.clock.text,
        }
        event = self.device.event(type, data, **{**fields, "step": step, **envelope})
        self.events.append(event)
        self.fold.apply(event)
        return event

    def start(self, display: str = "standalone") -> Walk:
        """setup.started."""
        self.event("setup.started", {"machine": self.sheet["machine"]["id"], "display": display})
        return self

    def until(self, kind: str, axis: str | None = None) -> Walk:
        """Answer steps until one of this kind (and axis) is open."""
        for _ in range(MOST_ANSWERS):
            if self.step["kind"] == kind and (not axis or self.step["axis"] == axis):
                return self
            self.answer()
        raise AssertionError(
            f"no step {kind} {axis or ''} within {MOST_ANSWERS} answers: {self.fold.result()['blocked']}"
        )

    def through(self) -> Walk:
        """From the start to the signature, which is left open."""
        return self.start().until("sign")

    def answer(self) -> dict[str, Any]:
        """Answer the open step as somebody would for whom all goes well."""
        step = self.step
        make = getattr(self, f"_{step['kind']}")
        type_, data = make(step)
        return self.event(type_, data, step["id"])

    def sign(self, pin: str, keyring: KeyRing, **bound: str) -> dict[str, Any]:
        """setup.signed with its sealed PIN; the upload's part."""
        event = self.event("setup.signed", {"meaning": "performed"}, self.step["id"])
        self.device.sent[-1]["pin"] = self.device.seal(pin, event["id"], self.person, keyring, **bound)
        return self.device.sent[-1]

    def touch(self, value_nm: int) -> dict[str, Any]:
        """touch.entered with the value that the control shows, at an open touch step."""
        self.values_nm[self.step["axis"]] = value_nm
        return self.answer()

    def question(self, number: int, axis: str | None, text: str = "Is this all right?") -> str:
        """Put a question; its id, which no other setup's question has."""
        identifier = str(UUID(int=(UUID(self.setup).int << 64) + 0x9E00_0000 + number))
        self.event("question.put", {"question": identifier, "axis": axis, "text": text})
        return identifier

    def _caution(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        return "caution.read", {"caution": step["caution"]["id"]}

    def _board(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        return "board.checked", {"found": "clear", "text": ""}

    def _confirm(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        closing = [choice["id"] for choice in step["choices"] if choice["closes"]]
        return "step.done", {"answer": closing[0] if closing else "done"}

    _search = _over = _lower = _jaw = _input = _confirm

    def _checks(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        return "checks.ticked", {"ticked": [check["id"] for check in step["checks"]]}

    def _tool_in(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        return "tool.read", {"typed": self.sheet["machine"]["probe_tool"], "matches": True}

    def _tool_out(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        return "tool.read", {"typed": self.sheet["machine"]["parking_tool"], "matches": True}

    def _slot(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        own = next(slot["label"] for slot in self.sheet["slots"] if slot["owner_id"] == self.person)
        found = slot_on_sheet(own, self.sheet, self.person, self.clock.text)
        return "slot.read", {"typed": own, "outcome": found.outcome}

    def _copy(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        display = display_of(self.sheet["machine"])
        label = self.fold.result()["slot"]
        row = next(slot for slot in self.sheet["slots"] if slot["label"] == label)
        last = row["last_values_nm"] or dict.fromkeys(AXES, 0)
        typed = {axis: format_length(last[axis], display) for axis in AXES}
        values_nm = {axis: touch_length_nm(typed[axis], self.sheet["machine"], axis) for axis in AXES}
        compared = compared_on_sheet(values_nm, label, self.sheet)
        return "values.copied", {"typed": typed, "values_nm": values_nm, "compared": dict(compared)}

    def _clear(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        zeros = dict.fromkeys(AXES, 0)
        typed = {axis: format_length(0, display_of(self.sheet["machine"])) for axis in AXES}
        return "slot.cleared", {"typed": typed, "values_nm": zeros}

    def _touch(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        axis = step["axis"]
        typed = format_length(self.values_nm[axis], display_of(self.sheet["machine"]))
        value_nm = touch_length_nm(typed, self.sheet["machine"], axis)
        usual = next(one["usual"] for one in self.sheet["axes"] if one["axis"] == axis)
        verdict, difference_nm = verdict_on(value_nm, usual)
        data = {"axis": axis, "typed": typed, "value_nm": value_nm}
        return "touch.entered", {**data, "verdict": verdict, "difference_nm": difference_nm}

    def _square(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        axis, plan = step["axis"], self.sheet["square"]
        typed = [format_length(self.values_nm[axis], display_of(self.sheet["machine"]))] * 2
        values_nm = [touch_length_nm(one, self.sheet["machine"], axis) for one in typed]
        error_nm, told = error_over_jaw_nm(values_nm, plan)
        found = {"apart_nm": plan["apart_nm"], "error_nm": error_nm, "told": told}
        return "square.entered", {"axis": axis, "typed": typed, "values_nm": values_nm, **found}

    def _compare(self, step: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        state, axis = self.fold.result(), step["axis"]
        if state["keep_because"] is None and state["blocked"]["code"] == "setup.compare_needs_reading":
            last = [touch for touch in state["touches"] if touch["axis"] == axis][-1]
            names = ("axis", "typed", "value_nm", "verdict", "difference_nm")
            return "touch.read_again", {name: last[name] for name in names}
        if state["keep_because"] is None:
            self.question(1000 + len(self.device.sent), axis)
            state = self.fold.result()
        if state["keep_because"] is None:  # past the stop line
            return "touch.repeated" if state["may_touch_again"] else "axis.given_up", {"axis": axis}
        return "touch.kept", {"axis": axis, "because": state["keep_because"]}

    def _zero(self, _: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
        return "slot.zeroed", {"label": self.fold.result()["slot"], **self._clear({})[1]}

    def _finish(self, _: dict[str, Any]) -> tuple[str, dict[str, Any]]:
        outcome = "broken_off" if self.fold.result()["broken_off"] else "complete"
        return "setup.finished", {"outcome": outcome}


CENTRES = {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}
