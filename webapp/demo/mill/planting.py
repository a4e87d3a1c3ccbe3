"""Things that can be wrong at a mill, by name:
what a lead plants on the practice mill, and what the walks plant.

Sizes are common practice, no source: what a chip, a bent stylus, a forgotten shift or a bumped vise come to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from webapp.demo.mill.build import WELL, Faults
from webapp.demo.mill.solids import AXES, Values
from webapp.demo.mill.vise import MM

Change = Mapping[str, Any]


def _on(**values_nm: int) -> Values:
    return dict.fromkeys(AXES, 0) | values_nm


# What is written into `Faults`, given the ball's radius and the number of another tool.
PLANTS: Mapping[str, Callable[[int, str], Change]] = {
    "probe_dead": lambda _radius, _tool: {"probe": "dead"},
    "probe_dark": lambda _radius, _tool: {"probe": "dark"},
    "probe_stuck": lambda _radius, _tool: {"probe": "stuck"},
    "stylus_bent": lambda _radius, _tool: {"bent_nm": _on(X=240_000, Y=-150_000)},
    "stylus_loose": lambda _radius, _tool: {"loose_nm": 150_000},
    "ball_left_out": lambda _radius, _tool: {"ball_in_control_nm": 0},
    "other_ball": lambda radius, _tool: {"ball_in_control_nm": radius - MM},
    "length_wrong": lambda _radius, _tool: {"length_off_nm": 12 * MM},
    "shift_left": lambda _radius, _tool: {"shift_nm": _on(X=1_500_000, Y=-800_000)},
    "turn_left": lambda _radius, _tool: {"turn_urad": 17_453},
    "chip_x": lambda _radius, _tool: {"chip_nm": _on(X=400_000)},
    "chip_y": lambda _radius, _tool: {"chip_nm": _on(Y=400_000)},
    "chip_z": lambda _radius, _tool: {"chip_nm": _on(Z=400_000)},
    "vise_moved": lambda _radius, _tool: {"moved_nm": _on(X=1_200_000, Y=-700_000)},
    "nut_loose": lambda _radius, _tool: {"nut_gives_nm": 180_000},
    "vise_turned": lambda _radius, _tool: {"turned": True},
    "other_jaws": lambda _radius, _tool: {"jaw_off_nm": _on(Y=-6_000_000, Z=10_000_000)},
    "parallel_left": lambda _radius, _tool: {"left": (("parallel", 32 * MM),)},
    "handle_left": lambda _radius, _tool: {"left": (("handle", 24 * MM),)},
    "change_sticks": lambda _radius, _tool: {"change_sticks": True},
    "other_tool_hangs": lambda _radius, tool: {"hangs_instead": tool},
}


def planted(names: Iterable[str], ball_radius_nm: int, other_tool: str) -> Faults:
    """The world with all of these wrong. Raises KeyError for a name that is none of `PLANTS`."""
    faults = WELL
    for name in names:
        changes = PLANTS[name](ball_radius_nm, other_tool)
        faults = replace(
            faults, **{field: _both(getattr(faults, field), new) for field, new in changes.items()}
        )
    return faults


def _both(old: Any, new: Any) -> Any:
    """Lengths by axis add up; of everything else the later one holds."""
    return {axis: old[axis] + new[axis] for axis in AXES} if isinstance(new, dict) else new
