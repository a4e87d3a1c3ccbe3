"""What a procedure's wording could do better: marked for its writer, refused by nobody.

Rules of this module:
- A sentence of more than eighteen words is marked (plain-language guides ask for fifteen to twenty, from
  memory), and so is a step that asks for more than two things: what is done, and what is then looked at or
  typed. A list that is ticked off is one thing, up to six lines.
- A step without words for "if not", and a caution without hazard, consequence or avoidance, are marked here
  as well as refused at publishing, so that a writer sees all of a step at once.
- The procedure that ships is marked nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.rules import MOST_CHECKS

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Procedure, Step

MOST_WORDS_IN_SENTENCE = 18
MOST_ACTIONS = 2
WORDED = ("do", "look_for", "why", "if_not")
PARTS_OF_CAUTION = ("hazard", "consequence", "avoidance")
# What people do at a mill, as the first word of what they are asked to do.
VERBS = (
    "back", "bring", "brush", "call", "check", "clean", "clear", "close", "compare", "copy", "enter", "jog",
    "load", "look", "loosen", "lower", "measure", "move", "nudge", "open", "press", "push", "put", "raise",
    "read", "remove", "run", "select", "set", "sign", "start", "stop", "store", "switch", "take", "tell",
    "tighten", "touch", "turn", "type", "unload", "wait", "watch", "wheel", "wipe", "withdraw", "write",
)  # fmt: skip
_SENTENCE = re.compile(r"(?<=[.!?;])\s+")
_AND_DO = rf",?\s+and\s+(?=(?:{'|'.join(VERBS)})\b)"
_APART = re.compile(rf"[.;!?]\s+|,?\s+(?:and\s+)?then\s+|{_AND_DO}", re.IGNORECASE)


def marks(procedure: Procedure) -> tuple[Finding, ...]:
    """Return what is marked, in reading order; each finding names its step."""
    return tuple(mark for step in procedure.steps for mark in marks_of(step))


def marks_of(step: Step) -> Iterator[Finding]:
    """Give what is marked in one step."""
    texts = [(name, getattr(step, name)) for name in WORDED]
    texts += [(name, getattr(variant, name)) for variant in step.variants for name in WORDED]
    for name, text in texts:
        yield from _long(step, name, text)
    for do in (step.do, *(variant.do for variant in step.variants)):
        count = actions(do)
        if count > MOST_ACTIONS:
            yield Finding("wording.several_actions", {"step": step.id, "count": count})
    if len(step.checks) > MOST_CHECKS:
        yield Finding("wording.many_ticks", {"step": step.id, "most": MOST_CHECKS})
    if not step.if_not.strip():
        yield Finding("wording.no_if_not", {"step": step.id})
    if step.caution is not None:
        for name in PARTS_OF_CAUTION:
            if not getattr(step.caution, name).strip():
                yield Finding("wording.caution_part", {"step": step.id, "part": name})


def actions(do: str) -> int:
    """Return how many things a line asks for."""
    return len([part for part in _APART.split(do.strip()) if part.strip()])


def _long(step: Step, name: str, text: str) -> Iterator[Finding]:
    for sentence in _SENTENCE.split(text.strip()):
        words = len(sentence.split())
        if words > MOST_WORDS_IN_SENTENCE:
            yield Finding(
                "wording.long_sentence",
                {"step": step.id, "field": name, "words": words, "most": MOST_WORDS_IN_SENTENCE},
            )
