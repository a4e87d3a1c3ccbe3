"""Procedures: the shop's ordered steps as data, and their revisions.

Rules of this module:
- A step says what to do, what to look for, why, what to do if it looks different,
  and the state that the machine must be in before a hand goes in.
- A revision is the canonical JSON text of a procedure and the SHA-256 of it. It is only made by `publish`,
  which asks `webapp.domain.procedure.rules` first, and it never changes: another text has another hash.
- The classes here are the shape of the JSON text: exactly these fields, each of its type.
  One with a value beside it may be missing, as it is in a text from before that field.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256

from webapp.domain.plain.declared import Fault, Shape, exactly
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.json_strict import canonical_text, read_json
from webapp.domain.procedure.rules import faults

LARGEST_PROCEDURE_BYTES = 1024 * 1024
# Fields of a step that its text has only where they say something: a procedure from before them keeps its
# text, and so its hash.
SAID_ALONE = ("level", "there", "picture")


class ProcedureError(DomainError):
    """A procedure cannot be taken as it is."""


class ProcedureRefusedError(ProcedureError):
    """The procedure cannot be published; `faults` lists every reason at once."""

    code = "procedure.refused"
    field_names = ("count",)

    def __init__(self, found: tuple[Finding, ...]) -> None:
        super().__init__(count=len(found))
        self.faults = found


class ProcedureShapeError(ProcedureError):
    """A part of the procedure has not exactly the fields that such a part has."""

    code = "procedure.shape"
    field_names = ("part", "field")


class RevisionChangedError(ProcedureError):
    """A published text does not have the hash that it was published under."""

    code = "procedure.revision_changed"
    field_names = ("hash",)


@exactly
@dataclass(frozen=True)
class Caution:
    """What can hurt, in the parts that ANSI Z535.4 and ISO 3864-2 ask for;
    `signal` is the word in small letters.
    """

    id: str
    signal: str
    hazard: str
    consequence: str
    avoidance: str


@exactly
@dataclass(frozen=True)
class Choice:
    """An answer to a step. One that does not close is kept, and the step stays open."""

    id: str
    label: str
    closes: bool = True


@exactly
@dataclass(frozen=True)
class Check:
    """One line of a list that is ticked off. With `when` it stands only where that condition holds."""

    id: str
    label: str
    when: str = ""


@exactly
@dataclass(frozen=True)
class Variant:
    """Other words for a step where a condition holds; a text that is empty keeps the step's own."""

    when: str
    do: str = ""
    look_for: str = ""
    why: str = ""
    if_not: str = ""
    action: str = ""
    machine_state: str = ""
    hands: bool | None = None


@exactly
@dataclass(frozen=True)
class Picture:
    """A picture that a step shows: SHA-256 and pixels of the file that is kept, and its words."""

    sha256: str
    width: int
    height: int
    shows: str


@exactly
@dataclass(frozen=True)
class Step:
    """One action. `id` is stage and name with a point between; `action` labels the one primary button.

    `hands`: hands are inside, so nothing may move. `once_a_shift`: a caution that whom the lead allows it
    reads once a shift. `when`: the step stands only where this condition holds
    (`webapp.domain.procedure.profile`), empty always. `photo`: what a picture shows that the tablet offers to
    take here, empty where it offers none. `level`: the step stands only for who sets up so
    (`webapp.domain.plain.levels`), empty for everybody. `there`: who has to stand beside for it
    (`webapp.domain.procedure.company`), empty nobody. `picture`: one that the step shows, None where none.
    """

    id: str
    kind: str
    do: str
    look_for: str
    why: str
    if_not: str
    action: str
    machine_state: str
    axis: str | None = None
    caution: Caution | None = None
    choices: tuple[Choice, ...] = ()
    checks: tuple[Check, ...] = ()
    hands: bool = False
    once_a_shift: bool = False
    when: str = ""
    variants: tuple[Variant, ...] = ()
    photo: str = ""
    level: str = ""
    there: str = ""
    picture: Picture | None = None


@exactly
@dataclass(frozen=True)
class Stage:
    """A long mark of the scale: `short` is what the mark says."""

    id: str
    short: str
    title: str
    steps: tuple[Step, ...]


@exactly
@dataclass(frozen=True)
class Procedure:
    """All stages in order. `language` is the one that its wording is in (BCP 47)."""

    id: str
    title: str
    language: str
    stages: tuple[Stage, ...]

    @property
    def steps(self) -> tuple[Step, ...]:
        """Return every step in order."""
        return tuple(step for stage in self.stages for step in stage.steps)


SHAPE: Shape[Procedure] = Shape(Procedure)
# What an entry of each list is called.
PARTS: Mapping[str, str] = {
    "stages": "stage",
    "steps": "step",
    "choices": "choice",
    "checks": "check",
    "variants": "variant",
    "caution": "caution",
    "picture": "picture",
}


@dataclass(frozen=True)
class Revision:
    """A published procedure: its canonical text and the text's SHA-256 in lower-case hex."""

    hash: str
    text: str
    procedure: Procedure

    @classmethod
    def from_text(cls, text: str, expected_hash: str) -> Revision:
        """Return the revision kept under this hash.
        Raises `RevisionChangedError` when the text is another.
        """
        if _hash(text) != expected_hash:
            raise RevisionChangedError(hash=expected_hash)
        return cls(expected_hash, text, procedure_from_json(text.encode("utf-8")))


def publish(procedure: Procedure) -> Revision:
    """Return the procedure as a revision. Raises `ProcedureRefusedError` with every reason at once."""
    found = faults(procedure)
    if found:
        raise ProcedureRefusedError(found)
    text = text_of(procedure)
    return Revision(_hash(text), text, procedure)


def text_of(procedure: Procedure) -> str:
    """Return the canonical text of a procedure, whether it could be published or not."""
    value = asdict(procedure)
    for stage in value["stages"]:
        for step in stage["steps"]:
            for name in SAID_ALONE:
                if not step[name]:
                    del step[name]
    return canonical_text(value)


def procedure_from_json(data: bytes) -> Procedure:
    """Return the procedure in this JSON text. Raises a `JsonError`, or `ProcedureShapeError` for a field
    missing, unknown or wrong; publishes nothing.
    """
    read_json(data, LARGEST_PROCEDURE_BYTES)
    read = SHAPE.read_text(data)
    if isinstance(read, Fault):
        raise ProcedureShapeError(**_part_and_field(read.place))
    return read


def _part_and_field(place: tuple[str | int, ...]) -> dict[str, str]:
    """Say in which part of a procedure a place lies, and which of the part's fields it is."""
    part, field = "procedure", ""
    for one in place:
        if isinstance(one, int) or field in {"caution", "picture"}:
            part = PARTS[field]
        field = "" if isinstance(one, int) else one
    return {"part": part, "field": field}


def _hash(text: str) -> str:
    return sha256(text.encode("utf-8")).hexdigest()
