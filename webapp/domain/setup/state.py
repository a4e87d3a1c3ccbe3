"""What a setup amounts to so far, and the small moves that change it.

Rules of this module:
- A step is open, done or skipped. The current step is the first open one.
- An event that is not allowed raises `Refused` before it changed anything; the fold lists it as a problem.
- Plain lists, dicts, texts and whole numbers only: the same state exists in the browser.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from webapp.domain.evidence.event_kinds import Event
from webapp.domain.evidence.folded_setup import (
    Answered,
    Blocked,
    BrokenOff,
    ClosedWorry,
    Copied,
    Correction,
    Hold,
    Problem,
    Question,
    ReadCaution,
    Refusal,
    Resume,
    Signature,
    SignOff,
    SquareLook,
    StepState,
    Touch,
    Worry,
)
from webapp.domain.evidence.written_sheet import StepOnSheet, WrittenSheet

# An event of any kind, where its data is not looked at.
AnyEvent = Event[Any]

OPEN: StepState = {"state": "open", "event": None, "at_utc": None}


class Refused(Exception):
    """The event is not allowed in this state: a code of the words catalogue and its fields."""

    def __init__(self, code: str, **fields: str | int) -> None:
        super().__init__(code)
        self.code = code
        self.fields = fields


@dataclass
class TouchNote:
    """What the fold must know of a touch and the record need not.

    `searched_at` is the count at its search, `covered_from` the count after which a question is about this touch.
    """

    searched_at: int
    covered_from: int


@dataclass
class SetupState:
    """The state of one setup on one sheet."""

    sheet: WrittenSheet
    setup: str | None = None
    sheet_hash: str | None = None
    person: str | None = None
    device: str | None = None
    machine: str | None = None
    started_at_utc: str | None = None
    probe_in_spindle: bool = False
    blocked: Blocked | None = None
    slot: str | None = None
    copied: Copied | None = None
    broken_off: BrokenOff | None = None
    before_break: dict[str, StepState] | None = None
    outcome: str | None = None
    sign_off: SignOff | None = None
    not_accepted: Refusal | None = None
    steps: dict[str, StepState] = field(default_factory=dict)
    cautions: list[ReadCaution] = field(default_factory=list)
    touches: list[Touch] = field(default_factory=list)
    squares: list[SquareLook] = field(default_factory=list)
    touch_notes: list[TouchNote] = field(default_factory=list)
    searched_at: dict[str, int] = field(default_factory=dict)
    holds: list[Hold] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    question_order: dict[str, int] = field(default_factory=dict)
    worries: list[Worry] = field(default_factory=list)
    corrections: list[Correction] = field(default_factory=list)
    resumes: list[Resume] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    # Decisions of the server, by what they are about.
    answers: dict[str, Answered] = field(default_factory=dict)
    worries_closed: dict[str, ClosedWorry] = field(default_factory=dict)
    verified: set[str] = field(default_factory=set)
    refused: dict[str, str] = field(default_factory=dict)
    set_aside: dict[str, Blocked] = field(default_factory=dict)
    # Counts events, so that "since that touch" has a meaning without a clock.
    count: int = 0

    def __post_init__(self) -> None:
        self.plan = {
            step["id"]: step for stage in self.sheet["procedure"]["stages"] for step in stage["steps"]
        }
        self.stage_of = {
            step["id"]: stage["id"] for stage in self.sheet["procedure"]["stages"] for step in stage["steps"]
        }
        self.axes = {axis["axis"]: axis for axis in self.sheet["axes"]}
        self.steps = {step_id: OPEN.copy() for step_id in self.plan}

    @property
    def current(self) -> StepOnSheet | None:
        """Return the first open step as the sheet has it, None when all are done or skipped."""
        for step_id, step in self.plan.items():
            if self.steps[step_id]["state"] == "open":
                return step
        return None

    @property
    def current_id(self) -> str | None:
        """Return the id of the current step."""
        return None if self.current is None else self.current["id"]

    @property
    def is_finished(self) -> bool:
        """Tell whether the review is done; only a signature can follow."""
        return self.outcome is not None

    def note(self, event: AnyEvent | None, code: str, **fields: str | int) -> None:
        """List a problem; the event still counts."""
        self.problems.append({"event": event["id"] if event else None, "code": code, "fields": fields})

    def stay(self, code: str, **fields: str | int) -> None:
        """Leave the current step open and say why."""
        self.blocked = {"code": code, "fields": fields}

    def close(self, step_id: str, event: AnyEvent) -> None:
        """Close a step. A broken-off setup can then no longer be taken up again."""
        self.steps[step_id] = {"state": "done", "event": event["id"], "at_utc": event["at_utc"]}
        self.blocked = None
        self.before_break = None

    def skip(self, step_id: str, event: AnyEvent) -> None:
        """Skip an open step for good."""
        self.steps[step_id] = {"state": "skipped", "event": event["id"], "at_utc": event["at_utc"]}

    def open(self, step_id: str) -> None:
        """Open a step again; what it brought no longer counts, and its events stay."""
        self.steps[step_id] = OPEN.copy()
        self.blocked = None
        step = self.plan[step_id]
        if step["kind"] == "slot":
            self.slot = None
        elif step["kind"] == "copy":
            self.copied = None
        elif step["kind"] == "tool_out":
            self.probe_in_spindle = True
        elif step["kind"] == "square":
            for square in self.squares:
                square["stands"] = False
        elif step["kind"] in {"touch", "compare"}:
            for touch in self.touches:
                if touch["axis"] == step["axis"]:
                    touch["kept"], touch["because"] = False, None

    def last_touch(self, axis: str | None) -> int | None:
        """Return the place of the axis' last touch in `touches`, None when there is none."""
        for place in range(len(self.touches) - 1, -1, -1):
            if self.touches[place]["axis"] == axis:
                return place
        return None
