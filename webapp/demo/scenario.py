"""The invented truth behind the demo's mills: where each vise really stood, how it scatters, how it creeps.

Sizes are common practice, no source: a touch repeats within a few micrometres, setups of one seating scatter
by some micrometres more (temperature, tramming wear), a new seating shifts by a few hundredths of a
millimetre, and one axis of each vise creeps slowly. Positions are in nanometres, machine coordinates.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from webapp.demo.mill import (
    AXES,
    MillBuild,
    MillState,
    SimulatedMill,
    Values,
    ViseTruth,
    cutter,
    probe_tool,
)
from webapp.demo.mill.vise import COMMON_THICKNESS_NM, MM
from webapp.domain.shop.shop import Fixture, Machine, Probe

PROBE_LENGTH_NM = 152 * MM
OTHER_TOOLS = ("7", "12")
# What hangs in the magazine besides the probe, the parking tool first: name, diameter, length.
CUTTERS = (("face mill", 50 * MM, 70 * MM), ("drill", 8 * MM, 118 * MM), ("end mill", 16 * MM, 96 * MM))


@dataclass(frozen=True)
class MillScenario:
    """One mill's vise over time. `shift_nm` is where a seating stands from the first;
    creep is per day of a seating.
    """

    first_nm: Values
    shift_nm: Mapping[str, Values]
    setup_spread_nm: Mapping[str, float]
    creep_nm_per_day: Mapping[str, float]
    probing_spread_nm: float
    operators: tuple[str, ...]


SCENARIOS: Mapping[str, MillScenario] = {
    "plover": MillScenario(
        first_nm={"X": -413_352_000, "Y": -171_880_000, "Z": -287_446_000},
        shift_nm={
            "plover-vise-1": {"X": 0, "Y": 0, "Z": 0},
            "plover-vise-2": {"X": 34_000, "Y": -21_000, "Z": 9_000},
        },
        setup_spread_nm={"X": 6_000, "Y": 7_500, "Z": 4_500},
        creep_nm_per_day={"X": 0, "Y": -180, "Z": 0},
        probing_spread_nm=1_800,
        operators=("odile", "tariq", "suri", "bram", "nadia", "olena", "mara"),
    ),
    "dunlin": MillScenario(
        first_nm={"X": -239_296_000, "Y": -172_720_000, "Z": -284_480_000},
        shift_nm={
            "dunlin-vise-1": {"X": 0, "Y": 0, "Z": 0},
            "dunlin-vise-2": {"X": -27_000, "Y": 38_000, "Z": -12_000},
        },
        setup_spread_nm={"X": 9_000, "Y": 8_000, "Z": 6_500},
        creep_nm_per_day={"X": 210, "Y": 0, "Z": 0},
        probing_spread_nm=2_400,
        operators=("odile", "tariq", "ilse", "nadia", "olena", "nikos"),
    ),
}


def make_mill(machine: Machine, fixture: Fixture, probe: Probe, chance: random.Random) -> SimulatedMill:
    """The machine's mill with nothing in its slots.
    Its truth is the first seating's until `place` says otherwise.
    """
    build = _build(machine, probe)
    state = MillState(
        place_nm={axis: span[1] for axis, span in machine.travel_nm.items()},
        spindle_tool=machine.parking_tool,
        selected_slot=machine.labels[0],
        slots_nm={label: dict.fromkeys(AXES, 0) for label in machine.labels},
    )
    return SimulatedMill(build, _vise(machine, fixture), state, chance)


def rebuild(mill: SimulatedMill, machine: Machine, probe: Probe) -> None:
    """Let the mill's control and probe be as the shop has them now; where the vise stands is its own."""
    mill.build = _build(machine, probe)
    for label in machine.labels:
        mill.slots_nm.setdefault(label, dict.fromkeys(AXES, 0))


def _build(machine: Machine, probe: Probe) -> MillBuild:
    minutes, radius = machine.probe_sleeps_minutes, probe.ball_diameter_nm // 2
    length = PROBE_LENGTH_NM if machine.z_length_nm is None else machine.z_length_nm + radius
    tools = {machine.probe_tool: probe_tool(
        machine.probe_tool, probe.ball_diameter_nm, probe.stylus_reach_nm, length
    )}  # fmt: skip
    for number, (name, diameter, reach) in zip((machine.parking_tool, *OTHER_TOOLS), CUTTERS, strict=True):
        tools.setdefault(number, cutter(number, name, diameter, reach))
    return MillBuild(
        slot_labels=machine.labels,
        tools=tools,
        probe_tool=machine.probe_tool,
        parking_tool=machine.parking_tool,
        travel_nm=machine.travel_nm,
        resolution_nm=machine.display.resolution_nm,
        probing_spread_nm=SCENARIOS[machine.id].probing_spread_nm,
        overtravel_side_nm=probe.overtravel_side_nm,
        overtravel_up_nm=probe.overtravel_up_nm,
        first_feed_mm_per_min=machine.first_feed_mm_per_min,
        deceleration_mm_per_s2=machine.deceleration_mm_per_s2,
        latency_s=machine.latency_s,
        z_reads=machine.z_point or "ball_centre",
        reset_drops=frozenset(machine.reset_drops),
        sleeps_after_s=None if minutes is None else 60 * minutes,
        emergency_stop_loses_home=machine.estop_loses_home,
        slot_written=machine.slot_written,
        parked_nm=machine.parked_nm,
    )


def _vise(machine: Machine, fixture: Fixture) -> ViseTruth:
    normal = {"X": -1, "Y": -1, "Z": 1, fixture.clamping_axis: fixture.clamping_direction}
    return ViseTruth(
        surface_nm=dict(SCENARIOS[machine.id].first_nm),
        normal={**normal, **{face.axis: face.normal for face in fixture.faces}},
        opening_nm=fixture.opening_nm,
        clamping_axis=fixture.clamping_axis,
        jaw_length_nm=fixture.jaw_length_nm,
        jaw_thickness_nm=fixture.jaw_thickness_nm,
        jaw_height_nm=fixture.jaw_height_nm,
        moving_thickness_nm=fixture.moving_jaw_thickness_nm or COMMON_THICKNESS_NM,
        step_nm=min(fixture.jaw_steps_nm, default=0),
    )


def place(
    mill: SimulatedMill,
    machine_id: str,
    seating: tuple[str, datetime],
    at: datetime,
    chance: random.Random | None = None,
) -> None:
    """Set where the vise stands at a time in a seating (id, since);
    with `chance` it scatters as setups do.
    """
    scenario = SCENARIOS[machine_id]
    name, since = seating
    days = (at - since) / timedelta(days=1)
    surface_nm = {}
    for axis in AXES:
        creep_nm = scenario.creep_nm_per_day[axis] * days
        scatter_nm = chance.gauss(0, scenario.setup_spread_nm[axis]) if chance else 0.0
        surface_nm[axis] = round(
            scenario.first_nm[axis] + scenario.shift_nm[name][axis] + creep_nm + scatter_nm
        )
    mill.truth = replace(mill.truth, surface_nm=surface_nm)
