"""Reasons and notes that people type beside a decision."""

from webapp.domain.evidence.event_kinds import LONGEST_TEXT
from webapp.services.errors import ReasonMissing


def reason_text(typed: str) -> str:
    """The reason without blanks around it.
    Raises ReasonMissing for none, or one of more than `LONGEST_TEXT` characters.
    """
    text = typed.strip()
    if not 0 < len(text) <= LONGEST_TEXT:
        raise ReasonMissing(longest=LONGEST_TEXT)
    return text


def note_text(typed: str) -> str:
    """A note, which may be empty. Raises ReasonMissing for one of more than `LONGEST_TEXT` characters."""
    return reason_text(typed) if typed.strip() else ""
