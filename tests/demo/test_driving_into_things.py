"""What a move at the simulated mill meets, and what breaks.
The numbers follow from the places in `tests.kit.mill`.

The vise there: end of the jaw at X -413.331 looking left, clamping face at Y -102.004 looking to the
operator, top at Z -287.450, jaw 160 long and 20 thick with a step 4 deep and 5 wide on its clamping side.
Ball 6, stylus 40.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.kit.mill import LENGTH_NM, MM, TRUTH, drive, mill, with_probe
from webapp.demo.mill import Crash, InAlarmError, NothingHeldError, NotHomedError, SimulatedMill
from webapp.demo.mill.planting import PLANTS, planted

END, FACE, TOP = (TRUTH.surface_nm[axis] for axis in "XYZ")
OVER_X, OVER_Y = END + 60 * MM, FACE + 14 * MM


def over_the_jaw(**more: Any) -> SimulatedMill:
    machine = with_probe(**more)
    drive(machine, X=OVER_X, Y=OVER_Y)
    return machine


def beside_the_end(
    machine: SimulatedMill | None = None, gap_nm: int = 3 * MM, depth_nm: int = 7 * MM
) -> SimulatedMill:
    """The ball left of the jaw's end, its middle so deep below the top."""
    machine = machine or with_probe()
    drive(machine, X=END - 3 * MM - gap_nm, Y=OVER_Y, Z=TOP - depth_nm - 3 * MM)
    return machine


def test_lowering_onto_the_jaw_gives_way_as_far_as_the_overtravel_and_then_breaks() -> None:
    machine = over_the_jaw()
    drive(machine, Z=TOP + 2 * MM)
    assert (machine.lamp, machine.crashes) == ("ready", [])
    machine.jog("Z", -4 * MM)
    assert machine.lamp == "touching"
    assert machine.state.lean.depth_nm == 2 * MM
    machine.jog("Z", -3 * MM)
    assert machine.crashes == [Crash("ball", "fixed jaw", "jog")]
    assert machine.state.broken
    with pytest.raises(InAlarmError):
        machine.jog("Z", MM)


def test_a_sideways_move_below_the_top_breaks_the_stylus() -> None:
    machine = beside_the_end()
    machine.jog("X", 20 * MM)
    assert machine.crashes == [Crash("ball", "fixed jaw", "jog")]


def test_a_cutter_and_a_probe_body_give_nothing() -> None:
    machine = mill()
    drive(machine, X=OVER_X, Y=OVER_Y)
    drive(machine, Z=TOP - 1)
    assert machine.crashes == [Crash("face mill", "fixed jaw", "jog")]
    machine = beside_the_end(gap_nm=30 * MM, depth_nm=42 * MM)
    machine.jog("X", 30 * MM)
    assert machine.crashes == [Crash("probe body", "fixed jaw", "jog")]


def test_a_ball_that_leans_may_go_back_or_up_and_breaks_sideways() -> None:
    machine = beside_the_end()
    machine.jog("X", 4 * MM)
    assert machine.state.lean.on == "fixed jaw"
    machine.jog("X", -2 * MM)
    assert machine.state.lean is None
    machine.jog("X", 2 * MM)
    machine.raise_z()
    assert (machine.state.lean, machine.crashes) == (None, [])
    machine = beside_the_end()
    machine.jog("X", 4 * MM)
    machine.jog("Y", MM)
    assert machine.crashes == [Crash("ball", "fixed jaw", "jog")]


def test_a_search_touches_the_face_writes_the_row_and_ends_where_it_began() -> None:
    machine = beside_the_end()
    began = dict(machine.state.place_nm)
    assert machine.search("X", 1, 4 * MM, 900) == "touched"
    assert machine.state.place_nm == began
    assert machine.slots_nm == {"G54": ZERO, "G55": ZERO, "G56": {"X": END, "Y": 0, "Z": 0}}


ZERO = {"X": 0, "Y": 0, "Z": 0}


def test_a_search_that_reaches_nothing_is_an_alarm_and_stays_where_it_ended() -> None:
    machine = beside_the_end(gap_nm=5 * MM)
    assert machine.search("X", 1, 4 * MM, 900) == "no_touch"
    assert machine.state.place_nm["X"] == END - 4 * MM
    assert machine.state.lean is None
    with pytest.raises(InAlarmError):
        machine.search("X", 1, 4 * MM, 900)
    machine.reset()
    assert machine.selected_slot == "G54", "the reset of this control drops the slot"
    assert machine.slots_nm["G56"] == ZERO


