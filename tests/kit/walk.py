"""An operator at a tablet: walks a setup step by step on a real sheet, with the fold that the server uses."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from tests.kit.clock import Clock
from tests.kit.device import Device
from webapp.demo.step_answers import StepAnswers
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.setup.fold import Fold
from webapp.proof.keys.key_ring import KeyRing

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
        self.answers = StepAnswers(
            self.sheet, person, PlainControl(self), self._question_id, touches_again=False
        )

    @property
    def parts(self) -> list[dict[str, Any]]:
        """What this setup brought to the tablet's outbox."""
        return self.device.sent[self.first :]

    @property
    def step(self) -> dict[str, Any]:
        """The step that is open."""
        return self._plan[self.fold.current_step or ""]

    @property
    def _plan(self) -> dict[str, Any]:
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
        """Answer the open step as somebody would for whom all goes well;
        a question that it takes is put first.
        """
        step = self.step
        type_, data = self.answers.answer(step, self.fold.result(), self.clock.text)
        event = self.event(type_, data, step["id"] if type_ != "question.put" else None)
        return self.answer() if type_ == "question.put" else event

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
        identifier = self._identifier(number)
        self.event("question.put", {"question": identifier, "axis": axis, "text": text})
        return identifier

    def _identifier(self, number: int) -> str:
        return str(UUID(int=(UUID(self.setup).int << 64) + 0x9E00_0000 + number))

    def _question_id(self) -> str:
        return self._identifier(1000 + len(self.device.sent))


class PlainControl:
    """A machine at which all goes well: what it shows at a touch is what the walk was given."""

    def __init__(self, walk: Walk) -> None:
        self.walk = walk

    def act(self, _: Any) -> None:
        """Nothing to do."""

    def tool(self, expected: str) -> str:
        return expected

    def label(self, own: str) -> str:
        return own

    label_beside = label

    def row_nm(self, label: str) -> dict[str, int]:
        """What the register last saw there, so that nothing has changed; zeros where it saw nothing."""
        row = next(slot for slot in self.walk.sheet["slots"] if slot["label"] == label)
        return row["last_values_nm"] or dict.fromkeys(AXES, 0)

    def cleared_nm(self, _: str) -> dict[str, int]:
        return dict(self.walk.sheet["machine"]["parked_nm"])

    def touched_nm(self, axis: str) -> int:
        return self.walk.values_nm[axis]

    read_again_nm = touched_nm

    def answered_nm(self, axis: str) -> int:
        by_hand_nm = next(one["by_hand_nm"] for one in self.walk.sheet["axes"] if one["axis"] == axis)
        return self.walk.values_nm[axis] - by_hand_nm

    def entered_nm(self, _: str, surface_nm: int) -> int:
        return surface_nm


CENTRES = {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}
