"""The kinds of events: for each its name on the wire, exactly the fields of its `data`, and which steps it
answers.

Rules of this module:
- A kind's name is a literal here and is never made from a class:
  moving or renaming code must not move a name.
- Lengths are whole nanometres beside the text that was typed;
  `webapp.domain.setup` decides again from the text.
- A field that a kind gets later is `NotRequired`: events from before stay whole.
- `KINDS` is the register. `webapp.domain.setup.fold` joins each kind with the one function that says what it
  does to a setup, `static/js/rules/setup/fold.js` with that function's twin of the same name; a test holds
  the three together. What a kind leaves for the lead to see is a remark (`webapp.domain.setup.remarks`),
  whose words stand in the catalogue: desk, record and tablet say it from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Generic, Literal, NotRequired, TypeVar

from pydantic import AfterValidator, Field
from typing_extensions import ReadOnly, TypedDict

from webapp.domain.plain.declared import Expected, exactly
from webapp.domain.plain.json_strict import LARGEST_INTEGER

EVENT_DOMAIN = "zerokeep/event/1"
LONGEST_TYPED = 40
LONGEST_TEXT = 2000
LARGEST_LENGTH_NM = 10**13
# What a tablet sends of a picture, small enough for a slow network (proposed here, no source).
LONGEST_PHOTO_SIDE_PX = 1280
LARGEST_PHOTO_BYTES = 256 * 1024

AxisName = Literal["X", "Y", "Z"]
AXIS_NAMES: tuple[AxisName, ...] = ("X", "Y", "Z")
Display = Literal["standalone", "browser"]
Found = Literal["clear", "probe_in_spindle", "something_else"]
SlotOutcome = Literal["own", "somebody_elses", "shop", "free", "expired", "unknown"]
Compared = Literal["same", "changed", "not_seen_before"]
Verdict = Literal["agrees", "ask", "stop"]
Because = Literal["agrees", "question", "lead", "repeat", "first"]
WorryKind = Literal[
    "hit_something",
    "stylus_bent",
    "fell",
    "probe_looks_wrong",
    "vise_loose",
    "wrong_place",
    "machine_looks_wrong",
    "somebody_in_the_way",
    "other",
]
WorryAbout = Literal["machine", "vise", "probe"]
BreakReason = Literal[
    "stop_verdict",
    "machine",
    "vise",
    "probe",
    "out_of_time",
    "wrong_slot",
    "practice",
    "handed_over",
    "other",
]
Trouble = Literal["held", "wrong_way", "alarm", "nothing_found", "dead_probe", "change_stuck"]
LiftDecision = Literal["go_on", "touch_again"]
Outcome = Literal["complete", "broken_off"]

_CHOICE = Expected("expected.choice")
# Neither C0 nor C1 controls, but for a line end and a tab.
_PLAIN = r"^[^\x00-\x08\x0b-\x1f\x7f-\x9f]*$"
_SHORT_ID = r"^[a-z0-9](?:[a-z0-9-]{0,46}[a-z0-9])?$"
_UUID = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
_TIME = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$"


def _real_time(at_utc: str) -> str:
    """Return the same time. Raises ValueError for a day or an hour that no calendar and no clock has."""
    datetime.fromisoformat(at_utc)
    return at_utc


AtUtc = Annotated[str, Field(pattern=_TIME), AfterValidator(_real_time), Expected("expected.time")]
Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$"), Expected("expected.hash")]
ShortId = Annotated[str, Field(pattern=_SHORT_ID), Expected("expected.short_id")]
Uuid = Annotated[str, Field(pattern=_UUID), Expected("expected.uuid")]
StepId = Annotated[
    str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}\.[a-z][a-z0-9_]{0,30}$"), Expected("expected.step_id")
]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,40}$"), Expected("expected.name")]
DeviceId = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{43}$"), Expected("expected.device")]
AppVersion = Annotated[str, Field(pattern=r"^[A-Za-z0-9.+_-]{1,64}$"), Expected("expected.version")]
Typed = Annotated[str, Field(max_length=LONGEST_TYPED, pattern=_PLAIN), Expected("expected.typed")]
Text = Annotated[str, Field(max_length=LONGEST_TEXT, pattern=_PLAIN), Expected("expected.text")]
LengthNm = Annotated[int, Field(ge=-LARGEST_LENGTH_NM, le=LARGEST_LENGTH_NM), Expected("expected.length")]
DistanceNm = Annotated[int, Field(ge=1, le=LARGEST_LENGTH_NM), Expected("expected.length")]
DifferenceNm = Annotated[
    int, Field(ge=-2 * LARGEST_LENGTH_NM, le=2 * LARGEST_LENGTH_NM), Expected("expected.length")
]
Count = Annotated[int, Field(ge=0, le=LARGEST_INTEGER), Expected("expected.count")]
Ordinal = Annotated[int, Field(ge=1, le=LARGEST_INTEGER), Expected("expected.count")]
Pixels = Annotated[int, Field(ge=1, le=LONGEST_PHOTO_SIDE_PX), Expected("expected.count")]
PhotoBytes = Annotated[int, Field(ge=1, le=LARGEST_PHOTO_BYTES), Expected("expected.count")]
Truth = Annotated[bool, Expected("expected.truth")]
Axis = Annotated[AxisName, Expected("expected.axis")]

T = TypeVar("T")
Data = TypeVar("Data")
MOST_TICKED = 12


def _different(names: list[str]) -> list[str]:
    """Return the same list. Raises ValueError where a name stands twice."""
    if len(set(names)) != len(names):
        raise ValueError(names)
    return names


Two = Annotated[list[T], Field(min_length=2, max_length=2), Expected("expected.two")]


@exactly
class OfEachAxis(TypedDict, Generic[T]):
    """One entry each for X, Y and Z."""

    X: T
    Y: T
    Z: T


ByAxis = Annotated[OfEachAxis[T], Expected("expected.by_axis")]


@exactly
class SetupStarted(TypedDict):
    """Setup.started: the first event of every setup."""

    machine: ShortId
    display: Annotated[Display, _CHOICE]


@exactly
class SetupResumed(TypedDict):
    """Setup.resumed: a person came back, or the page was loaded again."""

    away_ms: Count


@exactly
class CautionRead(TypedDict):
    """Caution.read."""

    caution: Name


@exactly
class CautionCarried(TypedDict):
    """Caution.carried: acknowledged earlier in the shift, when and in which event of this tablet."""

    caution: Name
    read_at_utc: AtUtc
    read_event: Hash


@exactly
class BoardChecked(TypedDict):
    """Board.checked: what was found in the machine."""

    found: Annotated[Found, _CHOICE]
    text: Text


@exactly
class StepDone(TypedDict):
    """Step.done: a confirmation, one of the step's choices, or a search that is set."""

    answer: Name


