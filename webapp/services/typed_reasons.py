"""Reasons and notes that people type beside a decision."""

from webapp.services.errors import ReasonMissing

LONGEST_REASON = 2000


def reason_text(typed: str) -> str:
    """The reason without blanks around it.
    Raises ReasonMissing for none, or one of more than 2000 characters.
    """
    text = typed.strip()
    if not 0 < len(text) <= LONGEST_REASON:
        raise ReasonMissing(longest=LONGEST_REASON)
    return text


def note_text(typed: str) -> str:
    """A note, which may be empty. Raises ReasonMissing for one of more than 2000 characters."""
    return reason_text(typed) if typed.strip() else ""
