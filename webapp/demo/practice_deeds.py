"""What can be done at the practice mill:
one function a deed, from the form that was sent to what the control did.

Every deed says in one sentence what was done and how it ended. A refusal of the mill changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import BadRequest

from webapp.demo.mill import AXES, Mistake
from webapp.demo.mill.planting import PLANTS
from webapp.demo.practice_shop import PracticeMill
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.length_errors import LengthError
from webapp.domain.plain.lengths import Display, Unit, parse_length
from webapp.words import say

LONGEST_TYPED = 12
MOST_CLICKS, MOST_MINUTES = 200, 600
INCH_MM = 25.4
FAR_NM = 10**10
EXAMPLE = {Unit.MM: "4.5", Unit.INCH: "0.18"}


class NoToolTypedError(DomainError):
    """No tool number was typed."""

    code = "practice.no_tool"


class NoLengthTypedError(DomainError):
    """What was typed is no length, feed or count."""

    code = "practice.no_length"
    field_names = ("typed", "unit", "example")


@dataclass(frozen=True)
class Form:
    """What was sent, read as this machine's display writes it."""

    sent: MultiDict[str, str]
    display: Display

    def text(self, name: str) -> str:
        """The field's text, without blanks around it and no longer than a field is."""
        return self.sent.get(name, "").strip()[:LONGEST_TYPED]

    def one_of(self, name: str, allowed: tuple[str, ...]) -> str:
        """The field's text where it is one of these; anything else is no form of this page."""
        found = self.text(name)
        if found not in allowed:
            raise BadRequest
        return found

    def direction(self) -> int:
        """+1 or −1, by which of the two buttons was pressed."""
        return 1 if self.one_of("way", ("+", "-")) == "+" else -1

    def length_nm(self, name: str) -> int:
        """The length that was typed."""
        try:
            return parse_length(self.text(name), self.display, -FAR_NM, FAR_NM)
        except LengthError:
            raise self._no_length(name) from None

    def number(self, name: str, most: float) -> float:
        """A number above 0 and not above `most`."""
        try:
            found = float(self.text(name).replace(",", "."))
        except ValueError:
            raise self._no_length(name) from None
        if not 0 < found <= most:
            raise self._no_length(name)
        return found

    def feed_mm_per_min(self) -> float:
        """The feed, typed in the display's unit a minute."""
        feed = self.number("feed", 20_000)
        return feed if self.display.unit is Unit.MM else feed * INCH_MM

    def _no_length(self, name: str) -> NoLengthTypedError:
        unit = self.display.unit
        return NoLengthTypedError(typed=self.text(name), unit=unit.value, example=EXAMPLE[unit])


Deed = Callable[[PracticeMill, Form], str]


def _did(code: str, **fields: str) -> str:
    return say(f"practice.did_{code}", fields)


def _tool(practice: PracticeMill, form: Form) -> str:
    tool = form.text("tool")
    if not tool:
        raise NoToolTypedError
    practice.mill.call_tool(tool)
    return _did("tool_stuck" if practice.mill.state.half_changed else "tool", tool=tool)


def _slot(practice: PracticeMill, form: Form) -> str:
    label = form.text("slot").upper()
    practice.mill.select_slot(label)
    return _did("slot", label=label)


def _clear(practice: PracticeMill, form: Form) -> str:
    is_parked = "parked" in form.sent
    if is_parked:
        practice.mill.park_selected()
    else:
        practice.mill.clear_selected()
    return _did("park" if is_parked else "clear", label=practice.mill.selected_slot)


def _clear_row(practice: PracticeMill, form: Form) -> str:
    label = form.text("slot").upper()
    practice.mill.clear_row(label)
    return _did("clear", label=label)


def _clear_table(practice: PracticeMill, _: Form) -> str:
    practice.mill.clear_table()
    return _did("clear_table")


def _copy_row(practice: PracticeMill, form: Form) -> str:
    source, target = form.text("source").upper(), form.text("slot").upper()
    practice.mill.copy_row(source, target)
    return _did("copy_row", source=source, target=target)


