"""`zerokeep hand-out FILE.zip`: a bundle for somebody outside, of one setup or of all between two days."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

from webapp.commands.opening import has_shop, opened
from webapp.composition import handed_out
from webapp.domain.plain.zones import day_begins_utc
from webapp.services.audit.handing_out import Asked
from webapp.services.evidence.ledger import SERVER
from webapp.services.shop import reading
from webapp.serving import utc_now
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
    try:
        target = file.open("xb")
    except OSError as error:
        return _cannot(
            f"Cannot make {file}: {error.strerror}. Give the name of a file that is not there yet."
        )
    with target, opened(settings) as (store, keyring):
        if first is not None and last is not None:
            zone = reading.time_zone(store)
            asked = Asked(since_utc=day_begins_utc(first, zone), until_utc=day_begins_utc(last, zone, 1))
        else:
            asked = Asked(setup=setup)
        try:
            setups = handed_out(store, keyring, asked, SERVER, utc_now(), target)
        except BaseException:
            file.unlink()
            raise
    if as_json:
        print(json.dumps({"file": str(file), "setups": setups}))
    else:
        print(f"{file}: evidence of {setups} setups. Whoever gets it checks it with verify.py inside.")
    return DONE


def _cannot(why: str) -> int:
    print(why, file=sys.stderr)
    return CANNOT
