"""`zerokeep hand-out FILE.zip`: a bundle for somebody outside, of one setup or of all between two days."""

from __future__ import annotations

import json
import sys
from datetime import date
from hashlib import sha256
from pathlib import Path

from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.composition import checker, handed_out
from webapp.domain.plain.zones import day_begins_utc
from webapp.services.audit.handing_out import Asked
from webapp.services.evidence.ledger import SERVER
from webapp.services.shop import reading
from webapp.settings import Settings

DONE, CANNOT = 0, 2


def hand_out(
    settings: Settings, file: Path, setup: str | None, first: date | None, last: date | None, *, as_json: bool
) -> int:
    """Write the bundle; a file that is there already stays. Raises as `opened` and handing out do."""
    if (setup is None) == (first is None or last is None):
        return _cannot("Give either --setup ID, or both --first DAY and --last DAY, such as 2026-11-02.")
    if not has_shop(settings):
        return CANNOT
    with opened(settings) as (store, keyring):
        try:
            asked = _asked(reading.time_zone(store), setup, first, last)
        except OverflowError:
            return _cannot(
                "The last day is the end of the calendar. Give an earlier one, such as 2026-11-02."
            )
        try:
            target = file.open("xb")
        except OSError as error:
            return _cannot(
                f"Cannot make {file}: {error.strerror}. Give the name of a file that is not there yet."
            )
        try:
            with target:
                setups = handed_out(store, keyring, asked, SERVER, utc_now(), target)
        except BaseException:
            file.unlink()
            raise
    if as_json:
        print(json.dumps({"file": str(file), "setups": setups}))
    else:
        print(
            f"{file}: evidence of {setups} setups. Whoever gets it checks it with verify.py, and needs that"
        )
        print(
            "program, ledger-keys.txt and seal-certificates.pem from you by another way. verify.py, SHA-256:"
        )
        print(sha256(checker()).hexdigest())
    return DONE


def _asked(zone: str, setup: str | None, first: date | None, last: date | None) -> Asked:
    """What to hand out. Raises OverflowError for a last day at the end of the calendar."""
    if first is None or last is None:
        return Asked(setup=setup)
    return Asked(since_utc=day_begins_utc(first, zone), until_utc=day_begins_utc(last, zone, 1))


def _cannot(why: str) -> int:
    print(why, file=sys.stderr)
    return CANNOT
