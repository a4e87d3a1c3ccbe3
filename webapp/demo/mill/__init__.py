"""A simulated mill: what the control would show now, mistakes and crashes included.

Rules of the simulation:

- The mill holds the truth that nobody in a real shop can look up: where the faces of the vise stand,
  in machine coordinates. A touch answers with that truth, plus what probing scatters, plus whatever is wrong.
- Every move is along one axis, and meets what stands there: jaws, bed, table, things left lying.
  The stylus gives way as far as its overtravel; beyond it, something breaks, and the mill says what hit what.
- A touch writes into the slot that is selected at that moment, whoever owns it: just as a control would.
- A probe that is dead or asleep does not end a move. A reset drops what this control drops.
- Whole nanometres, machine coordinates;
  Z of the spindle's gauge line, of a tool's lowest point where a name says tip.

`solids` and `vise` say what stands where, `build` what a mill is and what can be wrong with it,
`state` how it stands, `moving` and `probing` what moves do, `readings` what can be read off it,
`simulated` what a person can do at it.
"""

from webapp.demo.mill.build import WELL, Faults, MillBuild
from webapp.demo.mill.errors import (
    InAlarmError,
    NoProbeInSpindleError,
    NoSuchSlotError,
    NoSuchToolError,
    NothingHeldError,
    NothingTouchedError,
    NotHomedError,
)
from webapp.demo.mill.one_go import NO_MISTAKE, Mistake
from webapp.demo.mill.simulated import SimulatedMill
from webapp.demo.mill.solids import AXES, Box, Tool, Values, cutter, probe_tool
from webapp.demo.mill.state import Crash, MillState
from webapp.demo.mill.vise import ViseTruth

__all__ = [
    "AXES", "NO_MISTAKE", "WELL", "Box", "Crash", "Faults", "InAlarmError", "MillBuild", "MillState",
    "Mistake", "NoProbeInSpindleError", "NoSuchSlotError", "NoSuchToolError", "NotHomedError",
    "NothingHeldError", "NothingTouchedError", "SimulatedMill", "Tool", "Values", "ViseTruth", "cutter",
    "probe_tool",
]  # fmt: skip
