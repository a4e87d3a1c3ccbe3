"""Times as the data carries them: UTC with milliseconds and a Z (ISO 8601-1, RFC 3339 section 5.6).

Such texts sort as the times do, so the store compares them as they are.
"""

from datetime import UTC, datetime, timedelta


def utc_text(moment: datetime) -> str:
    """Text of an aware time, cut to milliseconds. Raises ValueError for a time without a zone."""
    if moment.tzinfo is None:
        raise ValueError("A time without a zone was given. This is a mistake in the program.")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"


def from_text(text: str) -> datetime:
    """The aware time behind such a text. Raises ValueError for any other text."""
    return datetime.fromisoformat(text)


def later(moment: datetime, **stretch: float) -> str:
    """Text of the time that lies a stretch (names of timedelta: minutes, hours, days) after a moment."""
    return utc_text(moment + timedelta(**stretch))
