"""Mistakes of typing: what one slip of the finger, put right, would bring into the band.

Rules of this module:
- A slip is one of four: the sign, the decimal point by one to three places, two neighbouring digits swapped, one digit
  wrong. It is looked for in the digits as the display shows them, in whole steps of the display; nothing is rounded.
- A repair counts only where it lands inside the ask line. Of each kind the one nearest to the centre is kept.
- A point slipped to the left drops the last digits, so that half of what was dropped is allowed on top.
- `static/js/rules/causes.js` does the same in the browser, with the same whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from webapp.domain.lengths import Display

MOST_PLACES = 3


def repairs(value_nm: int, display: Display, usual: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the slips that would explain a value beyond the ask line, by kind, none for a value inside.

    Each is {"code", "repaired_nm", "off_nm"}: the value that was meant, and how far it lies from the centre.
    `usual` is the sheet's: `centre_nm`, `ask_nm`.
    """
    centre_nm, ask_nm = usual["centre_nm"], usual["ask_nm"]
    if centre_nm is None or ask_nm is None or abs(value_nm - centre_nm) <= ask_nm:
        return []
    best: dict[str, dict[str, Any]] = {}
    for code, repaired_nm, allowance_nm in _slips(value_nm, display):
        off_nm = abs(repaired_nm - centre_nm)
        known = best.get(code)
        if off_nm <= ask_nm + allowance_nm and (known is None or off_nm < known["off_nm"]):
            best[code] = {"code": code, "repaired_nm": repaired_nm, "off_nm": off_nm}
    return list(best.values())


def _slips(value_nm: int, display: Display) -> Iterator[tuple[str, int, int]]:
    """Yield code, repaired value and allowance, in the order in which kinds are told."""
    step_nm, sign = display.resolution_nm, -1 if value_nm < 0 else 1
    steps = abs(value_nm) // step_nm
    if value_nm:
        yield "repair.sign", -value_nm, 0
    for places in range(1, MOST_PLACES + 1):
        factor = 10**places
        yield "repair.point", value_nm * factor, factor * step_nm // 2
        if steps % factor == 0 and steps:
            yield "repair.point", value_nm // factor, 0
    digits = str(steps).rjust(display.decimals + 1, "0")
    for place in range(len(digits) - 1):
        swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        yield "repair.swapped", sign * int(swapped) * step_nm, 0
    for place in range(len(digits)):
        for digit in "0123456789":
            wrong = digits[:place] + digit + digits[place + 1 :]
            yield "repair.digit", sign * int(wrong) * step_nm, 0
