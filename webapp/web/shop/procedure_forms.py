"""A step as a form: what was typed, read into a step; and what each of its fields is for.

Rules: a step takes any words, so that nothing typed is lost; what is wrong with them is said beside the draft
and refused at publishing. Words of more characters than any tablet shows are not kept (`must_fit`) and come
back as they were typed. Rows of a list (choices, lines to tick, other words) that were left empty go; a new
row gets its name from its label.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from werkzeug.datastructures import ImmutableMultiDict

from webapp.domain.plain.levels import ALONE, BESIDE
from webapp.domain.procedure.company import LEAD, SECOND
from webapp.domain.procedure.editing import TextTooLongError
from webapp.domain.procedure.procedure import Caution, Check, Choice, Step, Variant
from webapp.domain.procedure.rules import TEXTS

Form = ImmutableMultiDict[str, str]
LONGEST = 600
SPARE_ROWS = 2
_NOT_IN_NAME = re.compile(r"[^a-z0-9]+")
_NOT_TYPED = frozenset({"csrf_token", "press", "seen"})
LABELS = {
    "do": "Do",
    "look_for": "Look for",
    "why": "Why",
    "if_not": "If not",
    "action": "The button",
    "machine_state": "The machine’s state",
}
# What a form offers, and the words for it: for whom a step stands, who has to be there for it.
STANDS_FOR = {
    "": "everybody",
    BESIDE: "who sets up with a lead beside",
    ALONE: "who sets up alone",
}
IS_THERE = {"": "nobody", LEAD: "a lead", SECOND: "a second person"}
HELP = {
    "do": "One action, the verb first, twelve words at most. A second clause says what is then typed.",
    "look_for": "What shows that it worked.",
    "why": "Folded away until somebody asks for it.",
    "if_not": "What to do when it looks different.",
    "action": "What the one large button says.",
    "machine_state": "What stands still, and whose door is closed, before a hand goes in.",
}


def read_step(form: Form, step: Step) -> Step:
    """Return the step in the words that were typed, however long."""
    texts: dict[str, Any] = {name: _text(form, name) for name in TEXTS}
    return replace(
        step,
        **texts,
        kind=form.get("kind", step.kind)[:40],
        when=_text(form, "when"),
        hands="hands" in form,
        once_a_shift="once_a_shift" in form,
        caution=_caution(form, step),
        choices=tuple(_choices(form)),
        checks=tuple(_checks(form)),
        variants=tuple(_variants(form)),
        photo=_text(form, "photo"),
        level=_text(form, "level"),
        there=_text(form, "there"),
    )


def typed_words(form: Form) -> list[tuple[str, str]]:
    """Return what was typed or chosen in the form of a step, each with what its field is called."""
    return [
        (LABELS.get(name, re.sub("[-_]", " ", name)), value)
        for name, value in form.items()
        if value and name not in _NOT_TYPED and not name.endswith("-id")
    ]


def _caution(form: Form, step: Step) -> Caution | None:
    if form.get("kind", step.kind) != "caution":
        return None
    name = step.caution.id if step.caution else step.id.partition(".")[2]
    parts = (_text(form, f"caution-{part}") for part in ("hazard", "consequence", "avoidance"))
    return Caution(name, _text(form, "caution-signal") or "warning", *parts)


def _choices(form: Form) -> Iterator[Choice]:
    for row in _rows(form, "choice", "label"):
        label = _text(form, f"{row}-label")
        yield Choice(_text(form, f"{row}-id") or _name(label), label, f"{row}-closes" in form)


def _checks(form: Form) -> Iterator[Check]:
    for row in _rows(form, "check", "label"):
        label = _text(form, f"{row}-label")
        yield Check(_text(form, f"{row}-id") or _name(label), label, _text(form, f"{row}-when"))


def _variants(form: Form) -> Iterator[Variant]:
    for row in _rows(form, "variant", "when"):
        texts = {name: _text(form, f"{row}-{name}") for name in TEXTS}
        hands = {"yes": True, "no": False}.get(form.get(f"{row}-hands", ""))
        yield Variant(_text(form, f"{row}-when"), hands=hands, **texts)


def _rows(form: Form, kind: str, needed: str) -> Iterator[str]:
    number = 0
    while f"{kind}-{number}-{needed}" in form:
        if _text(form, f"{kind}-{number}-{needed}"):
            yield f"{kind}-{number}"
        number += 1


def _text(form: Form, name: str) -> str:
    return " ".join(form.get(name, "").split())


def must_fit(form: Form) -> None:
    """Raise TextTooLongError for the first text that has more characters than a step keeps."""
    for name in form:
        characters = len(_text(form, name))
        if characters > LONGEST:
            raise TextTooLongError(field=name, characters=characters, most=LONGEST)


def _name(label: str) -> str:
    found = _NOT_IN_NAME.sub("_", label.lower()).strip("_")[:30].rstrip("_")
    return found if found[:1].isalpha() else f"line_{found}"[:31]
