"""The code that proves to the browser's set-up path that somebody can read what the server printed.

Rules: made at each start of a server without people, shown once by it, and kept as a hash in a file of the
data folder, so that every process of the server knows it, whatever the database is. It ends after a day. A
new start makes a new one, and takes an old one away where there are people by then; so does the set-up. Tries
are counted where they are made.
"""

from __future__ import annotations

import hmac
import os
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

from webapp.chance import one_time_code
from webapp.services.times import from_text, utc_text

FILE_NAME = "set-up-code"
HOLDS = timedelta(days=1)


def make(folder: Path, now: datetime) -> str:
    """Make a code for this data folder, in the place of an earlier one; as it is to be shown."""
    code = one_time_code()
    path = folder / FILE_NAME
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(f"{_hash(code)} {utc_text(now)}")
    return "-".join(code[place : place + 4] for place in range(0, len(code), 4)).upper()


def fits(folder: Path, typed: str, now: datetime) -> bool:
    """Whether this is the code of the last start, no older than a day, by a clock that may have been set
    back; capitals, blanks and hyphens do not count.
    """
    try:
        kept, made_at_utc = (folder / FILE_NAME).read_text(encoding="ascii").split()
        holds = abs(now - from_text(made_at_utc)) < HOLDS
    except (OSError, ValueError):
        return False
    return hmac.compare_digest(kept, _hash(typed)) and holds


def take_away(folder: Path) -> None:
    """Let the code fit no more."""
    (folder / FILE_NAME).unlink(missing_ok=True)


def _hash(code: str) -> str:
    plain = "".join(letter for letter in code.lower() if letter.isalnum())
    return sha256(plain.encode()).hexdigest()
