"""The square step: what a sheet says about it, and what two typed touches come to.

Rules of this module:
- The clamping face is touched at two places that lie a stated distance apart along the jaw;
  `webapp.domain.touch.jaw_square` says what their difference means. Here only whole nanometres: the tablet
  comes to the same numbers.
- The error is what the angle makes over the jaw's whole length: length times difference over distance,
  rounded half away from zero. Above zero: the reading grows towards the higher end of the other axis.
- An error is told from none where it is larger than twice its standard uncertainty,
  which comes from one touch's: that of the probe, the axis and the display (JCGM 100:2008, 5.1.2).
- A difference above a tenth of the distance (about six degrees) is no vise that somebody clamped in;
  the tablet asks (common practice, no source).
- `static/js/rules/touch/square.js` does the same in the browser.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from webapp.domain.evidence.written_sheet import SquarePlan
from webapp.domain.shop.shop import Fixture, Machine, Probe
from webapp.domain.touch.jaw_square import TOLD_FROM


def touch_uncertainty_nm(machine: Machine, probe: Probe, axis: str) -> float:
    """Return the standard uncertainty of one reading at one place of the jaw, in nanometres."""
    return math.hypot(
        probe.u_probe_nm, machine.u_axis_nm[axis], machine.display.resolution_nm / math.sqrt(12)
    )


def square_plan(machine: Machine, fixture: Fixture, probe: Probe) -> SquarePlan | None:
    """Return what the sheet says of the square step, None where the fixture does not ask for it.

    `apart_nm` is how far the second place lies from the first along `along`, towards plus;
    `told_nm` the largest error over the jaw that cannot be told from none.
    """
    if not fixture.square_apart_nm:
        return None
    axis = fixture.clamping_axis
    u_touch_nm = touch_uncertainty_nm(machine, probe, axis)
    u_error_nm = fixture.jaw_length_nm * u_touch_nm * math.sqrt(2) / fixture.square_apart_nm
    return {
        "axis": axis,
        "along": "X" if axis == "Y" else "Y",
        "apart_nm": fixture.square_apart_nm,
        "jaw_length_nm": fixture.jaw_length_nm,
        "u_touch_nm": round(u_touch_nm),
        "u_error_nm": round(u_error_nm),
        "told_nm": math.floor(TOLD_FROM * u_error_nm),
    }


def error_over_jaw_nm(values_nm: Sequence[int], plan: SquarePlan) -> tuple[int, bool]:
    """Return the error over the jaw's length in nanometres, and whether it can be told from none."""
    product = plan["jaw_length_nm"] * (values_nm[1] - values_nm[0])
    size = (2 * abs(product) + plan["apart_nm"]) // (2 * plan["apart_nm"])
    return (-size if product < 0 else size), size > plan["told_nm"]
