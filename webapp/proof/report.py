"""What a verification found, as data: one line for each thing that was asked.

A line has a `code` for what was asked, whether it holds, and the words of what was found (`says`, with its
fields) in the words catalogue. A report holds when every line does. A line is never left out because it would
fail: what could not be asked any more is a line that does not hold.
"""

from dataclasses import dataclass, field
from typing import Any

from webapp.domain.errors import DomainError
from webapp.proof.errors import ProofError
from webapp.words import say

Fields = dict[str, str | int]


@dataclass(frozen=True, slots=True)
class Line:
    """One question and its answer."""

    code: str
    holds: bool
    says: str
    fields: Fields = field(default_factory=dict)

    @property
    def detail(self) -> str:
        """The sentence for a person."""
        return say(self.says, self.fields)


def held(code: str, **fields: str | int) -> Line:
    """A line that holds, in the words `code`.holds."""
    return Line(code, holds=True, says=f"{code}.holds", fields=fields)


def failed(code: str, how: str, **fields: str | int) -> Line:
    """A line that does not hold, in the words `code`.`how`."""
    return Line(code, holds=False, says=f"{code}.{how}", fields=fields)


def refusal_words(refused: DomainError | ProofError) -> str:
    """The sentence of a refusal met on the way."""
    return say(refused.code, refused.fields)


@dataclass(frozen=True, slots=True)
class Report:
    """All lines in the order in which they were asked."""

    lines: tuple[Line, ...]

    @property
    def holds(self) -> bool:
        """Whether every line holds."""
        return all(line.holds for line in self.lines)

    @property
    def failures(self) -> tuple[Line, ...]:
        """The lines that do not hold."""
        return tuple(line for line in self.lines if not line.holds)

    def line(self, code: str) -> Line:
        """The line with this code. Raises KeyError if it was not asked."""
        for line in self.lines:
            if line.code == code:
                return line
        raise KeyError(code)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON: {"holds", "lines": [{"code", "holds", "says", "fields", "detail"}]}."""
        lines = [
            {
                "code": line.code,
                "holds": line.holds,
                "says": line.says,
                "fields": dict(line.fields),
                "detail": line.detail,
            }
            for line in self.lines
        ]
        return {"holds": self.holds, "lines": lines}

    def as_text(self) -> str:
        """For a terminal: a verdict, then a line each, "holds" or "FAILS" before its sentence."""
        verdict = say("report.holds" if self.holds else "report.fails")
        lines = [
            f"{'holds' if line.holds else 'FAILS'}  {line.code:<18}  {line.detail}" for line in self.lines
        ]
        return "\n".join([verdict, *lines]) + "\n"