def test_what_a_reset_drops_is_the_controls_own() -> None:
    machine = with_probe(reset_drops=frozenset({"shift"}))
    machine.plant(planted(["shift_left"], 3 * MM, "7"))
    machine.reset()
    assert machine.selected_slot == "G56"
    assert machine.touch("X") == END
    machine = with_probe()
    machine.reset()
    machine.select_slot("G56")
    assert machine.touch("Z") == TOP + LENGTH_NM, "the length was dropped as well"
    machine.use_length()
    assert machine.touch("Z") == TOP
    machine = with_probe(reset_drops=frozenset({"home"}))
    machine.reset()
    assert not machine.state.homed


@pytest.mark.parametrize("fault", ["probe_dead", "probe_dark"])
def test_a_dead_probe_leans_on_the_side_and_breaks_on_top_of_a_long_range(fault: str) -> None:
    machine = beside_the_end()
    machine.plant(planted([fault], 3 * MM, "7"))
    assert machine.search("X", 1, 4_500_000, 900) == "no_touch"
    assert machine.state.lean.depth_nm == 1_500_000
    machine = over_the_jaw()
    machine.plant(planted([fault], 3 * MM, "7"))
    drive(machine, Z=TOP + MM)
    assert machine.search("Z", -1, 6_350_000, 900) == "crash"
    assert machine.crashes == [Crash("ball", "fixed jaw", "search")]


def test_a_lamp_is_no_proof_of_the_input() -> None:
    machine = with_probe()
    assert (machine.lamp, machine.nudge()) == ("ready", True)
    machine.plant(planted(["probe_dead"], 3 * MM, "7"))
    assert (machine.lamp, machine.nudge()) == ("ready", False)
    machine.plant(planted(["probe_stuck"], 3 * MM, "7"))
    assert not machine.nudge()
    assert machine.input_seen(nudged=False)
    beside_the_end(machine)
    assert machine.search("X", 1, 4 * MM, 900) == "already_touched"


def test_a_probe_falls_asleep_when_nothing_was_touched_for_long_enough() -> None:
    machine = beside_the_end()
    machine.wait(500)
    machine.nudge()
    machine.wait(500)
    assert machine.search("X", 1, 4 * MM, 900) == "touched"
    machine.wait(601)
    assert (machine.lamp, machine.nudge()) == ("dark", False)
    assert machine.search("X", 1, 4 * MM, 900) == "no_touch"
    machine.reset()
    machine.jog("X", -2 * MM)
    machine.wake()
    assert machine.nudge()


def test_a_hold_stops_in_the_middle_and_cycle_start_goes_on() -> None:
    machine = beside_the_end()
    assert machine.search("X", 1, 4 * MM, 900, held_after_nm=1_500_000) == "held"
    assert machine.state.place_nm["X"] == END - 3 * MM - 1_500_000
    assert machine.cycle_start() == "touched"
    with pytest.raises(NothingHeldError):
        machine.cycle_start()
    machine.search("X", 1, 4 * MM, 900, held_after_nm=MM)
    machine.reset()
    with pytest.raises(NothingHeldError):
        machine.cycle_start()


def test_a_feed_too_fast_to_stop_in_time_breaks_the_stylus() -> None:
    machine = beside_the_end()
    assert machine.search("X", 1, 4 * MM, 5_400) == "crash"


def test_an_axis_that_does_not_know_where_it_stands_searches_nothing() -> None:
    machine = beside_the_end()
    machine.raise_z()
    machine.switch_off_and_on()
    assert machine.page_nm()["X"] == machine.state.place_nm["X"] + 2 * MM
    with pytest.raises(NotHomedError):
        machine.search("X", 1, 4 * MM, 900)
    machine.home()
    assert machine.page_nm()["X"] == machine.state.place_nm["X"]


@pytest.mark.parametrize(
    ("reads", "shown_nm"),
    [
        ("gauge_line", TOP + LENGTH_NM + 5 * MM),
        ("ball_underside", TOP + 5 * MM),
        ("ball_centre", TOP + 8 * MM),
    ],
)
def test_the_machine_page_shows_z_by_the_point_that_the_control_counts_from(
    reads: str, shown_nm: int
) -> None:
    machine = over_the_jaw(z_reads=reads)
    drive(machine, Z=TOP + 5 * MM)
    assert machine.page_nm()["Z"] == shown_nm


