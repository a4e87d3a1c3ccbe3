"""The forms of machines, fixtures, probes and the shop's rules: groups of inputs with their words.

Rules: every input says what it is for, its usual size and how to find it; what was typed stays as it was
typed, faults beside it; a group that is folded is open where something in it is at fault or was typed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import groupby

from webapp import field_words
from webapp.domain.plain.errors import Finding
from webapp.domain.shop.asked import ASKED, Asked, Kind, inputs_of
from webapp.words import catalogue, say

LONGEST_INPUT = 400
FOLDED = "more"


@dataclass(frozen=True)
class Input:
    """One place to type in: name, label (of an axis and end, say), text, and what is wrong with it."""

    name: str
    label: str
    text: str
    error: str

    @property
    def id(self) -> str:
        """The id of the element."""
        return f"i-{self.name.replace('.', '-')}"


@dataclass(frozen=True)
class Shown:
    """One question of a form."""

    asked: Asked
    label: str
    help: Sequence[str]
    find: str
    unit: str
    inputs: tuple[Input, ...]
    options: tuple[tuple[str, str], ...]

    @property
    def id(self) -> str:
        """The id of the first element, to jump to."""
        return self.inputs[0].id

    @property
    def error(self) -> str:
        """The first fault of the question."""
        return next((one.error for one in self.inputs if one.error), "")


@dataclass(frozen=True)
class Group:
    """Questions under one heading."""

    name: str
    title: str
    shown: tuple[Shown, ...]
    is_folded: bool


def typed_in(kind: Kind, form: Mapping[str, str]) -> dict[str, str]:
    """What was typed, as far as it belongs to this form; too much of it is cut off and will not fit."""
    return {name: form.get(name, "")[:LONGEST_INPUT] for name in inputs_of(kind) if name in form}


def seen(typed: Mapping[str, str], *more: str) -> str:
    """A digest of a form's answers (32 hex digits): what is kept has to be what was looked at."""
    text = "\n".join([*(f"{name}={typed[name]}" for name in sorted(typed)), *more])
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def groups(
    kind: Kind,
    typed: Mapping[str, str],
    faults: Mapping[str, Finding],
    unit: str,
    offers: Mapping[str, Sequence[tuple[str, str]]],
) -> list[Group]:
    """The form's groups in their order. `offers`: choices that hang on the shop, by field."""
    found = []
    for name, asked in groupby(ASKED[kind], key=lambda one: one.group):
        all_shown = (_shown(kind, one, typed, faults, unit, offers) for one in asked)
        shown = tuple(one for one in all_shown if one.asked.how != "some" or one.options)
        is_folded = name == FOLDED and not any(one.error for one in shown)
        found.append(Group(name, say(f"field.group.{name}"), shown, is_folded))
    return found


def _shown(
    kind: Kind,
    asked: Asked,
    typed: Mapping[str, str],
    faults: Mapping[str, Finding],
    unit: str,
    offers: Mapping[str, Sequence[tuple[str, str]]],
) -> Shown:
    inputs = tuple(
        Input(name, _part_label(name), typed.get(name, ""), _said(faults.get(name))) for name in asked.inputs
    )
    help_, find = field_words.help_of(kind, asked.name), ""
    code = f"field.{kind}.{asked.name}.find"
    if code in catalogue():
        find, help_ = say(code), help_[:-1]
    options = tuple(
        offers.get(asked.name) or [(one, field_words.option(kind, asked.name, one)) for one in asked.options]
    )
    if typed.get(asked.name) == "as_is":
        options = (*options, ("as_is", say("field.as_is")))
    label = field_words.label(kind, asked.name)
    return Shown(asked, label, help_, find, field_words.unit_beside(asked, unit), inputs, options)


def _part_label(name: str) -> str:
    _, *parts = name.split(".")
    return " ".join([parts[0], *(say(f"field.end_{part}") for part in parts[1:])]) if parts else ""


def _said(finding: Finding | None) -> str:
    return say(finding.code, finding.fields) if finding else ""
