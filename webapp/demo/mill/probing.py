"""A probing move: what is touched, what the control makes of it, and how it ends where nothing answers.

Rules of this module (numbers.md 3):
- The ball meets a face one radius before it; the control adds the radius that it knows.
  On Z it takes off the length that it knows. What it is told wrongly stands in the value.
- A probe that answers stops the move after s(v) = v t + v^2 / 2a;
  where that is more than the overtravel, it breaks.
- A probe that does not answer (dead, asleep, broken) goes on to the end of the range, into whatever stands
  there.
- A control that hears a touch before it moves does not start.
- The cycle ends where it began; a move that found nothing stays where it ended, and is an alarm.
- The value goes into the row that is selected, whoever owns it; where a key writes it or a person enters it,
  the control keeps what it made of the touch, and where its page stood when the probe answered, until the
  next search.
- The page knows no shift, no turn and no ball: what a person works out from there goes wrong by none of them.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from webapp.demo.mill.build import Faults, MillBuild
from webapp.demo.mill.moving import crash, move, tip_nm
from webapp.demo.mill.solids import Box, Contact, Tool, first_contact
from webapp.demo.mill.state import Answered, MillState, Search
from webapp.domain.touch.feeds import stopping_distance_nm

PLAY_NM = 60_000


@dataclass(frozen=True)
class Probing:
    """All that one probing move needs: the mill, the world around it, and chance for its scatter."""

    build: MillBuild
    state: MillState
    faults: Faults
    tool: Tool
    boxes: tuple[Box, ...]
    chance: random.Random

    @property
    def answers(self) -> bool:
        """Whether a touch would be heard now."""
        state = self.state
        return (
            self.faults.probe == "well"
            and not state.asleep
            and not state.broken
            and self.tool.ball is not None
        )

    def run(self, search: Search, held_after_nm: int | None = None) -> str:
        """Run the move; how it ended: "touched", "no_touch", "held", "already_touched", "crash"."""
        self.state.answered = None
        if self.faults.probe == "stuck" and self.tool.ball is not None:
            self.state.alarm = "already_touched"
            return "already_touched"
        contact = first_contact(
            self.tool, tip_nm(self.state, self.tool), search.axis, search.direction, self.boxes
        )
        if held_after_nm is not None and self._held(search, held_after_nm, contact):
            return "held"
        if contact is None or contact.away_nm > search.range_nm or not self.answers:
            return self._unanswered(search)
        return self._answered(search, contact)

    def _held(self, search: Search, after_nm: int, contact: Contact | None) -> bool:
        """Feed hold after so much of the way, if nothing was touched before."""
        meets = contact is not None and contact.away_nm <= after_nm and self.answers
        if meets or after_nm >= search.range_nm:
            return False
        self._go(search, after_nm)
        if not self.state.alarm:
            self.state.held = replace(search, range_nm=search.range_nm - after_nm)
        return True

    def _unanswered(self, search: Search) -> str:
        self._go(search, search.range_nm)
        if self.state.alarm == "crash":
            return "crash"
        self.state.alarm = "no_touch"
        return "no_touch"

    def _answered(self, search: Search, contact: Contact) -> str:
        build = self.build
        stop = stopping_distance_nm(search.feed_mm_per_min, build.deceleration_mm_per_s2, build.latency_s)
        if contact.part.name == "probe body" or stop > build.overtravel_nm(search.axis):
            self._go(search, contact.away_nm)
            crash(self.state, contact.part.name, contact.box.name, "search")
            return "crash"
        self.state.answered = self._made_of(search, contact)
        if build.slot_written == "cycle":
            self.write()
        self.state.idle_s = 0.0
        return "touched"

    def write(self) -> None:
        """Write what the control made of the last touch into the selected row, if there was one."""
        made = self.state.answered
        if made is not None:
            self.state.slots_nm[self.state.selected_slot][made.axis] = made.surface_nm

    def _go(self, search: Search, by_nm: int) -> None:
        move(self.build, self.state, self.tool, self.boxes, search.axis, search.direction * by_nm, "search")

    def _made_of(self, search: Search, contact: Contact) -> Answered:
        """What the control makes of the touch, both to its display's step."""
        axis, state = search.axis, self.state
        met: float = state.place_nm[axis] + search.direction * (
            contact.away_nm - self._chip_nm(search, contact)
        )
        met += self._off_nm(search, contact) + self.chance.gauss(0.0, self.build.probing_spread_nm)
        found = met + self._told_nm(search)
        if not state.shift_out:
            found += self.faults.shift_nm[axis] + self._turned_nm(axis)
        return Answered(axis, self._shown(self.page_nm(axis, met)), self._shown(found))

    def _shown(self, value_nm: float) -> int:
        return round(value_nm / self.build.resolution_nm) * self.build.resolution_nm

    def page_nm(self, axis: str, place_nm: float) -> float:
        """What the machine page reads at this place; Z by the point that this control counts from."""
        read = place_nm + self.state.page_off_nm
        if axis != "Z" or self.build.z_reads == "gauge_line" or not self.state.length_active:
            return read
        ball = self.build.probe.ball
        above = ball.radius_nm if ball and self.build.z_reads == "ball_centre" else 0
        return read - self.length_told_nm + above

    def _told_nm(self, search: Search) -> float:
        """What the control adds to the spindle's place: the ball's radius that it knows, on Z the length."""
        if search.axis == "Z":
            return -self.length_told_nm
        ball = self.tool.ball
        radius = ball.radius_nm if ball else 0
        told = self.faults.ball_in_control_nm
        return search.direction * (radius if told is None else told)

    @property
    def length_told_nm(self) -> int:
        """The length of the tool that the control counts with."""
        return self.tool.length_nm + self.faults.length_off_nm if self.state.length_active else 0

    def _off_nm(self, search: Search, contact: Contact) -> float:
        """What a bent or loose stylus and a jaw with play add."""
        off = -self.faults.bent_nm.get(search.axis, 0)
        scatter = self.faults.loose_nm + (PLAY_NM if contact.box.name == "moving jaw" else 0)
        return off + (self.chance.gauss(0.0, scatter) if scatter else 0.0)

    def _chip_nm(self, search: Search, contact: Contact) -> int:
        lies = contact.box.name == "fixed jaw" and not self.state.wiped
        return self.faults.chip_nm[search.axis] if lies else 0

    def _turned_nm(self, axis: str) -> float:
        """What a coordinate turn that nobody took out adds, about machine zero."""
        turn, place = self.faults.turn_urad * 1e-6, self.state.place_nm
        if axis == "Z" or not turn:
            return 0.0
        other = place["Y"] if axis == "X" else -place["X"]
        return math.sin(turn) * other + (math.cos(turn) - 1) * place[axis]
