"""Decisions of the server about a setup: what the ledger says of it, as the fold and the record read it.

Rules of this module:
- A decision is one change on the ledger (`webapp.services.evidence.ledger`); its type is a literal here.
- Changes of other types may stand among them; to a fold they say nothing.
"""

from __future__ import annotations

from typing import Generic, Literal, NotRequired, TypedDict, TypeVar

from webapp.domain.evidence.reviewed import Reviewed
from webapp.domain.plain.errors import Fields

Type = TypeVar("Type")
Data = TypeVar("Data")


class Change(TypedDict, Generic[Type, Data]):
    """One change on the ledger. `by` is a person's id, or the word for the server."""

    domain: str
    type: Type
    at_utc: str
    by: str
    subject: str
    setup: str | None
    data: Data


class AnswerGiven(TypedDict):
    """Question.answered."""

    question: str
    axis: str | None
    decision: str
    reason: str


class WorryEnded(TypedDict):
    """Worry.closed: which event raised it, what it was about, how it was closed and in which words."""

    worry: str
    about: str
    how: str
    reason: str


class Verified(TypedDict):
    """Signature.verified, lift.verified: the PIN beside this event was right.
    `key`: its seal was opened with it.
    """

    event: str
    person: str
    key: str


class NotVerified(TypedDict):
    """Signature.refused, lift.refused:
    why the PIN beside this event does not count, and how many tries are left.
    """

    event: str
    person: str
    reason: str
    tries_left: NotRequired[int]


class SignedOff(TypedDict):
    """Setup.signed_off. Early ones have no `reviewed`, and none of `into_usual`:
    the axes whose values joined.
    """

    meaning: str
    note: str
    reviewed: NotRequired[Reviewed]
    into_usual: NotRequired[list[str]]


class NotAccepted(TypedDict):
    """Setup.not_accepted."""

    reason: str
    reviewed: NotRequired[Reviewed]


class SetAside(TypedDict):
    """Event.set_aside: an event that was refused after its signature was found right."""

    event: str
    code: str
    fields: Fields


class CitedNotFound(TypedDict):
    """Caution.not_found: `event` carried a caution on the word of `read_event`,
    which does not bear that out.
    """

    event: str
    caution: str
    read_event: str


class Sealed(TypedDict):
    """Record.sealed: the hash of the whole file."""

    sha256: str
    bytes: int


class PictureKept(TypedDict):
    """Photo.kept: the file that this event names came, and was made again as pixels alone; both hashes."""

    event: str
    sent_sha256: str
    sha256: str
    bytes: int
    width: int
    height: int


class PictureRefused(TypedDict):
    """Photo.refused: the file that this event names came, and why it is not kept."""

    event: str
    sent_sha256: str
    code: str
    fields: Fields


QuestionAnswered = Change[Literal["question.answered"], AnswerGiven]
WorryClosed = Change[Literal["worry.closed"], WorryEnded]
PhotoKept = Change[Literal["photo.kept"], PictureKept]
PhotoRefused = Change[Literal["photo.refused"], PictureRefused]
Decision = (
    QuestionAnswered
    | WorryClosed
    | Change[Literal["signature.verified"], Verified]
    | Change[Literal["signature.refused"], NotVerified]
    | Change[Literal["lift.verified"], Verified]
    | Change[Literal["lift.refused"], NotVerified]
    | Change[Literal["setup.signed_off"], SignedOff]
    | Change[Literal["setup.not_accepted"], NotAccepted]
    | Change[Literal["event.set_aside"], SetAside]
    | Change[Literal["caution.not_found"], CitedNotFound]
    | PhotoKept
    | PhotoRefused
    | Change[Literal["record.sealed"], Sealed]
)
