"""What a machine is like at the work:
everything that changes what a person has to do there, and the words for it.

Rules of this module:
- Each field may be left out of a shop's file. The value that then counts is the commonest one,
  or the one that asks more of a person (common practice, no source).
- A profile says nothing in words but the shop's own sentences; the shipped procedure has the words,
  and a step may have others under a condition. `CONDITIONS` are all that can be named there.
- `fixed_search_nm` is the distance of a control that searches a fixed one;
  it takes the place of the shop's cap.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from webapp.domain.plain.declared import Expected
from webapp.domain.plain.field_types import LIST, Positive, Sentence, Truth, one_of, some_of

DOORS = ("interlock", "guard", "none")
CHANGERS = ("arm", "carousel", "by_hand")
WRITERS = ("cycle", "key", "by_hand")
STOP_BUTTONS = ("feed_hold", "reset", "emergency_stop")
SWITCHES = ("by_itself", "command", "slow_turn", "by_hand")
DROPPED = ("slot", "length", "units", "home")
LONGEST_INPUT_AGE_MINUTES = 60
PARKED = "parked"
# Conditions that hold or do not; the others are a field and its value.
FLAGS = (
    "square",
    "clamping_face",
    "face_hidden",
    "single_block",
    "warm_up",
    "guarded_lowering",
    "spindle_held",
    "probe_sleeps",
    "estop_loses_home",
    "length_in_use",
    "control_asks",
    PARKED,
)
CONDITIONS = frozenset(
    (
        *FLAGS,
        *(f"door:{one}" for one in DOORS),
        *(f"changer:{one}" for one in CHANGERS),
        *(f"slot_written:{one}" for one in WRITERS),
        *(f"probing_stop:{one}" for one in STOP_BUTTONS),
        *(f"probe_switching:{one}" for one in SWITCHES),
        *(f"reset_drops:{one}" for one in DROPPED),
        "jog:wheel",
        "jog:keys",
        "search:typed",
        "search:fixed",
    )
)
# Hangs on the person: the sheet carries the words for both, and says who is practised.
PRACTISED = "practised"
DOOR_WORDS = {
    "interlock": "Door closed, no hand inside.",
    "guard": "Guard closed, no hand inside.",
    "none": "No door here: stand back, hands off the table.",
}
STOP_WORDS = {"feed_hold": "feed hold", "reset": "reset", "emergency_stop": "emergency stop"}
UNIT_WORDS = {"mm": "millimetres", "in": "inches"}
PROBE_RULES = {
    "by_itself": "This probe switches itself on and never turns.",
    "command": "This probe is switched on by a command and never turns.",
    "slow_turn": "This probe is switched on by a slow turn, and by that command alone.",
    "by_hand": "This probe is switched on by hand and never turns.",
}
KEPT_FROM_STARTING = "The control is kept from starting."

Door = Annotated[str, one_of(DOORS), Expected("expected.door")]
Changer = Annotated[str, one_of(CHANGERS), Expected("expected.changer")]
Writer = Annotated[str, one_of(WRITERS), Expected("expected.slot_written")]
StopButton = Annotated[str, one_of(STOP_BUTTONS), Expected("expected.probing_stop")]
Switching = Annotated[str, one_of(SWITCHES), Expected("expected.probe_switching")]
Drops = Annotated[tuple[str, ...], LIST, some_of(DROPPED), Expected("expected.dropped")]
AgeMinutes = Annotated[int, Field(ge=1, le=LONGEST_INPUT_AGE_MINUTES), Expected("expected.minutes")]


@dataclass(frozen=True, kw_only=True)
class MachineProfile:
    """How a machine is worked at.

    Words of the shop's own, empty where the common ones do: `kept_from_starting` (how the control is kept
    from starting while hands are inside), `probe_rule` (whether and how the probe may turn), `input_shown`
    and `slot_shown` (where the control shows them).
    """

    door: Door = "interlock"
    changer: Changer = "arm"
    slot_written: Writer = "cycle"
    slot_shown: Sentence = ""
    feeds_typed: Truth = True
    fixed_search_nm: Positive | None = None
    probing_stop: StopButton = "feed_hold"
    reset_drops: Drops = ("slot", "length", "units")
    probe_switching: Switching = "by_itself"
    probe_rule: Sentence = ""
    probe_sleeps_minutes: Positive | None = None
    input_shown: Sentence = ""
    input_age_minutes: AgeMinutes = 5
    estop_loses_home: Truth = True
    spindle_held: Truth = True
    probe_length_repeats: Truth = True
    z_zero_at_top: Truth = True
    hand_wheel: Truth = True
    guarded_lowering: Truth = False
    clamping_face_hidden: Truth = False
    single_block: Truth = False
    warm_up: Truth = False
    kept_from_starting: Sentence = ""

    @property
    def conditions(self) -> frozenset[str]:
        """Return what holds at this machine, out of `CONDITIONS`;
        what hangs on the fixture or the axis aside.
        """
        flags = {
            "single_block": self.single_block,
            "warm_up": self.warm_up,
            "guarded_lowering": self.guarded_lowering,
            "spindle_held": self.spindle_held,
            "probe_sleeps": self.probe_sleeps_minutes is not None,
            "estop_loses_home": self.estop_loses_home,
            "length_in_use": self.probe_length_repeats,
        }
        return frozenset(
            (
                *(name for name, holds in flags.items() if holds),
                f"door:{self.door}",
                f"changer:{self.changer}",
                f"slot_written:{self.slot_written}",
                f"probing_stop:{self.probing_stop}",
                f"probe_switching:{self.probe_switching}",
                *(f"reset_drops:{one}" for one in self.reset_drops),
                "jog:wheel" if self.hand_wheel else "jog:keys",
                "search:typed" if self.fixed_search_nm is None and self.feeds_typed else "search:fixed",
            )
        )

    @property
    def profile_words(self) -> dict[str, str]:
        """Return what stands for the profile's placeholders in a procedure's texts."""
        return {
            "door": DOOR_WORDS[self.door],
            "kept": self.kept_from_starting or KEPT_FROM_STARTING,
            "stop": STOP_WORDS[self.probing_stop],
            "probe_rule": self.probe_rule or PROBE_RULES[self.probe_switching],
            "input_shown": self.input_shown,
            "slot_shown": self.slot_shown,
        }
