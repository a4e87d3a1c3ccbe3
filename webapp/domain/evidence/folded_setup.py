"""What the fold gives: every name of its result with its type. The browser gives the same as JSON.

Rules of this module:
- Plain values only, and names as they stand in the vectors that both languages are compared with.
- Times are the tablet's, as UTC text; `event` is the id of the event that brought an entry.
"""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

from webapp.domain.evidence.reviewed import Reviewed
from webapp.domain.plain.errors import Fields

Status = Literal["running", "finished", "signed", "signed_off", "not_accepted", "left"]


class StepState(TypedDict):
    """Where a step stands. An open one has neither event nor time."""

    state: Literal["open", "done", "skipped"]
    event: str | None
    at_utc: str | None


class Blocked(TypedDict):
    """Why the current step stays open, or what it waits for: a code of the words catalogue and its fields."""

    code: str
    fields: Fields


class Problem(TypedDict):
    """Something that does not fit; `event` is None where it lies with a decision."""

    event: str | None
    code: str
    fields: Fields


class ReadCaution(TypedDict):
    """A caution that was read."""

    caution: str
    at_utc: str
    read_at_utc: str
    event: str


class Copied(TypedDict):
    """The slot's old values, and how each compares with what was last seen in the slot."""

    values_nm: dict[str, int]
    compared: dict[str, str]
    event: str


class ReadAgain(TypedDict):
    """A second reading that was the same as the first."""

    typed: str
    event: str
    at_utc: str


class Touch(TypedDict):
    """A touch, whether its value stands and why; `difference_nm` is None without a usual.

    `reading`: 1, and above where the same touch was read again as another value,
    which is an entry of its own.
    """

    axis: str
    typed: str
    value_nm: int
    difference_nm: int | None
    verdict: str
    repeat_agrees: bool
    reading: int
    read_again: ReadAgain | None
    kept: bool
    because: str | None
    event: str
    at_utc: str


class Trigger(TypedDict):
    """Where the probe answered, as typed, and the surface that was to be entered by hand."""

    axis: str
    typed: str
    value_nm: int
    surface_nm: int
    event: str
    at_utc: str


class SquareLook(TypedDict):
    """A look for square, and whether it still stands."""

    axis: str
    typed: list[str]
    values_nm: list[int]
    apart_nm: int
    error_nm: int
    told: bool
    stands: bool
    event: str
    at_utc: str


class Hold(TypedDict):
    """Feed hold was pressed."""

    step: str | None
    at_utc: str
    event: str


class Answered(TypedDict):
    """The lead's answer to a question."""

    decision: str
    reason: str
    by: str
    at_utc: str


class Question(TypedDict):
    """A question to the lead, about an axis or about all of it (None)."""

    question: str
    axis: str | None
    text: str
    at_utc: str
    event: str
    answer: Answered | None


class ClosedWorry(TypedDict):
    """How a lead closed a worry: "checked" or "reasoned", and the words."""

    how: str
    reason: str
    by: str
    at_utc: str


class Worry(TypedDict):
    """Something was off; what it is about (None:
    nothing that outlasts the setup), whether that is kept from use, and how the worry was closed.
    """

    worry: str
    text: str
    step: str | None
    at_utc: str
    event: str
    about: str | None
    blocks: bool
    closed: ClosedWorry | None


class Redo(TypedDict):
    """A lead wants the setup done again:
    why (not_accepted, touch_again, redo, break_off), which axis (None: all).
    """

    why: str
    axis: str | None
    reason: str
    by: str
    at_utc: str


class Correction(TypedDict):
    """A step was opened again, or breaking off was taken back."""

    kind: str
    step: str
    reason: str
    at_utc: str
    event: str


class Resume(TypedDict):
    """Somebody came back."""

    away_ms: int
    step: str | None
    at_utc: str
    event: str


class BrokenOff(TypedDict):
    """Where and when the setup was broken off; why, once that was said.
    `to`, `event`: to whom it was handed over.
    """

    step: str
    at_utc: str
    reason: str | None
    text: str | None
    to: NotRequired[str]
    event: NotRequired[str]


PinState = Literal["on_device", "verified", "refused"]


class Sealed(TypedDict):
    """An event with a PIN sealed beside it, and where that stands with the server."""

    event: str
    at_utc: str
    state: PinState
    refused_because: str | None
    tries_left: int | None


