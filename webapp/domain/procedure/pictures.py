"""Pictures that steps show: where one may stand, and what has to be said of it.

Rules of this module:
- A picture stands at steps whose screen has room for one beside its words: neither keypad nor drawing.
- It says in words what it shows, for whoever cannot see it and for as long as it is not here. Nothing hangs
  on it: the step says all of it without one.
- The text of a procedure has the hash of the file, and so the hash of a revision covers the picture.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from webapp.domain.plain.errors import Finding

if TYPE_CHECKING:
    from webapp.domain.procedure.procedure import Step

WITH_PICTURE = frozenset({"confirm", "checks", "jaw", "input"})
MOST_WORDS_OF_PICTURE = 20
# Small enough for a slow network, and for a tablet that keeps those of every machine (proposed here).
LONGEST_SIDE_PX = 1024
LARGEST_BYTES = 160 * 1024
_HASH = re.compile(r"[0-9a-f]{64}")


class Shrunk(NamedTuple):
    """A picture made small enough for a step: the JPEG file and its pixels."""

    data: bytes
    width: int
    height: int


def picture_faults(step: Step) -> Iterator[Finding]:
    """Yield what is wrong with the picture of a step, its words aside."""
    picture = step.picture
    if picture is None:
        return
    words = len(picture.shows.split())
    if step.kind not in WITH_PICTURE:
        yield Finding("procedure.picture_misplaced", {"step": step.id})
    if not 0 < words <= MOST_WORDS_OF_PICTURE:
        yield Finding(
            "procedure.picture_words", {"step": step.id, "words": words, "most": MOST_WORDS_OF_PICTURE}
        )
    sides = (picture.width, picture.height)
    if not _HASH.fullmatch(picture.sha256) or not 0 < min(sides) <= max(sides) <= LONGEST_SIDE_PX:
        yield Finding("procedure.picture_unknown", {"step": step.id})
