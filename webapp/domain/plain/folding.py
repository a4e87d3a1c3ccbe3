"""Text as it is compared where case, accents and spaces shall not matter (Unicode, UAX #15: NFKD)."""

from __future__ import annotations

import unicodedata

# Latin letters that have no decomposition in Unicode: common practice in passports and timetables, no source.
WHOLE_LETTERS = str.maketrans(
    {"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ħ": "h", "ı": "i", "ŧ": "t"}
)


def folded(text: str) -> str:
    """The text without case and accents, with one space where there were more."""
    apart = unicodedata.normalize("NFKD", text.casefold().translate(WHOLE_LETTERS))
    return " ".join("".join(one for one in apart if not unicodedata.combining(one)).split())