@exactly
class ChecksTicked(TypedDict):
    """Checks.ticked: the lines of a list that were ticked, in the order in which they were."""

    ticked: Annotated[
        list[Name],
        Field(min_length=1, max_length=MOST_TICKED),
        AfterValidator(_different),
        Expected("expected.list"),
    ]


@exactly
class ToolRead(TypedDict):
    """Tool.read: the tool number that the control shows."""

    typed: Typed
    matches: Truth


@exactly
class SlotRead(TypedDict):
    """Slot.read: the slot that is selected on the control."""

    typed: Typed
    outcome: Annotated[SlotOutcome, _CHOICE]


@exactly
class TypedValues(TypedDict):
    """What was typed for each axis, and the lengths that the tablet read in it."""

    typed: ByAxis[Typed]
    values_nm: ByAxis[LengthNm]


@exactly
class ValuesCopied(TypedValues):
    """Values.copied: the slot's old values."""

    compared: ByAxis[Compared]


@exactly
class SlotCleared(TypedValues):
    """Slot.cleared: what the slot shows after the clearing."""


@exactly
class TouchEntered(TypedDict):
    """Touch.entered: the value that the control shows after a touch, and what the tablet made of it."""

    axis: Axis
    typed: Typed
    value_nm: LengthNm
    verdict: Annotated[Verdict, _CHOICE]
    difference_nm: DifferenceNm | None


