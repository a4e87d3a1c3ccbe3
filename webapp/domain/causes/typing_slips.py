"""Mistakes of typing: what one slip of the finger, put right, would bring into the band.

Rules of this module:
- A slip is one of four: the sign, the decimal point by one to three places, two neighbouring digits swapped,
  one digit wrong. It is looked for in the digits as the display shows them, in whole steps of the display;
  nothing is rounded.
- A repair counts only where it lands inside the ask line. Of each kind the one nearest to the centre is kept.
- A point slipped to the left drops the last digits, so that what they could hold is allowed on top.
- Any value near the band has some digit that would bring it in. A wrong digit tells something only where its
  unit is at least four ask lines: then bands stand apart with as much room again between them. Others are
  asked about before the value is taken, and never named as a cause.
- `static/js/rules/causes/named.js` does the same in the browser, with the same whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypedDict

from webapp.domain.evidence.written_sheet import UsualOnSheet
from webapp.domain.plain.lengths import Display

MOST_PLACES = 3
ROOM_FOR_DIGIT = 4


class Repair(TypedDict):
    """A slip put right: what was meant, how far that lies from the centre, and how the slip scales it."""

    code: str
    repaired_nm: int
    off_nm: int
    up: int
    down: int
    tells: bool


def repairs(value_nm: int, display: Display, usual: UsualOnSheet) -> list[Repair]:
    """Return the slips that would explain a value beyond the ask line, by kind, none for a value inside.

    Each is {"code", "repaired_nm", "off_nm", "up", "down", "tells"}: the value that was meant, how far it
    lies from the centre, by which fraction the slip scales what was meant, and whether it says more than that
    the value is near. `usual` is the sheet's: `centre_nm`, `ask_nm`.
    """
    centre_nm, ask_nm = usual["centre_nm"], usual["ask_nm"]
    if centre_nm is None or ask_nm is None or abs(value_nm - centre_nm) <= ask_nm:
        return []
    best: dict[str, Repair] = {}
    for code, repaired_nm, up, down, unit_nm in _slips(value_nm, centre_nm, display):
        off_nm = abs(repaired_nm - centre_nm)
        tells = unit_nm is None or unit_nm >= ROOM_FOR_DIGIT * ask_nm
        known = best.get(code)
        better = known is None or (not tells, off_nm) < (not known["tells"], known["off_nm"])
        if off_nm <= ask_nm + (down - 1) * display.resolution_nm and better:
            best[code] = {
                "code": code,
                "repaired_nm": repaired_nm,
                "off_nm": off_nm,
                "up": up,
                "down": down,
                "tells": tells,
            }
    return list(best.values())


def _slips(
    value_nm: int, centre_nm: int, display: Display
) -> Iterator[tuple[str, int, int, int, int | None]]:
    """Yield code, repaired value, scale up and down,
    and the unit of a wrong digit, in the order of the kinds.
    """
    step_nm, sign = display.resolution_nm, -1 if value_nm < 0 else 1
    steps = abs(value_nm) // step_nm
    if value_nm:
        yield "repair.sign", -value_nm, 1, 1, None
    for places in range(1, MOST_PLACES + 1):
        factor = 10**places
        yield "repair.point", value_nm * factor, 1, factor, None
        if steps % factor == 0 and steps:
            yield "repair.point", value_nm // factor, factor, 1, None
    # A leading digit that became 0 is no longer shown: there are at least as many places as the centre has.
    places = max(display.decimals + 1, len(str(abs(centre_nm) // step_nm)))
    digits = str(steps).rjust(places, "0")
    for place in range(len(digits) - 1):
        swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        yield "repair.swapped", sign * int(swapped) * step_nm, 1, 1, None
    for place in range(len(digits)):
        unit_nm = 10 ** (len(digits) - 1 - place) * step_nm
        for digit in "0123456789":
            wrong = digits[:place] + digit + digits[place + 1 :]
            yield "repair.digit", sign * int(wrong) * step_nm, 1, 1, unit_nm
