"""A simulated mill: what the control would show now, mistakes included.

Rules of the simulation:

- The mill holds the truth that nobody in a real shop can look up: where the faces of the vise stand, in
  machine coordinates. A touch answers with that truth, plus what probing scatters, plus the mistake made.
- A touch writes into the slot that is selected at that moment, whoever owns it: just as a control would.
- A trigger position lies one ball radius before the face; a control that does not know the ball writes the
  trigger position. A touch on the moving jaw finds the jaw opposite, one opening away along the normal.
- No probe in the spindle, no touch: the real machine would have moved a bare spindle at a vise.

Chance comes from the caller's generator, so that a seed gives the same mill again. The sizes (a few
micrometres of probing) are common practice, no source; the arithmetic of the ball follows numbers.md 3.
"""

import random
from dataclasses import dataclass, field

from webapp.domain.plain.errors import DomainError

AXES = ("X", "Y", "Z")
Values = dict[str, int]


class NoProbeInSpindleError(DomainError):
    """A touch was asked for with another tool in the spindle."""

    code = "practice.no_probe"
    field_names = ("shown", "expected")


class NoSuchSlotError(DomainError):
    """The control has no slot of this name."""

    code = "practice.no_such_slot"
    field_names = ("typed", "first", "last")


@dataclass(frozen=True)
class ViseTruth:
    """Where the faces of one vise stand: surfaces in machine coordinates, nm, with their outward normals."""

    surface_nm: Values
    normal: dict[str, int]
    opening_nm: int


@dataclass(frozen=True)
class Mistake:
    """What can go wrong at a touch without the operator noticing."""

    moving_jaw: bool = False
    ball_left_out: bool = False
    chip_nm: int = 0


NO_MISTAKE = Mistake()


@dataclass
class SimulatedMill:
    """One mill as its control would answer; every change of state is one method."""

    truth: ViseTruth
    slot_labels: tuple[str, ...]
    probe_tool: str
    parking_tool: str
    ball_radius_nm: int
    resolution_nm: int
    probing_spread_nm: float
    chance: random.Random
    spindle_tool: str = ""
    selected_slot: str = ""
    slots_nm: dict[str, Values] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.spindle_tool = self.spindle_tool or self.parking_tool
        self.selected_slot = self.selected_slot or self.slot_labels[0]
        for label in self.slot_labels:
            self.slots_nm.setdefault(label, dict.fromkeys(AXES, 0))

    def call_tool(self, tool: str) -> str:
        """The tool that the control shows after the change."""
        self.spindle_tool = tool
        return self.spindle_tool

    def select_slot(self, label: str) -> Values:
        """Select a slot; its three values in nm. Raises NoSuchSlotError."""
        if label not in self.slots_nm:
            raise NoSuchSlotError(typed=label, first=self.slot_labels[0], last=self.slot_labels[-1])
        self.selected_slot = label
        return self.shown_nm()

    def shown_nm(self) -> Values:
        """The three values of the selected slot, nm, as the control shows them."""
        return dict(self.slots_nm[self.selected_slot])

    def clear_selected(self) -> Values:
        """Zero all three values of the selected slot."""
        self.slots_nm[self.selected_slot] = dict.fromkeys(AXES, 0)
        return self.shown_nm()

    def touch(self, axis: str, mistake: Mistake = NO_MISTAKE) -> int:
        """Probe one face and write the selected slot; the value shown, nm, on the control's grid.

        Raises NoProbeInSpindleError when another tool is in the spindle.
        """
        if self.spindle_tool != self.probe_tool:
            raise NoProbeInSpindleError(shown=self.spindle_tool, expected=self.probe_tool)
        found_nm = self._found_nm(axis, mistake) + self.chance.gauss(0.0, self.probing_spread_nm)
        value_nm = round(found_nm / self.resolution_nm) * self.resolution_nm
        self.slots_nm[self.selected_slot][axis] = value_nm
        return value_nm

    def _found_nm(self, axis: str, mistake: Mistake) -> float:
        normal = self.truth.normal[axis]
        away_nm = mistake.chip_nm
        if mistake.ball_left_out:
            away_nm += self.ball_radius_nm
        if mistake.moving_jaw and axis != "Z":
            away_nm += self.truth.opening_nm
        return self.truth.surface_nm[axis] + normal * away_nm
