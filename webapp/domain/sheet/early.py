"""A fixture with few setups: what stops a touch there, besides the ceiling.

Rules of this module:
- Until there are enough setups a touch beyond the ask line is asked about;
  a difference that a radius, an opening or a length explains is a mistake all the same, and stops it.
- Such a range is what the likely cause predicts, three of its uncertainties to either side;
  within the ask line nothing is said, and beyond the ceiling all stops anyway.
"""

from __future__ import annotations

from webapp.domain.evidence.written_sheet import CausesOnSheet
from webapp.domain.usual.usual import Usual

WITHIN = 3
# Ball, jaws, lengths on Z: mistakes of geometry, and none of reading or typing.
EXPLAINS = (
    "cause.ball_",
    "cause.other_ball",
    "cause.moving_jaw",
    "cause.other_end",
    "cause.other_side",
    "cause.gauge_length_",
    "cause.stylus_length_",
)


def early_stops_nm(usual: Usual, causes: CausesOnSheet) -> list[list[int]]:
    """Return the ranges, low and high inside, in which a touch on this axis is a stop;
    none once there are enough.
    """
    if not usual.is_early or usual.centre_nm is None or usual.stop_nm is None:
        return []
    found = []
    for one in causes["candidates"]:
        reach_nm = WITHIN * one["uncertainty_nm"]
        low_nm, high_nm = one["low_nm"] - reach_nm, one["high_nm"] + reach_nm
        near = low_nm <= usual.centre_nm + usual.stop_nm and high_nm >= usual.centre_nm - usual.stop_nm
        if near and one["code"].startswith(EXPLAINS):
            found.append([low_nm, high_nm])
    return sorted(found)