def _value(practice: PracticeMill, form: Form) -> str:
    label, axis = form.text("slot").upper(), form.one_of("axis", AXES)
    practice.mill.set_value(label, axis, form.length_nm("value"))
    return _did("value", label=label, axis=axis, value=form.text("value"))


def _jog(practice: PracticeMill, form: Form) -> str:
    axis, direction = form.one_of("axis", AXES), form.direction()
    clicks = round(form.number("clicks", MOST_CLICKS))
    went = practice.mill.jog(axis, direction * clicks * form.length_nm("step"))
    fields = {"axis": axis, "way": "+" if direction > 0 else "−", "clicks": str(clicks)}
    if practice.mill.state.alarm == "crash":
        return _did("jog_crash", **fields)
    return _did("jog" if went else "jog_not", step=form.text("step"), **fields)


def _raise(practice: PracticeMill, _: Form) -> str:
    practice.mill.raise_z()
    return _did("raise_crash" if practice.mill.state.alarm == "crash" else "raise")


def _search(practice: PracticeMill, form: Form) -> str:
    axis, direction = form.one_of("axis", AXES), form.direction()
    held = form.length_nm("hold_after") if form.text("hold_after") else None
    ended = practice.mill.search(
        axis, direction, form.length_nm("range"), form.feed_mm_per_min(), held_after_nm=held
    )
    practice.touches += 1
    return _did(f"search_{ended}", axis=axis, way="+" if direction > 0 else "−")


def _cycle_start(practice: PracticeMill, _: Form) -> str:
    held = practice.mill.state.held
    ended = practice.mill.cycle_start()
    practice.touches += 1
    way = "" if held is None else "+" if held.direction > 0 else "−"
    return _did(f"search_{ended}", axis="" if held is None else held.axis, way=way)


def _touch(practice: PracticeMill, form: Form) -> str:
    axis = form.one_of("axis", AXES)
    mistake = Mistake(
        moving_jaw=form.text("jaw") == "moving",
        ball_left_out="ball_left_out" in form.sent,
        chip_nm=400_000 if "chip" in form.sent else 0,
    )
    practice.mill.touch(axis, mistake)
    practice.touches += 1
    return _did("touch", axis=axis)


def _wait(practice: PracticeMill, form: Form) -> str:
    minutes = form.number("minutes", MOST_MINUTES)
    practice.mill.wait(60 * minutes)
    return _did("wait", minutes=form.text("minutes"))


def _nudge(practice: PracticeMill, _: Form) -> str:
    return _did("nudge" if practice.mill.nudge() else "nudge_not")


def _push(practice: PracticeMill, _: Form) -> str:
    return _did("push" if practice.mill.push_vise() else "push_not")


def _plant(practice: PracticeMill, form: Form) -> str:
    practice.plant(form.sent.getlist("fault"))
    return _did("plant", count=str(len(practice.faults)))


def _simply(act: str) -> Deed:
    """A deed that needs nothing but its button: the mill's method of this name."""

    def deed(practice: PracticeMill, _: Form) -> str:
        getattr(practice.mill, act)()
        return _did(act)

    return deed


SIMPLE = ("reset", "use_length", "emergency_stop", "home", "wake", "wipe", "bare_vise", "take_shift_out",
          "switch_off_and_on", "free_change", "mend_probe", "write_touch")  # fmt: skip
DEEDS: Mapping[str, Deed] = {
    "tool": _tool,
    "slot": _slot,
    "clear": _clear,
    "clear_row": _clear_row,
    "clear_table": _clear_table,
    "copy_row": _copy_row,
    "value": _value,
    "jog": _jog,
    "raise": _raise,
    "search": _search,
    "cycle_start": _cycle_start,
    "touch": _touch,
    "wait": _wait,
    "nudge": _nudge,
    "push": _push,
    "plant": _plant,
    **{act: _simply(act) for act in SIMPLE},
}
FAULTS = tuple(PLANTS)
