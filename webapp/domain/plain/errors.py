"""What a refusal is in every room.

Rules of this module:
- A refusal is a class with a fixed `code` and a fixed set of fields (text or whole numbers). It carries no
  sentence: the sentence stands in the words catalogue under the code, so that server and browser say the
  same.
- A field whose name ends in `_code` holds another code of the catalogue; its words are put in its place.
- Something that is asked about and not refused is a `Finding`, with the same two parts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, TypeVar

Fields = dict[str, str | int]


@dataclass(frozen=True)
class Finding:
    """Something to ask about: a code of the words catalogue and the fields of its sentence. Not a refusal."""

    code: str
    fields: Fields = field(default_factory=dict)


class Refusal(Exception):
    """A named refusal. `code` names it, `fields` fills its sentence; both are data, so they can be stored
    and sent.
    """

    code: str = ""
    field_names: ClassVar[tuple[str, ...]] = ()

    def __init__(self, **fields: str | int) -> None:
        """Take exactly the fields in `field_names`; raise TypeError for one missing or one too many."""
        if set(fields) != set(self.field_names):
            raise TypeError(f"{type(self).__name__} takes the fields {self.field_names}, not {tuple(fields)}")
        super().__init__(self.code, fields)
        self.fields: Fields = fields

    def __str__(self) -> str:
        return f"{self.code} {self.fields}"

    def finding(self) -> Finding:
        """Return the same code and fields as a value that can be listed instead of raised."""
        return Finding(self.code, dict(self.fields))


Kind = TypeVar("Kind", bound=Refusal)


class DomainError(Refusal):
    """A rule or a use case says no: a person is told, beside what was typed where there is such a place."""


def error_classes(root: type[Kind]) -> list[type[Kind]]:
    """Return every class of the tree under `root` that has a code of its own, in order of code."""
    found: dict[str, type[Kind]] = {}
    waiting = [root]
    while waiting:
        error = waiting.pop()
        waiting.extend(error.__subclasses__())
        if error.code:
            found.setdefault(error.code, error)
    return [found[code] for code in sorted(found)]
