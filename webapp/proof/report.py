"""What a verification found, as data: one line for each thing that was asked.

A line has a `code` for what was asked, whether it holds, and the words of what was found (`says`, with its
fields) in the words catalogue. A report holds when every line does. A line is never left out because it would
fail: what could not be looked at any more is a line that does not hold, and says so instead of "fails". What
cannot be looked at here by no fault of the file is a line that holds nothing and fails nothing: it says so as
well.
"""

from dataclasses import dataclass, field
from typing import Any

from webapp.domain.plain.errors import DomainError
from webapp.proof.errors import ProofError
from webapp.words import say

Fields = dict[str, str | int]

# In place of a hash: there is a ledger, and no file of this hash is on it.
NOT_ON_LEDGER = ""
NOT_ASKED = ".not_asked"
SIGNS = {"holds": "=", "fails": "×", "not_looked_at": "–"}


@dataclass(frozen=True, slots=True)
class Line:
    """One question and its answer."""

    code: str
    holds: bool
    says: str
    fields: Fields = field(default_factory=dict)
    looked_at: bool = True

    @property
    def detail(self) -> str:
        """The sentence for a person."""
        return say(self.says, self.fields)

    @property
    def state(self) -> str:
        """One of "holds", "fails" and "not_looked_at"."""
        if not self.looked_at or (not self.holds and self.says.endswith(NOT_ASKED)):
            return "not_looked_at"
        return "holds" if self.holds else "fails"

    @property
    def asked(self) -> str:
        """What was asked, in words."""
        return say(f"{self.code}.asked")


def held(code: str, **fields: str | int) -> Line:
    """A line that holds, in the words `code`.holds."""
    return Line(code, holds=True, says=f"{code}.holds", fields=fields)


def failed(code: str, how: str, **fields: str | int) -> Line:
    """A line that does not hold, in the words `code`.`how`."""
    return Line(code, holds=False, says=f"{code}.{how}", fields=fields)


def not_looked_at(code: str, how: str, **fields: str | int) -> Line:
    """A line that could not be asked here by no fault of the file,
    in the words `code`.`how`. It fails nothing.
    """
    return Line(code, holds=True, says=f"{code}.{how}", fields=fields, looked_at=False)


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
        """Plain JSON: {"holds", "lines":
        [{"code", "asked", "holds", "state", "says", "fields", "detail"}]}.
        """
        lines = [
            {
                "code": line.code,
                "asked": line.asked,
                "holds": line.holds,
                "state": line.state,
                "says": line.says,
                "fields": dict(line.fields),
                "detail": line.detail,
            }
            for line in self.lines
        ]
        return {"holds": self.holds, "lines": lines}

    def as_text(self) -> str:
        """For a terminal: a verdict, then two lines each:
        sign, state and what was asked; under it what was found.
        """
        verdict = say("report.holds" if self.holds else "report.fails")
        words = {state: say(f"report.state_{state}") for state in SIGNS}
        wide = max(map(len, words.values()))
        lines = [
            f"{SIGNS[line.state]} {words[line.state]:<{wide}}  {line.asked}\n{'':<{wide + 4}}{line.detail}"
            for line in self.lines
        ]
        return "\n".join([verdict, *lines]) + "\n"