class Lift(Sealed):
    """A stop that the lead lifted at the tablet; it counts once it is verified."""

    axis: str
    lead: str
    decision: str
    reason: str


class PutBack(Sealed):
    """Another's row that was put back with the lead."""

    label: str
    values_nm: dict[str, int]
    lead: str


class NotCounted(TypedDict):
    """Why a PIN did not count, and how many tries were left, where that was said."""

    refused_because: str
    tries_left: int | None


class TroubleMet(TypedDict):
    """What happened during a move; `order` counts the events of the setup."""

    trouble: str
    axis: str | None
    touched: bool
    reset: bool
    step: str | None
    at_utc: str
    event: str
    order: int


class Zeroed(TypedDict):
    """A row that was set to zero again."""

    slot: str | None
    event: str
    at_utc: str


class NotUsable(TypedDict):
    """A slot that a stop ended, the axes that did not stand, and whether its row was set to zero again."""

    slot: str | None
    axes: list[str]
    zeroed: bool


class LeftUnsigned(TypedDict):
    """The setup waits on its tablet for its signer."""

    at_utc: str
    event: str


class TakenOver(TypedDict):
    """The setup and the person that this one took over from."""

    setup: str
    person: str
    event: str
    at_utc: str


class Remark(TypedDict):
    """One thing that the lead is to see; see `webapp.domain.setup.remarks`."""

    kind: str
    axis: str | None
    values_nm: list[int]
    labels: list[str]
    by: str | None
    event: str
    at_utc: str


class Picture(TypedDict):
    """What came of a photo's picture. Kept: SHA-256 and size of the file that the server made of it. Refused:
    `code` and `fields` say why, and the others are None.
    """

    at_utc: str
    sha256: str | None
    bytes: int | None
    code: str | None
    fields: Fields


class Photo(TypedDict):
    """A picture that was taken at a step: what it shows, hash, size and pixels of the file that the tablet
    sends. `stands` until another is taken at the same step; `picture` is None until the file came.
    """

    step: str
    shows: str
    sha256: str
    bytes: int
    width: int
    height: int
    at_utc: str
    event: str
    stands: bool
    picture: Picture | None


class Beside(TypedDict):
    """Who stood beside for a step, by the word of whoever set up."""

    step: str
    who: str
    at_utc: str
    event: str


class Signature(TypedDict):
    """The operator's signature, and whether the server has verified it."""

    person: str
    meaning: str
    event: str
    at_utc: str
    state: PinState
    refused_because: str | None
    tries_left: int | None


class SignOff(TypedDict):
    """The lead's signature. `reviewed` is None for one from before fingerprints,
    `into_usual` (the axes whose values joined) for one from before that was chosen.
    """

    by: str
    at_utc: str
    meaning: str
    note: str
    reviewed: Reviewed | None
    into_usual: list[str] | None


class Refusal(TypedDict):
    """The lead's word that the setup is not accepted."""

    by: str
    at_utc: str
    reason: str
    reviewed: Reviewed | None


class Folded(TypedDict):
    """What a setup amounts to."""

    setup: str | None
    sheet: str | None
    person: str | None
    machine: str | None
    started_at_utc: str | None
    status: Status
    current_step: str | None
    blocked: Blocked | None
    keep_because: str | None
    probe_in_spindle: bool
    input_checked_ms: int | None
    steps: dict[str, StepState]
    cautions: list[ReadCaution]
    slot: str | None
    copied: Copied | None
    touches: list[Touch]
    squares: list[SquareLook]
    triggers: list[Trigger]
    to_enter_nm: int | None
    values_nm: dict[str, int | None]
    holds: list[Hold]
    photos: list[Photo]
    beside: list[Beside]
    beside_waits_for: str | None
    troubles: list[TroubleMet]
    lifts: list[Lift]
    may_touch_again: bool
    may_leave: bool
    copy_waits_for_label: bool
    put_backs: list[PutBack]
    zeroed: Zeroed | None
    not_usable: NotUsable | None
    left_unsigned: LeftUnsigned | None
    taken_over: TakenOver | None
    remarks: list[Remark]
    questions: list[Question]
    worries: list[Worry]
    corrections: list[Correction]
    resumes: list[Resume]
    broken_off: BrokenOff | None
    break_can_be_undone: bool
    outcome: str | None
    signatures: list[Signature]
    sign_off: SignOff | None
    not_accepted: Refusal | None
    redo: Redo | None
    problems: list[Problem]