@exactly
class TouchReadAgain(TouchEntered):
    """Touch.read_again: the same touch read a second time, without seeing what was read first."""


@exactly
class TriggerRead(TypedDict):
    """Trigger.read: where the control says that the probe answered, and the surface to be entered by hand."""

    axis: Axis
    typed: Typed
    value_nm: LengthNm
    surface_nm: LengthNm


@exactly
class StopLifted(TypedDict):
    """Stop.lifted: the lead stood at the tablet; the PIN travels sealed beside the event."""

    axis: Axis
    lead: ShortId
    decision: Annotated[LiftDecision, _CHOICE]
    reason: Text


@exactly
class AxisGivenUp(TypedDict):
    """Axis.given_up: a stop stands and no lead lifts it; the setup ends as not usable."""

    axis: Axis


@exactly
class LabelRead(TypedDict):
    """Label.read: the label that stands beside the copied values."""

    typed: Typed


@exactly
class SlotZeroed(TypedValues):
    """Slot.zeroed: the row of a setup that was broken off, read back at zero beside its label."""

    label: Typed


@exactly
class RowPutBack(TypedValues):
    """Row.put_back: another's row holds again what was copied from it;
    the lead's PIN travels sealed beside it.
    """

    label: Typed
    lead: ShortId


@exactly
class TroubleMet(TypedDict):
    """Trouble.met: what happened during a move, whether the ball touched, whether the control was reset."""

    trouble: Annotated[Trouble, _CHOICE]
    touched: Truth
    reset: Truth


@exactly
class SetupHandedOver(TypedDict):
    """Setup.handed_over: somebody else goes on, in a setup of their own."""

    to: ShortId


@exactly
class SetupTakenOver(TypedDict):
    """Setup.taken_over: this setup begins where another person handed over."""

    from_setup: Uuid
    from_person: ShortId


@exactly
class SquareEntered(TypedDict):
    """Square.entered: what the control showed at both places of the jaw."""

    axis: Axis
    typed: Two[Typed]
    values_nm: Two[LengthNm]
    apart_nm: DistanceNm
    error_nm: LengthNm
    told: Truth


@exactly
class TouchRepeated(TypedDict):
    """Touch.repeated: search and touch this axis again."""

    axis: Axis


@exactly
class ChipWiped(TouchRepeated):
    """Chip.wiped: something lay between ball and face and was wiped off; search and touch this axis again."""


@exactly
class TouchKept(TypedDict):
    """Touch.kept: the value stands, and for which reason."""

    axis: Axis
    because: Annotated[Because, _CHOICE]


@exactly
class QuestionPut(TypedDict):
    """Question.put: to the lead, about an axis or about all of it."""

    question: Uuid
    axis: Axis | None
    text: Text


@exactly
class WorryRaised(TypedDict):
    """Worry.raised: something is off, and what it is about. Older events do not say."""

    worry: Annotated[WorryKind, _CHOICE]
    text: Text
    about: NotRequired[Annotated[WorryAbout | None, _CHOICE]]


@exactly
class PhotoTaken(TypedDict):
    """Photo.taken: the JPEG file that the tablet sends of what a step shows: its SHA-256, size, pixels."""

    sha256: Hash
    bytes: PhotoBytes
    width: Pixels
    height: Pixels


@exactly
class BesideNamed(TypedDict):
    """Beside.named: who stands beside for a step, by the word of whoever sets up. Nothing checks it."""

    who: ShortId


@exactly
class Nothing(TypedDict):
    """Hold.pressed, setup.broken_off, break.undone, setup.left, setup.left_unsigned:
    that it happened is all.
    """


@exactly
class StepReopened(TypedDict):
    """Step.reopened: a correction."""

    reopened: StepId
    reason: Text


@exactly
class BreakExplained(TypedDict):
    """Break.explained: why a setup was broken off."""

    reason: Annotated[BreakReason, _CHOICE]
    text: Text


