"""The demo's probes, looked after:
a ring of known size touched all round every few weeks, as a lead types it.

The ring, its certificate and every point are made up. The ball's centre runs on a circle that is smaller than
the ring by the ball's effective radius; a probe that triggers in three directions unlike adds a little with
three humps (common practice, no source), and each touch scatters.
"""

from __future__ import annotations

import math
import random
from datetime import datetime

from webapp.domain.plain.lengths import format_length
from webapp.domain.probe.probe_health import CheckTyped
from webapp.domain.shop.shop import Machine, Probe
from webapp.services.numbers import probing
from webapp.store import Store

EVERY_DAYS = 60
WIDER_HUNDREDTHS = 150
PLACES = 12
# Each shop floor has its own ring:
# its diameter in nm, and as its certificate states it with a standard uncertainty.
RINGS = {"mm": (25_001_300, "25.0013", "0.0004"), "in": (25_001_220, "0.98430", "0.00002")}
HUMP_NM, SCATTER_NM = 1_400, 600
MOST_OFF_CENTRE_NM = 300_000
NOTE = "Ring of the measuring cupboard, twelve places."


def care_for(store: Store, probe: Probe, by: str, at: datetime) -> None:
    """Say how often this probe is checked from now on."""
    reason = "Before every course block, and in between."
    probing.set_care(store, probe.id, EVERY_DAYS, WIDER_HUNDREDTHS, reason, by, at)


def check(store: Store, machine: Machine, probe: Probe, by: str, at: datetime, chance: random.Random) -> None:
    """Touch the ring and keep the check."""
    probing.keep_check(store, probe.id, machine.id, typed_check(machine, probe, chance), NOTE, by, at)


def typed_check(machine: Machine, probe: Probe, chance: random.Random) -> CheckTyped:
    """A check of this probe as a lead types it from what the control showed."""
    ring_nm, diameter, uncertainty = RINGS[machine.unit]
    places = "\n".join(
        f"{format_length(x_nm, machine.display)} {format_length(y_nm, machine.display)}"
        for x_nm, y_nm in _touched(ring_nm, machine, probe, chance)
    )
    return CheckTyped("ring", diameter, uncertainty, "places", {}, places)


def _touched(ring_nm: int, machine: Machine, probe: Probe, chance: random.Random) -> list[tuple[int, int]]:
    """Where the spindle stood at each trigger, in nanometres, machine coordinates."""
    middle = {
        axis: sum(machine.travel_nm[axis]) // 2 + chance.randint(-MOST_OFF_CENTRE_NM, MOST_OFF_CENTRE_NM)
        for axis in "XY"
    }
    found = []
    for place in range(PLACES):
        angle = 2 * math.pi * place / PLACES
        path = ring_nm / 2 - probe.effective_radius_nm
        radius = path + HUMP_NM * math.cos(3 * angle) + chance.gauss(0, SCATTER_NM)
        found.append(
            (round(middle["X"] + radius * math.cos(angle)), round(middle["Y"] + radius * math.sin(angle)))
        )
    return found
