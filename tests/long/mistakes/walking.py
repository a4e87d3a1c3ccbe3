"""One whole walk: a follower at a mill, the sheet's steps, the fold, and what is sent in at the end.

Rules of this module:
- Steps are answered through `webapp.demo.step_answers`;
  every event is signed, chained, folded and taken in as a real tablet's is.
- Where it does not look as a step says, the walk goes the way that the step names: ask the lead, who puts
  right what can be put right at once, else ends the setup at the stow; or put the probe away; or try a search
  that found nothing once more.
- `caught` lists what stopped or told, in order: (step, what).
  Nothing is guessed from the plan of the mistake.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from tests.long.mistakes.follower import Follower, Odd
from webapp.demo.device import Clock, Device
from webapp.demo.mill import InAlarmError, SimulatedMill
from webapp.demo.step_answers import StepAnswers
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.setup.fold import Fold
from webapp.services.times import utc_text

MOST_EVENTS = 260
SECONDS_A_STEP = 20
LEAD_CAN: Mapping[str, Callable[[SimulatedMill], None]] = {
    "a shift or turn is active": lambda mill: mill.take_shift_out(),
    "the probe's length is not in use": lambda mill: mill.use_length(),
    "the change stuck": lambda mill: mill.free_change(),
}
RUN = frozenset({"touch", "square"})
WORRIES = {"put_away": "probe_looks_wrong", "ask": "machine_looks_wrong", "again": "wrong_place"}
# What the fold says of a step that is open for its own usual reasons, and not because something is wrong.
INPUT_OLD = "setup.input_old"
PLAIN_WAITS = frozenset({"setup.break_needs_reason"})


class StuckError(AssertionError):
    """The walk came to a step that it cannot leave."""


@dataclass
class Walked:
    """What came of a walk."""

    result: dict[str, Any]
    parts: list[dict[str, Any]]
    caught: list[tuple[str, str]]
    follower: Follower
    ended: str


@dataclass
class Walk:
    """One setup of one person."""

    device: Device
    sheet: Mapping[str, Any]
    sheet_hash: str
    person: str
    pin: str
    follower: Follower
    clock: Clock
    chance: random.Random
    caught: list[tuple[str, str]] = field(default_factory=list)
    parts: list[dict[str, Any]] = field(default_factory=list)
    pauses: dict[str, Callable[[Follower], None]] = field(default_factory=dict)
    input_seen_ms: int = 0

    def __post_init__(self) -> None:
        self.fold = Fold(self.sheet)
        self._plan = planned_steps(self.sheet)
        self.setup = self._new_id()
        self.answers = StepAnswers(self.sheet, self.person, self.follower, self._new_id)

    def run(self) -> Walked:
        """From the start to the signature, or to where the list says to press nothing more."""
        self.send("setup.started", {"machine": self.sheet["machine"]["id"], "display": "standalone"}, None)
        ended = "signed"
        for _ in range(MOST_EVENTS):
            step = self._plan.get(self.fold.current_step or "")
            if step is None:
                break
            if not self._close(step):
                ended = step["id"]
                break
        else:
            raise StuckError(self.fold.current_step, self.fold.result()["blocked"], self.caught)
        return Walked(self.fold.result(), self.parts, self.caught, self.follower, ended)

    def _close(self, step: Mapping[str, Any]) -> bool:
        """Answer the open step; False where nothing more is done."""
        self.clock.forward(SECONDS_A_STEP * self.chance.lognormvariate(0, 0.25))
        pause = self.pauses.pop(step["id"], None)
        if pause is not None:
            pause(self.follower)
            self.clock.forward(self.follower.time_that_passed_s())
        self.follower.step = step
        state = self.fold.result()
        if step["kind"] in RUN and state["to_enter_nm"] is None and self._is_input_old():
            return self._raise_first(step)
        try:
            kind, data = self._answer(step, state)
        except Odd as odd:
            return self._meet(step, odd)
        except InAlarmError:
            return self._meet(step, Odd("the control is in alarm", "ask"))
        except LengthError as refused:
            self.caught.append((step["id"], refused.code.removeprefix("length.")))
            kind, data = self._reading_anew(step["axis"])
        self.send(kind, data, step["id"])
        if step["kind"] == "input":
            self.input_seen_ms = self.clock.elapsed_ms
        return self._look_at_tablet(step, kind)

    def _is_input_old(self) -> bool:
        """Whether the tablet says above a search that is set: not run yet? do not run it."""
        limit_ms = self.sheet["machine"]["input_age_ms"]
        return self.clock.elapsed_ms - self.input_seen_ms > limit_ms

    def _raise_first(self, step: Mapping[str, Any]) -> bool:
        """The tablet asks for the input again: raised first, then the way anew."""
        self.follower.free()
        self.follower.mill.raise_z()
        self.send("input.aged", {}, step["id"])
        return True

    def _answer(self, step: Mapping[str, Any], state: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
        if step["kind"] == "finish" and state["broken_off"] and state["broken_off"]["reason"] is None:
            return "break.explained", {"reason": "other", "text": "It did not look as the list says."}
        return self.answers.answer(step, state, utc_text(self.clock.at))

    def _reading_anew(self, axis: str) -> tuple[str, dict[str, Any]]:
        """What was refused as typed, read off the control once more."""
        if self.follower.plan(axis).get("by_hand_nm") is None:
            return "touch.entered", self.answers.reading(axis, self.follower.read_again_nm(axis))
        return "trigger.read", self.answers.trigger(axis, self.follower.shown_nm(axis))

    def _look_at_tablet(self, step: Mapping[str, Any], kind: str) -> bool:
        """Note what the tablet said to the answer;
        go the way of the step where an answer does not close it.
        """
        state = self.fold.result()
        if kind in {"touch.entered", "touch.read_again"}:
            last = [touch for touch in state["touches"] if touch["axis"] == step["axis"]][-1]
            if last["verdict"] != "agrees":
                self.caught.append((step["id"], last["verdict"]))
        if kind == "axis.given_up":
            self.caught.append((step["id"], "not usable"))
        blocked = state["blocked"]
        if blocked is None or self.fold.current_step != step["id"] or step["kind"] in {"compare", "sign"}:
            return True
        code = blocked["code"].removeprefix("setup.")
        if blocked["code"] in PLAIN_WAITS:
            return True
        if blocked["code"] == INPUT_OLD:
            return self._raise_first(step)
        is_answer = code == "answer_keeps_open"
        self.caught.append((step["id"], str(blocked["fields"]["label"]) if is_answer else code))
        if step["kind"] == "board":
            return False
        if is_answer:
            way = "put_away" if step["kind"] == "input" else "ask"
            return self._end(step, way, str(blocked["fields"]["label"]))
        return True

    def _meet(self, step: Mapping[str, Any], odd: Odd) -> bool:
        """Something does not look as it should."""
        mill = self.follower.mill
        if odd.way == "held":
            self.note("hold.pressed", {})
            self._after_search("held")
            return True
        self.caught.append((step["id"], odd.seen))
        if odd.way == "again":
            self._after_search("nothing_found")
            return True
        if odd.seen == "dead_probe":
            self._after_search("dead_probe", touched=True)
            return True
        if odd.way == "ask" and odd.seen in LEAD_CAN:
            self.note("question.put", {"question": self._new_id(), "axis": None, "text": odd.seen})
            LEAD_CAN[odd.seen](mill)
            return True
        if mill.crashes:
            return False
        return self._end(step, odd.way, odd.seen)

    def _after_search(self, trouble: str, *, touched: bool = False) -> None:
        """Look, reset, back the way it came, raise; and say so."""
        mill = self.follower.mill
        mill.reset()
        self.follower.own_reset = True
        self.follower.free()
        mill.raise_z()
        self.note("trouble.met", {"trouble": trouble, "touched": touched, "reset": True})

    def _end(self, step: Mapping[str, Any], way: str, said: str) -> bool:
        """Tell the lead, and end the setup at the stow."""
        mill = self.follower.mill
        self.note("worry.raised", {"worry": WORRIES[way], "text": said})
        if mill.state.alarm:
            mill.reset()
        state = self.fold.result()
        if state["broken_off"] is None and step["id"].partition(".")[0] not in {"stow", "sign"}:
            self.note("setup.broken_off", {})
            return True
        return False

    def note(self, kind: str, data: dict[str, Any]) -> None:
        """An event beside the step that is open."""
        self.send(kind, data, self.fold.current_step)

    def send(self, kind: str, data: dict[str, Any], step: str | None) -> None:
        about = {"setup": self.setup, "sheet": self.sheet_hash, "person": self.person, "step": step}
        jws, event = self.device.event(kind, data, about, self.clock)
        problems = self.fold.apply(event)
        if problems:
            raise StuckError(kind, step, problems)
        pin = self.device.seal(self.pin, event) if kind == "setup.signed" else None
        self.parts.append({"jws": jws, "pin": pin})

    def _new_id(self) -> str:
        return str(UUID(int=self.chance.getrandbits(128), version=4))
