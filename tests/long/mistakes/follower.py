"""Somebody who follows the list at the simulated mill:
does what a step says, looks at what it says to look for.

Rules of this module:
- Hands act on the mill; eyes see the vise, the spindle and the control as they truly are, but only so well: a
  gap to a millimetre and a half, a place to three, a bend from half a millimetre on (common practice, no
  source).
- Where it does not look as the step says, the way on that the step names is raised as `Odd`.
- Readings and picture are compared:
  coordinates come off the sheet's plates, and the eye judges what stands there.
- A deviation takes the place of one step's doing: that is how the list is left, on purpose and there alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from webapp.demo.mill import AXES, NotHomedError, SimulatedMill, Values
from webapp.demo.mill.moving import tip_nm
from webapp.demo.mill.solids import Contact, first_contact

MM = 1_000_000
GAP_BY_EYE_NM, PLACE_BY_EYE_NM, BEND_BY_EYE_NM, JAWS_BY_EYE_NM = 1_500_000, 3 * MM, 500_000, 3 * MM
LOWERING_STEP_NM = MM
ASIDE_NM = 5 * MM
Step = Mapping[str, Any]


class Odd(Exception):
    """It does not look as the step says.
    `way`: "ask" the lead, "put_away" the probe, "again" after it found nothing, "held" after a feed hold.
    """

    def __init__(self, seen: str, way: str) -> None:
        super().__init__(seen)
        self.seen, self.way = seen, way


Deviation = Callable[["Follower", Step], Any]


@dataclass
class Follower:
    """One person at one mill with one sheet.
    `deviations` by step id, each used once; `seen` lists what was odd.
    """

    mill: SimulatedMill
    sheet: Mapping[str, Any]
    own: str
    deviations: dict[str, Deviation] = field(default_factory=dict)
    slips: dict[str, Callable[[int], int]] = field(default_factory=dict)
    found_nm: Values = field(default_factory=dict)
    by_memory: bool = False
    plate: str = ""
    own_reset: bool = False
    harmed: str = ""
    step: Step = field(default_factory=dict)
    left: list[str] = field(default_factory=list)
    waited_s: float = 0

    def wait(self, seconds: float) -> None:
        """Let time pass at the mill; whoever holds the tablet's clock is told by `time_that_passed_s`."""
        self.mill.wait(seconds)
        self.waited_s += seconds

    def time_that_passed_s(self) -> float:
        """The seconds waited since this was last asked."""
        waited, self.waited_s = self.waited_s, 0
        return waited

    # What a walk asks of whoever is at the machine (webapp.demo.step_answers.Control)

    def act(self, step: Step) -> str | None:
        self.step = step
        return self._deviating(step["id"], lambda: self._doing(step)(step))

    def tool(self, expected: str) -> str:
        return self._deviating(self.step["id"], lambda: self._change(expected))

    def label(self, own: str) -> str:
        return self._deviating(self.step["id"], lambda: self._select(own))

    def row_nm(self, label: str) -> Values:
        """The row beside the label; from memory, whichever row is marked."""
        return dict(self.row(self.mill.selected_slot if self.by_memory else label))

    def row(self, label: str) -> Values:
        """A row of the table; nothing where this control has no such row."""
        return self.mill.slots_nm.get(label, {})

    def label_beside(self, _: str) -> str:
        """Asked which label stands there, anybody looks."""
        self.by_memory = False
        return self.mill.selected_slot

    def cleared_nm(self, label: str) -> Values:
        def clear() -> Values:
            before = {one: dict(row) for one, row in self.mill.slots_nm.items()}
            self.mill.park_selected()
            self.look_at_rows(before)
            return self.row_nm(label)

        return self._deviating(self.step["id"], clear)

    def touched_nm(self, axis: str) -> int:
        def run() -> int:
            if self.step["kind"] == "square" and axis in self.found_nm:
                self._along(axis)
            self.run(axis)
            return self.shown_nm(axis)

        value = self._deviating(self.step["id"], run)
        slip = self.slips.pop(self.step["id"], None)
        return slip(value) if slip else value

    answered_nm = touched_nm

    def shown_nm(self, axis: str) -> int:
        """What is typed after a touch: the own row, or where the control says that the probe answered."""
        if self.plan(axis).get("by_hand_nm") is None:
            return self.row(self.own)[axis]
        kept = self.mill.state.answered
        if kept is None:
            raise Odd("the control keeps no position", "ask")
        return kept.page_nm

    def entered_nm(self, axis: str, surface_nm: int) -> int:
        """Into the own row, and read there; or, where that is the mistake, otherwise."""

        def enter() -> int:
            self.mill.set_value(self.own, axis, surface_nm)
            return self.row(self.own)[axis]

        return self._deviating(f"{axis.lower()}.enter", enter)

    def read_again_nm(self, axis: str) -> int:
        return self.row(self.own)[axis]

    def _deviating(self, step_id: str, follow: Callable[[], Any]) -> Any:
        self.mill.wait(20)
        deviation = self.deviations.pop(step_id, None)
        if deviation is None:
            return follow()
        self.left.append(step_id)
        return deviation(self, self.step)

    def _doing(self, step: Step) -> Callable[[Step], str | None]:
        by_id = getattr(self, f"_{step['id'].replace('.', '_')}", None)
        return by_id or getattr(self, f"_{step['kind']}", _nothing)

    # Before anything moves, and the vise

    def _ready_board(self, _: Step) -> str | None:
        if self.mill.hanging.ball is not None:
            return "probe_in_spindle"
        if self.plate and self.plate != self.sheet["machine"]["id"]:
            return "something_else"
        return "something_else" if self.mill.state.alarm else None

    def _ready_state(self, _: Step) -> None:
        if not self.mill.state.homed:
            self.mill.home()

    def _vise_bring(self, _: Step) -> None:
        self.mill.raise_z()
        self.mill.jog("Y", self.mill.build.travel_nm["Y"][1] - self.mill.state.place_nm["Y"])

    def _vise_open(self, _: Step) -> str:
        vise = self.mill.vise
        low, high = ("front", "back") if vise.clamping_axis == "Y" else ("left", "right")
        return high if vise.normal[vise.clamping_axis] < 0 else low

    def _vise_wipe(self, _: Step) -> None:
        if max(abs(value) for value in self.mill.faults.jaw_off_nm.values()) >= JAWS_BY_EYE_NM:
            raise Odd("other jaws", "ask")
        self.mill.wipe()

    def _vise_bare(self, _: Step) -> None:
        self.mill.bare_vise()
        if self.mill.push_vise():
            raise Odd("the vise shifts", "ask")

    # Probe and slot

    def _change(self, expected: str) -> str:
        self.mill.call_tool(expected)
        if self.mill.state.half_changed:
            raise Odd("the change stuck", "ask")
        wanted_probe = expected == self.sheet["machine"]["probe_tool"]
        if wanted_probe != (self.mill.hanging.ball is not None):
            raise Odd("another tool hangs there", "ask")
        return self.mill.spindle_tool

    def _probe_input(self, _: Step) -> str | None:
        faults = self.mill.faults
        if max(abs(value) for value in faults.bent_nm.values()) >= BEND_BY_EYE_NM or faults.loose_nm:
            return "stylus"
        if self.mill.input_seen(nudged=False):
            return "stays"
        lit = self.mill.lamp != "dark"
        return None if self.mill.nudge() else "lamp" if lit else "nothing"

    def _probe_modes(self, _: Step) -> None:
        faults, state = self.mill.faults, self.mill.state
        if not state.shift_out and (faults.turn_urad or any(faults.shift_nm.values())):
            raise Odd("a shift or turn is active", "ask")
        if self.own_reset:
            self.mill.use_length()
        if not state.length_active:
            raise Odd("the probe's length is not in use", "ask")

    def _select(self, own: str) -> str:
        self.mill.select_slot(own)
        return self.mill.selected_slot

    def look_at_rows(self, before: dict[str, Values]) -> None:
        """Rows above and below as before."""
        marked = self.mill.selected_slot
        if any(row != before[label] for label, row in self.mill.slots_nm.items() if label != marked):
            raise Odd("another row changed", "ask")

    # The way to a face

    def _over(self, step: Step) -> None:
        self.free()
        self.mill.raise_z()
        for axis in "XY":
            self.go(axis, step["axis"])
        self.look_over(step["axis"])

    def _lower(self, step: Step) -> None:
        self.lower_to(step["axis"], self.deep_nm(step["axis"]))

    def _search(self, step: Step) -> None:
        if step["axis"] == "Z":
            self.lower_to("Z", self.above_nm())
            self.look_at_gap()
        if self.mill.selected_slot != self.own and not self.by_memory:
            self.mill.select_slot(self.own)

    def free(self) -> None:
        """Back the way it came until the ball leans on nothing."""
        lean = self.mill.state.lean
        if lean is not None:
            self.mill.jog(lean.axis, -lean.direction * (lean.depth_nm + 2 * MM))

    def go(self, axis: str, searched: str) -> None:
        """Turn the wheel until the machine page reads what the plate says; without a plate, by eye."""
        band = self.band_nm(axis, searched)
        if band is None:
            self.mill.jog(axis, self.drawn_nm(axis, searched) - self.mill.state.place_nm[axis])
        else:
            self.mill.jog(axis, sum(band) // 2 - self.mill.page_nm()[axis])

    def band_nm(self, axis: str, searched: str) -> tuple[int, int] | None:
        """What the plates say of this axis while that one is searched:
        from the usual, or from this setup's touch.
        """
        approach = self.plan(searched)["approach"] or {}
        band = approach.get("place", {}).get(axis)
        if band is None:
            return None
        if axis in self.found_nm and axis != searched:
            found = self.found_nm[axis]
            return found + band["from_surface_low_nm"], found + band["from_surface_high_nm"]
        return None if band["low_nm"] is None else (band["low_nm"], band["high_nm"])

    def plan(self, axis: str) -> Mapping[str, Any]:
        """The sheet's section of this axis."""
        return next(one for one in self.sheet["axes"] if one["axis"] == axis)

    def gap_nm(self, axis: str) -> int:
        """The middle of the gap that the plates ask for."""
        approach = self.plan(axis)["approach"]
        return 2_500_000 if approach is None else (approach["gap_low_nm"] + approach["gap_high_nm"]) // 2

    def drawn_nm(self, axis: str, searched: str) -> int:
        """Where the picture shows the spindle, on the vise as it stands."""
        vise = self.mill.vise
        if axis != searched:
            return vise.middle_nm[axis]
        away = self.mill.ball_radius_nm + self.gap_nm(axis)
        return vise.surface_nm[axis] + vise.normal[axis] * away

    def deep_nm(self, searched: str) -> int:
        """How far Z still has to go down beside a face, by the plate, else by eye."""
        band = self.band_nm("Z", searched)
        if band is not None:
            return self.mill.page_nm()["Z"] - sum(band) // 2
        approach = self.plan(searched)["approach"] or {}
        depth = approach.get("depth_nm") or 7 * MM
        return self.tip["Z"] - (self.mill.vise.surface_nm["Z"] - depth - self.mill.ball_radius_nm)

    def above_nm(self) -> int:
        """How far Z still has to go down to the gap above the top."""
        band = self.band_nm("Z", "Z")
        if band is not None:
            return self.mill.page_nm()["Z"] - sum(band) // 2
        return self.tip["Z"] - self.mill.vise.surface_nm["Z"] - self.gap_nm("Z")

    def lower_to(self, axis: str, by_nm: int) -> None:
        """Lower in small steps, looking at the air below;
        stop where there is less of it than there should be.
        """
        keep_nm = self.gap_nm("Z") - GAP_BY_EYE_NM if axis == "Z" else MM
        while by_nm > 0:
            step = min(LOWERING_STEP_NM if self.air_nm(by_nm) < 2 * ASIDE_NM else ASIDE_NM, by_nm)
            if self.air_nm(step) - step < keep_nm:
                raise Odd("less air below than there should be", "ask")
            self.mill.jog("Z", -step)
            by_nm -= step

    def air_nm(self, otherwise_nm: int) -> int:
        """How much air there is below the tool."""
        below = self.ahead("Z", -1)
        return below.away_nm if below else otherwise_nm + 10 * ASIDE_NM

    @property
    def tip(self) -> Values:
        return tip_nm(self.mill.state, self.mill.hanging)

    def ahead(self, axis: str, direction: int, **at_nm: int) -> Contact | None:
        """What stands ahead of the tool, from where it is or from another place."""
        return first_contact(self.mill.hanging, {**self.tip, **at_nm}, axis, direction, self.mill.boxes)

    def look_over(self, searched: str) -> None:
        """Is the ball over the jaw, off edges, screws and steps;
        or above the place beside it, on the drawn side?
        """
        vise, tip = self.mill.vise, self.tip
        for axis in "XY":
            allowed = 10 * MM + PLACE_BY_EYE_NM if axis != searched else GAP_BY_EYE_NM
            drawn = self.drawn_nm(axis, searched)
            if abs(tip[axis] - drawn) > allowed:
                raise Odd("not over the place as it is drawn", "ask")
        if searched == "Z":
            self._look_at_top()
            return
        deep = vise.surface_nm["Z"] - 7 * MM - self.mill.ball_radius_nm
        ahead = self.ahead(searched, -vise.normal[searched], Z=deep)
        if ahead is None or ahead.box.name != "fixed jaw":
            raise Odd("not before the fixed jaw", "ask")

    def _look_at_top(self) -> None:
        radius, top = self.mill.ball_radius_nm, self.mill.vise.surface_nm["Z"]
        for axis in "XY":
            for aside in (-radius, 0, radius):
                below = self.ahead("Z", -1, **{axis: self.tip[axis] + aside})
                if below is None or below.box.name != "fixed jaw" or below.box.high_nm["Z"] != top:
                    raise Odd("not off edges, screws and steps", "ask")

    def look_at_gap(self) -> None:
        """Half a ball of air: not much more, not much less."""
        if abs(self.air_nm(0) - self.gap_nm("Z")) > GAP_BY_EYE_NM:
            raise Odd("the gap looks wrong", "ask")

    # The touch

    def run(
        self, axis: str, direction: int = 0, range_nm: int = 0, feed: float = 0, held_nm: int | None = None
    ) -> None:
        """Run the search as the plates say it, or otherwise where that is the mistake."""
        plan = self.plan(axis)
        approach = plan["approach"]
        try:
            ended = self.mill.search(
                axis,
                direction or -plan["normal"],
                range_nm or approach["range_nm"],
                feed or approach["first_feed_mm_per_min"],
                held_after_nm=held_nm,
            )
        except NotHomedError:
            raise Odd("the control refuses: not homed", "ask") from None
        self.meet(ended)
        if self.mill.build.slot_written == "key":
            self.mill.write_touch()
        self.found_nm[axis] = self.shown_nm(axis) + (plan.get("by_hand_nm") or 0)

    def _along(self, axis: str) -> None:
        """To the other place of the jaw that is looked at for square, raised on the way."""
        low = self.mill.state.place_nm["Z"]
        vise, apart = self.mill.vise, self.sheet["square"]["apart_nm"]
        self.mill.raise_z()
        end = vise.end_axis
        self.mill.jog(end, vise.middle_nm[end] - apart // 2 - self.mill.state.place_nm[end])
        self.lower_to(axis, self.mill.state.place_nm["Z"] - low)

    def meet(self, ended: str) -> None:
        """What the list says to do where a search did not end with a touch."""
        if ended == "no_touch":
            raise (
                Odd("nothing_found", "again")
                if self.mill.state.lean is None
                else Odd("dead_probe", "put_away")
            )
        if ended == "already_touched":
            raise Odd("the control hears a touch before it moves", "put_away")
        if ended != "touched":
            raise Odd(ended, "ask")

    # The end

    def _stow_up(self, _: Step) -> None:
        self.free()
        self.mill.raise_z()

    def _stow_gone(self, _: Step) -> str | None:
        return "still_there" if self.mill.hanging.ball is not None else None


def _nothing(_: Step) -> None:
    """A step that only has to be read."""


def all_axes(value_nm: int) -> Values:
    """The same on each axis."""
    return dict.fromkeys(AXES, value_nm)