def test_a_ball_over_a_hole_an_edge_or_a_step_finds_less_than_the_top() -> None:
    vise = TRUTH
    hole = vise.hole_nm()
    machine = with_probe()
    drive(machine, X=hole["X"], Y=hole["Y"], Z=TOP + 3 * MM)
    assert machine.search("Z", -1, 12 * MM, 900) == "touched"
    assert machine.shown_nm()["Z"] == TOP - 8 * MM, "the floor of the hole"
    machine = with_probe()
    drive(machine, X=OVER_X, Y=FACE + 2 * MM, Z=TOP + 3 * MM)
    assert machine.search("Z", -1, 12 * MM, 900) == "touched"
    assert machine.shown_nm()["Z"] == TOP - 4 * MM, "the step"
    machine = with_probe()
    drive(machine, X=END - 2 * MM, Y=OVER_Y, Z=TOP + 3 * MM)
    assert machine.search("Z", -1, 12 * MM, 900) == "touched"
    sunk_nm = 3 * MM - math.sqrt(3**2 - 2**2) * MM
    assert machine.shown_nm()["Z"] == pytest.approx(TOP - sunk_nm, abs=1_000), "the edge, by Pythagoras"


def test_every_fault_that_can_be_planted_changes_what_is_found_or_seen() -> None:
    """Compared with a clean mill:
    what each face gives, whether the input is seen, what is in the way, the change.
    """
    clean = _seen([])
    assert {name: _seen([name]) for name in PLANTS if _seen([name]) == clean} == {}
    assert clean == _seen([])


def _seen(faults: list[str]) -> object:
    machine = with_probe()
    machine.plant(planted(faults, machine.ball_radius_nm, "7"))
    seen: list[object] = [
        machine.push_vise(),
        machine.nudge(),
        machine.lamp,
        machine.boxes,
        machine.hanging,
        machine.call_tool("30"),
        machine.state.alarm,
    ]
    if machine.hanging.ball is None or machine.state.alarm:
        return seen
    for axis in "XYZ":
        machine.state.alarm = ""
        seen.append(machine.touch(axis))
        machine.wait(1)
    return seen


def test_a_wiped_jaw_has_no_chip_and_a_bare_vise_no_parallel() -> None:
    machine = with_probe()
    machine.plant(planted(["chip_x", "chip_z", "handle_left"], 3 * MM, "7"))
    assert machine.touch("X") == END - 400_000
    machine.wipe()
    machine.bare_vise()
    assert (machine.touch("X"), machine.touch("Z")) == (END, TOP)
    machine.plant(planted(["chip_x"], 3 * MM, "7"))
    assert machine.touch("X") == END - 400_000


def test_a_loose_nut_lets_the_vise_shift_when_it_is_pushed() -> None:
    machine = with_probe()
    assert not machine.push_vise()
    machine.plant(planted(["nut_loose"], 3 * MM, "7"))
    assert machine.touch("X") == END
    assert machine.push_vise()
    assert machine.touch("X") == END + 180_000


def test_rows_can_be_copied_cleared_and_typed_whoever_owns_them() -> None:
    machine = with_probe()
    machine.touch("X")
    machine.copy_row("G56", "G55")
    machine.set_value("G54", "Z", -MM)
    assert machine.slots_nm["G55"]["X"] == END
    machine.clear_row("G55")
    assert machine.slots_nm == {
        "G54": {**ZERO, "Z": -MM},
        "G55": ZERO,
        "G56": {**ZERO, "X": END},
    }
    machine.clear_table()
    assert set(map(str, machine.slots_nm.values())) == {str(ZERO)}


def test_a_change_that_sticks_leaves_the_mill_in_alarm_and_the_magazine_says_what_hangs_where() -> None:
    machine = mill()
    assert machine.magazine == {"30": "probe", "1": "", "7": "drill"}
    machine.plant(planted(["change_sticks"], 3 * MM, "7"))
    assert machine.call_tool("30") == "1"
    assert machine.state.half_changed
    with pytest.raises(InAlarmError):
        machine.call_tool("30")
    machine = mill()
    machine.plant(planted(["other_tool_hangs"], 3 * MM, "7"))
    assert machine.call_tool("30") == "30", "the number that the control shows is not the tool"
    assert machine.hanging.name == "drill"


def test_emergency_stop_loses_home_where_the_machine_does() -> None:
    machine = mill()
    machine.emergency_stop()
    assert (machine.state.alarm, machine.state.homed) == ("emergency_stop", False)
    machine = mill(emergency_stop_loses_home=False)
    machine.emergency_stop()
    machine.reset()
    assert machine.state.homed


def test_how_it_stands_survives_being_written_down() -> None:
    machine = beside_the_end()
    machine.search("X", 1, 4 * MM, 900, held_after_nm=MM)
    machine.jog("X", 5 * MM)
    kept = machine.state.as_plain()
    again = mill()
    again.state.restore(kept)
    assert again.state == machine.state
    again.state.restore({"spindle_tool": "7", "selected_slot": "G55", "slots_nm": {"G55": {**ZERO, "X": 5}}})
    assert (again.spindle_tool, again.selected_slot, again.slots_nm["G55"]["X"]) == ("7", "G55", 5)
