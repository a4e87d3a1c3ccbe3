"""Procedures: the shop's ordered steps as data, and their revisions.

Rules of this module:
- A step says what to do, what to look for, why, what to do if it looks different,
  and the state that the machine must be in before a hand goes in.
- A revision is the canonical JSON text of a procedure and the SHA-256 of it. It is only made by `publish`,
  which asks `webapp.domain.procedure.rules` first, and it never changes: another text has another hash.
- A procedure read from JSON has exactly the known fields;
  those that came later may be missing in an older text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256
from typing import Any

from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.plain.json_strict import canonical_text, read_json
from webapp.domain.procedure.rules import faults

LARGEST_PROCEDURE_BYTES = 1024 * 1024


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


@dataclass(frozen=True)
class Choice:
    """An answer to a step. One that does not close is kept, and the step stays open."""

    id: str
    label: str
    closes: bool = True


@dataclass(frozen=True)
class Check:
    """One line of a list that is ticked off. With `when` it stands only where that condition holds."""

    id: str
    label: str
    when: str = ""


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


@dataclass(frozen=True)
class Step:
    """One action. `id` is stage and name with a point between; `action` labels the one primary button.

    `hands`: hands are inside, so nothing may move. `once_a_shift`: a caution that whom the lead allows it
    reads once a shift. `when`: the step stands only where this condition holds
    (`webapp.domain.procedure.profile`), empty always.
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


@dataclass(frozen=True)
class Stage:
    """A long mark of the scale: `short` is what the mark says."""

    id: str
    short: str
    title: str
    steps: tuple[Step, ...]


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
    text = canonical_text(asdict(procedure))
    return Revision(_hash(text), text, procedure)


def procedure_from_json(data: bytes) -> Procedure:
    """Return the procedure in this JSON text.
    Raises a `JsonError` or `ProcedureShapeError`; publishes nothing.
    """
    return procedure_from_dict(read_json(data, LARGEST_PROCEDURE_BYTES))


def procedure_from_dict(value: Any) -> Procedure:
    """Return the procedure in this plain value.
    Raises `ProcedureShapeError` for a field missing, unknown or wrong.
    """
    fields = _fields(value, "procedure", _TEXTS["procedure"], ("stages",))
    return Procedure(
        **{**fields, "stages": tuple(map(_stage, _list(fields["stages"], "procedure", "stages")))}
    )


_TEXTS: Mapping[str, tuple[str, ...]] = {
    "procedure": ("id", "title", "language"),
    "stage": ("id", "short", "title"),
    "step": ("id", "kind", "do", "look_for", "why", "if_not", "action", "machine_state"),
    "caution": ("id", "signal", "hazard", "consequence", "avoidance"),
    "choice": ("id", "label"),
    "check": ("id", "label", "when"),
    "variant": ("when", "do", "look_for", "why", "if_not", "action", "machine_state"),
}
# Fields of a step that an older text does not have.
LATER = ("checks", "hands", "once_a_shift", "when", "variants")


def _stage(value: Any) -> Stage:
    fields = _fields(value, "stage", _TEXTS["stage"], ("steps",))
    return Stage(**{**fields, "steps": tuple(map(_step, _list(fields["steps"], "stage", "steps")))})


def _step(value: Any) -> Step:
    own = ("axis", "caution", "choices")
    fields = _fields(value, "step", _TEXTS["step"], own, LATER)
    _require("step", fields, {"axis": (str, type(None)), "hands": bool, "once_a_shift": bool, "when": str})
    caution = fields["caution"]
    return Step(**{
        **fields,
        "caution": None if caution is None else Caution(**_fields(caution, "caution", _TEXTS["caution"], ())),
        "choices": tuple(map(_choice, _list(fields["choices"], "step", "choices"))),
        "checks": tuple(map(_check, _list(fields.get("checks", []), "step", "checks"))),
        "variants": tuple(map(_variant, _list(fields.get("variants", []), "step", "variants"))),
    })  # fmt: skip


def _require(part: str, fields: Mapping[str, object], kinds: Mapping[str, type | tuple[type, ...]]) -> None:
    """Refuse a field that holds another kind of value."""
    for name, kind in kinds.items():
        if name in fields and not isinstance(fields[name], kind):
            raise ProcedureShapeError(part=part, field=name)


def _check(value: Any) -> Check:
    return Check(**_fields(value, "check", _TEXTS["check"], ()))


def _variant(value: Any) -> Variant:
    fields = _fields(value, "variant", _TEXTS["variant"], ("hands",))
    _require("variant", fields, {"hands": (bool, type(None))})
    return Variant(**fields)


def _choice(value: Any) -> Choice:
    fields = _fields(value, "choice", _TEXTS["choice"], ("closes",))
    if not isinstance(fields["closes"], bool):
        raise ProcedureShapeError(part="choice", field="closes")
    return Choice(**fields)


def _fields(
    value: Any, part: str, texts: tuple[str, ...], others: tuple[str, ...], later: tuple[str, ...] = ()
) -> Any:
    """Return the object when it has exactly these fields,
    `later` ones or not, and the first ones hold text.
    """
    if not isinstance(value, dict):
        raise ProcedureShapeError(part=part, field="")
    odd = sorted((value.keys() ^ {*texts, *others}) - {*later})
    odd += [name for name in texts if name in value and not isinstance(value[name], str)]
    if odd:
        raise ProcedureShapeError(part=part, field=odd[0])
    return value


def _list(value: Any, part: str, field: str) -> list[Any]:
    if not isinstance(value, list):
        raise ProcedureShapeError(part=part, field=field)
    return value


def _hash(text: str) -> str:
    return sha256(text.encode("utf-8")).hexdigest()
