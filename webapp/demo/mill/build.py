"""What never changes about one mill, and what can be wrong with it without anybody having said so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from webapp.demo.mill.solids import AXES, Tool, Values

SLOT, LENGTH, HOME, SHIFT = "slot", "length", "home", "shift"


@dataclass(frozen=True)
class MillBuild:
    """The mill and its control. `tools` by the number of their pocket;
    travel of X, Y and of the gauge line in Z.

    `reset_drops` says what a reset puts back (the selected slot falls to the first, the tool's length is no
    longer in use, home is lost); `sleeps_after_s` after how long without use the probe switches off, None
    where it never does; `z_reads` which point the machine page shows on Z with the probe loaded.
    `slot_written`: a touch goes into the row by itself ("cycle"), or at a key ("key"), or a person enters it
    from where the probe answered ("by_hand"). `parked_nm` is what the shop keeps in a row that is cleared:
    zeros, or on Z the lead's parked value.
    """

    slot_labels: tuple[str, ...]
    tools: Mapping[str, Tool]
    probe_tool: str
    parking_tool: str
    travel_nm: Mapping[str, tuple[int, int]]
    resolution_nm: int
    probing_spread_nm: float
    overtravel_side_nm: int
    overtravel_up_nm: int
    first_feed_mm_per_min: float
    deceleration_mm_per_s2: float
    latency_s: float
    reset_drops: frozenset[str] = frozenset({SLOT, LENGTH})
    sleeps_after_s: int | None = 600
    z_reads: str = "ball_centre"
    emergency_stop_loses_home: bool = True
    slot_written: str = "cycle"
    parked_nm: Values = field(default_factory=lambda: dict.fromkeys(AXES, 0))

    @property
    def probe(self) -> Tool:
        """The probe as it hangs in the spindle."""
        return self.tools[self.probe_tool]

    def overtravel_nm(self, axis: str) -> int:
        """How far the stylus gives way along an axis before something breaks."""
        return self.overtravel_up_nm if axis == "Z" else self.overtravel_side_nm


def no_values() -> Values:
    """Nothing on any axis."""
    return dict.fromkeys(AXES, 0)


@dataclass(frozen=True)
class Faults:
    """What is wrong with the world at this mill; nobody at it has been told.

    `probe`: "well", "dead" (its lamp shines, the control never hears it), "dark" (nothing at all) or "stuck"
    (the control hears a touch all the time). `ball_in_control_nm` is the ball's radius that the control
    counts with, None the right one; `length_off_nm` what its length of the probe is too long by. `shift_nm`
    and `turn_urad` are added to what a touch writes. `chip_nm` lies on a face until somebody wipes it. A
    loose nut lets the vise shift when it is pushed. `hangs_instead` is what really hangs in the probe's
    pocket. `left` are things left on the vise, with their heights; `jaw_off_nm` is what other jaws are higher
    or thicker by; `turned`: the vise stands the other way round.
    """

    probe: str = "well"
    bent_nm: Values = field(default_factory=no_values)
    loose_nm: int = 0
    ball_in_control_nm: int | None = None
    length_off_nm: int = 0
    shift_nm: Values = field(default_factory=no_values)
    turn_urad: int = 0
    chip_nm: Values = field(default_factory=no_values)
    moved_nm: Values = field(default_factory=no_values)
    jaw_off_nm: Values = field(default_factory=no_values)
    nut_gives_nm: int = 0
    turned: bool = False
    change_sticks: bool = False
    hangs_instead: str | None = None
    left: tuple[tuple[str, int], ...] = ()


WELL = Faults()
