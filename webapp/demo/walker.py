"""Somebody who walks a setup:
reads the next step off the fold, works the simulated mill, types what it shows.

What is answered to a step stands in `step_answers`, which the tests' walks share:
so all go through the events that a real tablet sends.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from webapp.demo.device import Clock, Device
from webapp.demo.mill import NO_MISTAKE, Mistake, SimulatedMill, Values
from webapp.demo.step_answers import StepAnswers
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import StepOnSheet, WrittenSheet
from webapp.domain.setup.fold import Fold
from webapp.domain.setup.state import AnyEvent
from webapp.services.times import utc_text

Part = dict[str, Any]
# Seconds that a step takes, give or take: read, walk to the vise, watch the search.
SECONDS = {"caution": 9, "confirm": 14, "checks": 20, "search": 20, "touch": 45, "copy": 35, "compare": 8}
USUAL_SECONDS = 15
MOST_STEPS = 200


class StuckError(RuntimeError):
    """The walker does not know what to do at a step:
    a fault of the program, with the step and what blocks it.
    """


@dataclass(frozen=True)
class Person:
    """Who walks: the id, the PIN, and what they get wrong at the first touch of an axis."""

    id: str
    pin: str
    first_mistakes: Mapping[str, Mistake] = field(default_factory=dict)
    holds_at: Sequence[str] = ()


class AtMill:
    """What this person does and reads at the mill:
    each face in one go, the first touch with the mistake it has.
    """

    def __init__(self, mill: SimulatedMill, person: Person) -> None:
        self.mill, self._mistakes = mill, dict(person.first_mistakes)

    def act(self, _: StepOnSheet) -> None:
        """Nothing: every touch goes its own way there."""

    def tool(self, expected: str) -> str:
        """Call it; the number shown."""
        return self.mill.call_tool(expected)

    def label(self, own: str) -> str:
        """Select it; the label shown."""
        self.mill.select_slot(own)
        return self.mill.selected_slot

    def row_nm(self, _: str) -> Values:
        """The values of the selected row."""
        return self.mill.shown_nm()

    def label_beside(self, _: str) -> str:
        """The label of the selected row."""
        return self.mill.selected_slot

    def cleared_nm(self, _: str) -> Values:
        """The selected row, set to zero or to what this shop keeps in a cleared one."""
        return self.mill.park_selected()

    def touched_nm(self, axis: str) -> int:
        """Touch the face."""
        return self.mill.touch(axis, self._mistakes.pop(axis, NO_MISTAKE))

    def answered_nm(self, axis: str) -> int:
        """Touch the face; what the control keeps of it, or where it stands where nothing answered."""
        self.touched_nm(axis)
        kept = self.mill.state.answered
        return self.mill.page_nm()[axis] if kept is None else kept.page_nm

    def entered_nm(self, axis: str, surface_nm: int) -> int:
        """Type it into the selected row, read it there."""
        self.mill.set_value(self.mill.selected_slot, axis, surface_nm)
        return self.read_again_nm(axis)

    def read_again_nm(self, axis: str) -> int:
        """What the selected row shows."""
        return self.mill.shown_nm()[axis]


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
        self._sheet_hash, self._setup, self._chance = sheet_hash, setup, chance
        self._plan = planned_steps(self.sheet)
        self._answers = StepAnswers(self.sheet, person.id, AtMill(mill, person), new_id)
        self._held: set[str] = set()

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
        if step["id"] in self.person.holds_at and step["id"] not in self._held:
            self._held.add(step["id"])
            yield self._send("hold.pressed", {}, step["id"])
        if step["kind"] == "search" and self._input_is_old():
            yield self._send("input.aged", {}, step["id"])
            return
        kind, data = self._answers.answer(step, self.fold.result(), utc_text(self.clock.at))
        yield self._send(kind, data, step["id"])

    def _input_is_old(self) -> bool:
        """Whether the probe's input was looked at so long ago that the step would stay open."""
        seen_ms = self.fold.result()["input_checked_ms"]
        limit_ms = self.sheet["machine"].get("input_age_ms")
        if seen_ms is None or limit_ms is None:
            return False
        return self.clock.elapsed_ms - seen_ms > limit_ms

    def _send(self, kind: str, data: dict[str, Any], step: str | None) -> Part:
        about = {"setup": self._setup, "sheet": self._sheet_hash, "person": self.person.id, "step": step}
        jws, event = self.device.event(kind, data, about, self.clock)
        self.fold.apply(cast("AnyEvent", event))
        pin = None
        if kind == "setup.signed":
            pin = self.device.seal(self.person.pin, event)
        return {"jws": jws, "pin": pin}
