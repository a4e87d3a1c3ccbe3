"""One mill as its control would answer; everything that a person can do at it is one method.

Chance comes from the caller's generator, so that a seed gives the same mill again.
The sizes (a few micrometres of probing) are common practice, no source.
"""

from __future__ import annotations

from webapp.demo.mill.build import HOME, LENGTH, SHIFT, SLOT, Faults
from webapp.demo.mill.errors import (
    InAlarmError,
    NoProbeInSpindleError,
    NoSuchSlotError,
    NoSuchToolError,
    NothingHeldError,
    NothingTouchedError,
    NotHomedError,
)
from webapp.demo.mill.moving import move
from webapp.demo.mill.one_go import NO_MISTAKE, RANGE_NM, Mistake, stand_before, with_mistake
from webapp.demo.mill.readings import Readings
from webapp.demo.mill.solids import AXES, Values
from webapp.demo.mill.state import Search
from webapp.demo.mill.vise import MM


class SimulatedMill(Readings):
    """The mill, and everything that a person can do at it."""

    # Tools, slots

    def call_tool(self, tool: str) -> str:
        """Raise, put away, fetch; the number that the control shows. Raises NoSuchToolError, InAlarmError."""
        if tool not in self.build.tools:
            raise NoSuchToolError(typed=tool, known=", ".join(sorted(self.build.tools, key=int)))
        self._ready()
        self.raise_z()
        if self.faults.change_sticks and not self.state.freed:
            self.state.half_changed, self.state.alarm = True, "change_stuck"
            return self.spindle_tool
        self.state.spindle_tool, self.state.length_active = tool, True
        self._wake()
        return self.spindle_tool

    def free_change(self) -> None:
        """What the lead does where a change stuck: the changer is free again, the tool that was in is in."""
        self.state.half_changed, self.state.alarm, self.state.freed = False, "", True

    def mend_probe(self) -> None:
        """What the lead does after a crash: another stylus, aligned and told to the control."""
        self.state.broken = False

    def select_slot(self, label: str) -> Values:
        """Select a slot; its three values in nm. Raises NoSuchSlotError."""
        self._known(label)
        self.state.selected_slot = label
        return self.shown_nm()

    def clear_selected(self) -> Values:
        """Zero all three values of the selected slot."""
        return self.clear_row(self.selected_slot)

    def park_selected(self) -> Values:
        """Put into the selected row what this shop keeps in a cleared one: zeros, or a Z that is parked."""
        self.slots_nm[self.selected_slot] = dict(self.build.parked_nm)
        return self.shown_nm()

    def clear_row(self, label: str) -> Values:
        """Zero one row of the table, selected or not. Raises NoSuchSlotError."""
        self._known(label)
        self.slots_nm[label] = dict.fromkeys(AXES, 0)
        return self.shown_nm()

    def clear_table(self) -> None:
        """Zero every row."""
        for label in self.slot_labels:
            self.slots_nm[label] = dict.fromkeys(AXES, 0)

    def copy_row(self, source: str, target: str) -> None:
        """Write one row over another. Raises NoSuchSlotError."""
        self._known(source)
        self._known(target)
        self.slots_nm[target] = dict(self.slots_nm[source])

    def set_value(self, label: str, axis: str, value_nm: int) -> None:
        """Type one value into the table. Raises NoSuchSlotError."""
        self._known(label)
        self.slots_nm[label][axis] = value_nm

    # Moving

    def jog(self, axis: str, by_nm: int) -> int:
        """Turn the wheel: how far it went, signed. Raises InAlarmError; may end in a crash."""
        self._ready()
        return move(self.build, self.state, self.hanging, self.boxes, axis, by_nm, "jog")

    def raise_z(self) -> int:
        """Z up to the end of its travel."""
        return self.jog("Z", self.build.travel_nm["Z"][1] - self.state.place_nm["Z"])

    def search(
        self,
        axis: str,
        direction: int,
        range_nm: int,
        feed_mm_per_min: float,
        *,
        held_after_nm: int | None = None,
    ) -> str:
        """Run a probing move from where the spindle stands; how it ended (see `probing`)."""
        self._ready()
        if not self.state.homed:
            raise NotHomedError
        search = Search(axis, direction, range_nm, feed_mm_per_min)
        return self.probing().run(search, held_after_nm)

    def cycle_start(self) -> str:
        """Go on with what was held. Raises NothingHeldError."""
        self._ready()
        search = self.state.held
        if search is None:
            raise NothingHeldError
        self.state.held = None
        return self.probing().run(search)

    def write_touch(self) -> None:
        """Press the key that writes the last touch into the row. Raises InAlarmError, NothingTouchedError."""
        self._ready()
        if self.state.answered is None:
            raise NothingTouchedError
        self.probing().write()

    def reset(self) -> None:
        """Take the alarm away, drop what was held, and put back what this control puts back."""
        self.state.alarm, self.state.held = "", None
        if SLOT in self.build.reset_drops:
            self.state.selected_slot = self.slot_labels[0]
        if LENGTH in self.build.reset_drops:
            self.state.length_active = False
        if HOME in self.build.reset_drops:
            self.state.homed = False
        if SHIFT in self.build.reset_drops:
            self.take_shift_out()

    def use_length(self) -> None:
        """Bring the length of the tool in the spindle into use again."""
        self.state.length_active = True

    def emergency_stop(self) -> None:
        """Everything stops; many machines lose their home."""
        self.state.alarm, self.state.held = "emergency_stop", None
        self.state.homed = self.state.homed and not self.build.emergency_stop_loses_home

    def home(self) -> None:
        """Z first, then X and Y, to their switches. Raises InAlarmError."""
        self._ready()
        self.raise_z()
        self.state.homed, self.state.page_off_nm = True, 0

    def switch_off_and_on(self, off_nm: int = 2 * MM) -> None:
        """As after a night: the axes have lost where they stand, by so much."""
        self.state.homed, self.state.page_off_nm = False, off_nm

    # The probe, and time

    def wait(self, seconds: float) -> None:
        """Let time pass; a probe that is not used falls asleep."""
        self.state.idle_s += seconds
        limit = self.build.sleeps_after_s
        self.state.asleep = self.state.asleep or (limit is not None and self.state.idle_s > limit)

    def nudge(self) -> bool:
        """Push the stylus with a plastic stick; whether the control's input changes. Wakes nothing."""
        seen = self.input_seen(nudged=True) and not self.input_seen(nudged=False)
        if seen:
            self.state.idle_s = 0.0
        return seen

    def wake(self) -> None:
        """Switch the probe on as this machine does."""
        self._wake()

    def wipe(self) -> None:
        """Brush and wipe the fixed jaw."""
        self.state.wiped = True

    def bare_vise(self) -> None:
        """Take handle, stops and parallels off the vise."""
        self.state.bare = True

    def push_vise(self) -> bool:
        """Push at the vise by hand; whether it shifts. A loose nut lets it."""
        self.state.gave_nm += self.faults.nut_gives_nm
        return self.faults.nut_gives_nm > 0

    def take_shift_out(self) -> None:
        """Cancel every shift and turn of the coordinates."""
        self.state.shift_out = True

    def plant(self, faults: Faults) -> None:
        """Let these things be wrong from now on; what was wiped or taken off may be there again."""
        self.faults = faults
        self.state.wiped = self.state.bare = self.state.shift_out = self.state.freed = False

    # A touch in one go, for walks that need no way there

    def touch(self, axis: str, mistake: Mistake = NO_MISTAKE) -> int:
        """Stand before the face of this axis, search it, stand high again;
        the value shown in the selected slot, nm.

        A key that writes it is pressed; where a person enters it, the row stays as it was. Raises
        NoProbeInSpindleError when another tool is in the spindle: this way there is no look before it moves.
        """
        if self.spindle_tool != self.probe_tool:
            raise NoProbeInSpindleError(shown=self.spindle_tool, expected=self.probe_tool)
        before, wiped = self.faults, self.state.wiped
        self.faults = with_mistake(before, mistake, axis, self.ball_radius_nm)
        self.state.wiped = wiped and not mistake.chip_nm
        self.state.place_nm, direction = stand_before(
            self.vise, self.build.probe, axis, moving_jaw=mistake.moving_jaw
        )
        self.probing().run(Search(axis, direction, RANGE_NM, self.build.first_feed_mm_per_min))
        if self.build.slot_written == "key":
            self.probing().write()
        self.faults, self.state.wiped = before, wiped
        self.state.place_nm["Z"] = self.build.travel_nm["Z"][1]
        return self.shown_nm()[axis]

    def _ready(self) -> None:
        if self.state.alarm:
            raise InAlarmError

    def _wake(self) -> None:
        self.state.asleep, self.state.idle_s = False, 0.0

    def _known(self, label: str) -> None:
        if label not in self.slots_nm:
            raise NoSuchSlotError(typed=label, first=self.slot_labels[0], last=self.slot_labels[-1])
