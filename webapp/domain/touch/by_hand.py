"""The surface that a trigger position comes to, for a slot that is written by hand.

Rule: surface = ball's centre + d * r_eff, d the direction of the search. On Z the ball's
centre lies as far below the reading of the machine page as was checked at the machine.
"""

from __future__ import annotations

from fractions import Fraction

from webapp.domain.plain.axes import Face
from webapp.domain.plain.lengths import Display
from webapp.domain.shop.measures import Stylus


def surface_from_trigger_nm(stylus: Stylus, face: Face, display: Display) -> int | None:
    """Return what is added to the position that the control shows at the trigger, in nm,
    to the display's step (half to even). None on Z where nobody has checked what the machine page reads.
    """
    above_nm = stylus.read_above_ball_nm(face.axis)
    if above_nm is None:
        return None
    step_nm = display.resolution_nm
    return round(Fraction(-above_nm - face.normal * stylus.effective_radius_nm, step_nm)) * step_nm
