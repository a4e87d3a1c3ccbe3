"""A simulated mill with numbers that can be worked out in one's head:
its truth, its tools, nothing scattering.
"""

from __future__ import annotations

import random
from typing import Any

from webapp.demo.mill import AXES, MillBuild, MillState, SimulatedMill, ViseTruth, cutter, probe_tool

MM = 1_000_000
LENGTH_NM = 152 * MM
TRUTH = ViseTruth(
    surface_nm={"X": -413_331_000, "Y": -102_004_000, "Z": -287_450_000},
    normal={"X": -1, "Y": -1, "Z": 1},
    opening_nm=82_000_000,
    step_nm=4 * MM,
)
TRAVEL_NM = {"X": (-762 * MM, 0), "Y": (-432 * MM, 0), "Z": (-510 * MM, 0)}


def mill(spread_nm: float = 0.0, seed: int = 1, **changed: Any) -> SimulatedMill:
    """A mill that stands high with tool 1 in its spindle; `changed` are fields of its build."""
    build: dict[str, Any] = {
        "slot_labels": ("G54", "G55", "G56"),
        "tools": {
            "30": probe_tool("30", 6 * MM, 40 * MM, LENGTH_NM),
            "1": cutter("1", "face mill", 50 * MM, 70 * MM),
            "7": cutter("7", "drill", 8 * MM, 118 * MM),
        },
        "probe_tool": "30",
        "parking_tool": "1",
        "travel_nm": TRAVEL_NM,
        "resolution_nm": 1_000,
        "probing_spread_nm": spread_nm,
        "overtravel_side_nm": 9 * MM,
        "overtravel_up_nm": 4_500_000,
        "first_feed_mm_per_min": 900.0,
        "deceleration_mm_per_s2": 500.0,
        "latency_s": 0.02,
    }
    state = MillState(
        place_nm={"X": 0, "Y": 0, "Z": 0},
        spindle_tool="1",
        selected_slot="G54",
        slots_nm={label: dict.fromkeys(AXES, 0) for label in ("G54", "G55", "G56")},
    )
    return SimulatedMill(MillBuild(**(build | changed)), TRUTH, state, random.Random(seed))


def with_probe(spread_nm: float = 0.0, seed: int = 1, **changed: Any) -> SimulatedMill:
    """The same with the probe in the spindle and G56 selected."""
    machine = mill(spread_nm, seed, **changed)
    machine.call_tool("30")
    machine.select_slot("G56")
    return machine


def drive(machine: SimulatedMill, **to_nm: int) -> None:
    """Turn the wheel until the spindle's middle (X, Y) and the tool's lowest point (Z) stand there, in this
    order.
    """
    for axis, place in to_nm.items():
        tip = machine.hanging.length_nm if axis == "Z" else 0
        machine.jog(axis, place + tip - machine.state.place_nm[axis])
