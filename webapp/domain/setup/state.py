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
    Beside,
    Blocked,
    BrokenOff,
    ClosedWorry,
    Copied,
    Correction,
    Hold,
    LeftUnsigned,
    Lift,
    NotCounted,
    Photo,
    Picture,
    Problem,
    PutBack,
    Question,
    ReadCaution,
    Refusal,
    Remark,
    Resume,
    Signature,
    SignOff,
    SquareLook,
    StepState,
    TakenOver,
    Touch,
    Trigger,
    TroubleMet,
    Worry,
    Zeroed,
)
from webapp.domain.evidence.for_whom import asked_for
from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.evidence.written_sheet import StepOnSheet, WrittenSheet

# An event of any kind, where its data is not looked at.
AnyEvent = Event[Any]

OPEN: StepState = {"state": "open", "event": None, "at_utc": None}
# From this format of the sheet on a stop is the lead's, copied values are looked up in every row,
# and a broken off row is set to zero again. What was sealed under an earlier sheet folds as it did.
STOPS_ARE_THE_LEADS = 2
# From this one on what only notes something counts until the signature: somebody who sees at the last step
# that a stylus is bent is the last who can tell the next person.
NOTED_TILL_SIGNED = 3


class Refused(Exception):
    """The event is not allowed in this state: a code of the words catalogue and its fields."""

    def __init__(self, code: str, **fields: str | int) -> None:
        super().__init__(code)
        self.code = code
        self.fields = fields


