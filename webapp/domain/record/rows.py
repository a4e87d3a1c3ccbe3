"""The parts of a record's page, as plain data:
every number as text, every sentence as a code with its fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from webapp.domain.evidence.written_sheet import Drawing
from webapp.domain.plain.errors import Finding
from webapp.domain.record.story import Happening


@dataclass(frozen=True)
class ScaleStage:
    """One long mark of the scale: `state` is done, part, skipped or open; `steps` holds each step's state."""

    short: str
    title: str
    state: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class Plate:
    """The value that stands for one axis, with its sign, in the machine's unit and beside it in the other."""

    axis: str
    value: str | None
    other: str | None
    sign: str
    verdict: Finding


@dataclass(frozen=True)
class TouchRow:
    """One touch beside what is usual. Texts without unit; `usual` and `difference` are None without a usual.

    `causes` is what was named as likely, the likeliest first; None where there was nothing to explain.
    """

    axis: str
    at: str
    typed: str
    usual: str | None
    difference: str | None
    ask_line: str | None
    stop_line: str | None
    sign: str
    verdict: Finding
    kept: Finding
    causes: tuple[Finding, ...] | None


@dataclass(frozen=True)
class UsualRow:
    """What the usual stands on, by direction of search, and how the search was planned: where the ball was to
    stand, in which coordinates, how far and how fast. None where the sheet has no plan, or does not say which
    point it means.
    """

    search: str
    stands_on: Finding
    planned: Finding | None


@dataclass(frozen=True)
class SquareRow:
    """A look for square: both typed values, how far apart, and what it came to."""

    axis: str
    at: str
    typed: tuple[str, str]
    apart: str
    found: Finding


@dataclass(frozen=True)
class PaceRow:
    """A step that was done fast, with its time,
    the shop's middle time and what reading it takes, in seconds.
    """

    do: str
    took: str
    shop: str
    reading: str


@dataclass(frozen=True)
class CopiedRow:
    """An old value of the slot, as typed before clearing,
    and how it compared with what was last seen there.
    """

    axis: str
    typed: str
    compared: Finding


@dataclass(frozen=True)
class CautionRow:
    """A caution and when it was read: its signal word in small letters, and the hazard.
    The sheet holds all of it.
    """

    signal: str
    hazard: str
    at: str | None


@dataclass(frozen=True)
class CheckRow:
    """A step that was answered with what was seen: what to do, and the answer."""

    do: str
    answer: Finding
    at: str


@dataclass(frozen=True)
class SignatureRow:
    """A person's signature in words. `event` is the identifier shortened to 16 digits, in groups of four.

    `read` says over what a lead decided, None for an operator's signature.
    """

    name: str
    roles: tuple[Finding, ...]
    meaning: Finding
    at: str
    state: Finding
    event: str
    note: str
    read: Finding | None = None


@dataclass(frozen=True)
class FileRow:
    """An attached file and its SHA-256 in groups of four."""

    name: str
    hash: str


@dataclass(frozen=True)
class Proof:
    """What lets a stranger check the record."""

    files: tuple[FileRow, ...]
    ledger_size: int | None
    ledger_root: str | None
    renderer: Mapping[str, str]


@dataclass(frozen=True)
class RecordFacts:
    """Everything that the page prints."""

    shop: str
    notice: str
    machine: str
    machine_id: str
    unit: str
    fixture: str
    seating_since: str
    probe: str
    ball: str
    slot: str | None
    operator: str
    authorised: Finding
    machine_serial: str
    probe_serial: str
    not_plain: tuple[Finding, ...]
    tablets: tuple[str, ...]
    procedure: str
    revision: str
    setup: str
    started: str
    ended: str | None
    sealed: str | None
    status: Finding
    outcome: Finding
    scale: tuple[ScaleStage, ...]
    plates: tuple[Plate, ...]
    half_set: Finding | None
    touches: tuple[TouchRow, ...]
    usuals: tuple[UsualRow, ...]
    squares: tuple[SquareRow, ...]
    probe_check: Finding | None
    pace: Finding | None
    fast: tuple[PaceRow, ...]
    fast_more: Finding | None
    copied: tuple[CopiedRow, ...]
    cautions: tuple[CautionRow, ...]
    checks: tuple[CheckRow, ...]
    happenings: tuple[Happening, ...]
    signatures: tuple[SignatureRow, ...]
    drawings: tuple[tuple[str, Drawing], ...]
    proof: Proof
