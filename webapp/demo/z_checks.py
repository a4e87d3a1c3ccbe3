"""What the demo mills' machine pages read on Z:
checked by the lead on the first day, by a touch on the jaw's top.

The height was found with a tool of known length; it and the readings are made up.
"""

from __future__ import annotations

from datetime import datetime

from webapp.demo.scenario import SCENARIOS
from webapp.domain.plain.lengths import format_length
from webapp.domain.shop.shop import Machine, Probe
from webapp.domain.shop.z_check import ZTyped, ball_radius_nm, stated
from webapp.services.numbers import z_reading
from webapp.store import Store

SHORT_OF_CONTACT_STEPS = 3


def check(store: Store, machine: Machine, probe: Probe, by: str, passphrase: str, at: datetime) -> None:
    """Keep the check of one machine, as its file states what the page reads."""
    z_reading.keep_check(store, machine.id, typed_check(machine, probe), passphrase, by, at)


def typed_check(machine: Machine, probe: Probe) -> ZTyped:
    """The check as the lead types it; the ball stopped a few steps of the display above the surface."""
    reading, display, radius_nm = stated(machine), machine.display, ball_radius_nm(probe)
    if reading is None:
        raise ValueError(f"the demo's file does not say what {machine.name} reads on Z")
    surface_nm = SCENARIOS[machine.id].first_nm["Z"] // display.resolution_nm * display.resolution_nm
    short_nm = SHORT_OF_CONTACT_STEPS * display.resolution_nm
    page_nm = surface_nm + radius_nm + reading.above_ball_nm(radius_nm) + short_nm
    length_nm = reading.length_nm
    length = "" if length_nm is None else format_length(length_nm, display, sign=False)
    return ZTyped(
        reading.point.value, length, format_length(surface_nm, display), format_length(page_nm, display)
    )