@exactly
class SetupFinished(TypedDict):
    """Setup.finished: the review is done."""

    outcome: Annotated[Outcome, _CHOICE]


@exactly
class SetupSigned(TypedDict):
    """Setup.signed: the operator's signature."""

    meaning: Annotated[Literal["performed"], _CHOICE]


@dataclass(frozen=True)
class Kind:
    """What its events carry, and the kinds of step that such an event answers.
    One that answers none may come at any step.
    """

    data: Any
    answers: tuple[str, ...] = ()


KINDS: Mapping[str, Kind] = {
    "setup.started": Kind(SetupStarted),
    "setup.resumed": Kind(SetupResumed),
    "caution.read": Kind(CautionRead, ("caution",)),
    "caution.carried": Kind(CautionCarried, ("caution",)),
    "board.checked": Kind(BoardChecked, ("board",)),
    "step.done": Kind(StepDone, ("confirm", "jaw", "input", "over", "lower", "search")),
    "checks.ticked": Kind(ChecksTicked, ("checks",)),
    "tool.read": Kind(ToolRead, ("tool_in", "tool_out")),
    "slot.read": Kind(SlotRead, ("slot",)),
    "values.copied": Kind(ValuesCopied, ("copy",)),
    "label.read": Kind(LabelRead, ("copy",)),
    "slot.cleared": Kind(SlotCleared, ("clear",)),
    "slot.zeroed": Kind(SlotZeroed, ("zero",)),
    "row.put_back": Kind(RowPutBack),
    "trigger.read": Kind(TriggerRead, ("touch",)),
    "touch.entered": Kind(TouchEntered, ("touch",)),
    "square.entered": Kind(SquareEntered, ("square",)),
    "touch.read_again": Kind(TouchReadAgain, ("compare",)),
    "stop.lifted": Kind(StopLifted),
    "axis.given_up": Kind(AxisGivenUp),
    "touch.repeated": Kind(TouchRepeated, ("compare",)),
    "chip.wiped": Kind(ChipWiped, ("compare",)),
    "touch.kept": Kind(TouchKept, ("compare",)),
    "question.put": Kind(QuestionPut),
    "worry.raised": Kind(WorryRaised),
    "hold.pressed": Kind(Nothing),
    "photo.taken": Kind(PhotoTaken),
    "beside.named": Kind(BesideNamed),
    "input.aged": Kind(Nothing),
    "trouble.met": Kind(TroubleMet),
    "step.reopened": Kind(StepReopened),
    "setup.broken_off": Kind(Nothing),
    "break.explained": Kind(BreakExplained),
    "break.undone": Kind(Nothing),
    "setup.left": Kind(Nothing),
    "setup.left_unsigned": Kind(Nothing),
    "setup.handed_over": Kind(SetupHandedOver),
    "setup.taken_over": Kind(SetupTakenOver),
    "setup.finished": Kind(SetupFinished, ("finish",)),
    "setup.signed": Kind(SetupSigned, ("sign",)),
}
# An event that can close a step names that step.
CLOSING = frozenset(name for name, kind in KINDS.items() if kind.answers)


class _Common(TypedDict, Generic[Data]):
    domain: Annotated[Literal["zerokeep/event/1"], Expected("expected.domain")]
    type: Annotated[str, Expected("expected.text")]
    device: DeviceId
    sequence: Ordinal
    previous: Hash | None
    setup: Uuid
    sheet: Hash
    app: AppVersion
    person: ShortId
    at_utc: AtUtc
    elapsed_ms: Count
    data: Annotated[Data, Expected("expected.object")]


@exactly
class SignedEvent(_Common[Data], Generic[Data]):
    """An event as it was signed. `previous` is the id of the device's event before, None for its first."""

    step: StepId | None


class Event(_Common[Data], Generic[Data]):
    """The same with its id, the SHA-256 of what was signed: what everything inside works with."""

    id: str
    step: ReadOnly[str | None]


class Answer(Event[Data], Generic[Data]):
    """An event that answers a step, and so names one."""

    step: str