@dataclass
class TouchNote:
    """What the fold must know of a touch and the record need not.

    `searched_at` is the count at its search, `covered_from` the count after which a question is about this
    touch.
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
    # Old values that fit one other row alone, and that row: they wait for the label that stands beside them.
    copy_waits: tuple[Copied, str] | None = None
    zeroed: Zeroed | None = None
    left_unsigned: LeftUnsigned | None = None
    taken_over: TakenOver | None = None
    outcome: str | None = None
    sign_off: SignOff | None = None
    not_accepted: Refusal | None = None
    steps: dict[str, StepState] = field(default_factory=dict)
    cautions: list[ReadCaution] = field(default_factory=list)
    touches: list[Touch] = field(default_factory=list)
    squares: list[SquareLook] = field(default_factory=list)
    touch_notes: list[TouchNote] = field(default_factory=list)
    triggers: list[Trigger] = field(default_factory=list)
    # The count at an axis' last search when its trigger was read;
    # touches that hold another value than the surface that was to be entered, and that surface.
    triggered_at: dict[str, int] = field(default_factory=dict)
    entered_otherwise: dict[str, int] = field(default_factory=dict)
    searched_at: dict[str, int] = field(default_factory=dict)
    holds: list[Hold] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)
    beside: list[Beside] = field(default_factory=list)
    # Who stands beside at a step that is open, by the step.
    named: dict[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    question_order: dict[str, int] = field(default_factory=dict)
    worries: list[Worry] = field(default_factory=list)
    corrections: list[Correction] = field(default_factory=list)
    resumes: list[Resume] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    given_up: list[str] = field(default_factory=list)
    lifts: list[Lift] = field(default_factory=list)
    lift_order: dict[str, int] = field(default_factory=dict)
    put_backs: list[PutBack] = field(default_factory=list)
    troubles: list[TroubleMet] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    # Decisions of the server, by what they are about.
    answers: dict[str, Answered] = field(default_factory=dict)
    worries_closed: dict[str, ClosedWorry] = field(default_factory=dict)
    verified: set[str] = field(default_factory=set)
    refused: dict[str, NotCounted] = field(default_factory=dict)
    lifts_verified: set[str] = field(default_factory=set)
    lifts_refused: dict[str, NotCounted] = field(default_factory=dict)
    set_aside: dict[str, Blocked] = field(default_factory=dict)
    # Events that carried a caution on the word of one that does not bear it out, and that caution.
    not_found: dict[str, str] = field(default_factory=dict)
    # What came of the picture of each photo, by its event.
    pictures: dict[str, Picture] = field(default_factory=dict)
    # Counts events, so that "since that touch" has a meaning without a clock.
    count: int = 0
    slot_read_at: int = 0
    # When the input was last seen to change, by the tablet's forward clock.
    input_checked_ms: int | None = None

    def __post_init__(self) -> None:
        self.axes = {axis["axis"]: axis for axis in self.sheet["axes"]}
        self.plan_for(None)

    def plan_for(self, person: str | None) -> None:
        """Plan the steps that stand for a person, all of them open; before anybody began: every step."""
        self.plan = planned_steps(self.sheet, person)
        self.stage_of = {step_id: step_id.partition(".")[0] for step_id in self.plan}
        # The step that sets a row to zero again is there only once it is due.
        self.steps = {step_id: OPEN.copy() for step_id, step in self.plan.items() if step["kind"] != "zero"}

    @property
    def current(self) -> StepOnSheet | None:
        """Return the first open step as the sheet has it, None when all are done or skipped."""
        for step_id, step in self.plan.items():
            if step_id in self.steps and self.steps[step_id]["state"] == "open":
                return step
        return None

    @property
    def stops_are_the_leads(self) -> bool:
        """Tell whether the rules of stops, copies and rows hold that came with the sheet's second format."""
        return self.sheet.get("format", 1) >= STOPS_ARE_THE_LEADS

    @property
    def may_note(self) -> bool:
        """Tell whether a hold, a worry or a question counts now: until the review is done, and from the
        sheet's third format on until the signature.
        """
        if not self.is_finished:
            return True
        waits_for_signature = self.outcome != "left" and self.current is not None
        return waits_for_signature and self.sheet.get("format", 1) >= NOTED_TILL_SIGNED

    def is_done(self, step_id: str) -> bool:
        """Tell whether a step is done; one that is not due is not."""
        return step_id in self.steps and self.steps[step_id]["state"] == "done"

    @property
    def current_id(self) -> str | None:
        """Return the id of the current step."""
        return None if self.current is None else self.current["id"]

    @property
    def is_finished(self) -> bool:
        """Tell whether the review is done; only a signature can follow, and what may still be noted."""
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
        if asked_for(self.sheet, self.plan[step_id], self.person) and step_id not in self.named:
            self.note(event, "setup.beside_not_named", step=step_id)

    def skip(self, step_id: str, event: AnyEvent) -> None:
        """Skip an open step for good."""
        self.steps[step_id] = {"state": "skipped", "event": event["id"], "at_utc": event["at_utc"]}

    def open(self, step_id: str) -> None:
        """Open a step again; what it brought no longer counts, and its events stay."""
        self.ask_again(step_id)
        step = self.plan[step_id]
        if step["kind"] == "slot":
            self.slot, self.copy_waits = None, None
        elif step["kind"] == "copy":
            self.copied, self.copy_waits = None, None
        elif step["kind"] == "zero":
            self.zeroed = None
        elif step["kind"] == "tool_out":
            self.probe_in_spindle = True
        elif step["kind"] == "square":
            for square in self.squares:
                square["stands"] = False
        elif step["kind"] in {"touch", "compare"}:
            for touch in self.touches:
                if touch["axis"] == step["axis"]:
                    touch["kept"], touch["because"] = False, None

    def ask_again(self, step_id: str) -> None:
        """Open a step again whose answer still stands until another is given:
        what a reset of the control dropped.
        """
        self.steps[step_id] = OPEN.copy()
        self.blocked = None
        self.named.pop(step_id, None)

    def remark(
        self,
        kind: str,
        event: AnyEvent,
        values_nm: list[int],
        labels: list[str],
        by: str | None = None,
    ) -> None:
        """Note what the lead is to see."""
        about = remark(kind, event["id"], event["at_utc"], values_nm=values_nm, labels=labels, by=by)
        self.remarks.append(about)

    def last_touch(self, axis: str | None) -> int | None:
        """Return the place of the axis' last touch in `touches`, None when there is none."""
        for place in reversed(range(len(self.touches))):
            if self.touches[place]["axis"] == axis:
                return place
        return None


def remark(
    kind: str,
    event: str,
    at_utc: str,
    *,
    axis: str | None = None,
    values_nm: list[int] | None = None,
    labels: list[str] | None = None,
    by: str | None = None,
) -> Remark:
    """Return one thing that the lead is to see, as plain data: every remark has the same fields."""
    return {
        "kind": kind,
        "axis": axis,
        "values_nm": values_nm or [],
        "labels": labels or [],
        "by": by,
        "event": event,
        "at_utc": at_utc,
    }
