"""The procedure that ships: finding a vise with a spindle probe, in eleven stages.

Rules of this module:
- It is a start for a shop that has none; the shop's lead may change every word and publish a revision.
- The vise is prepared before the probe is loaded:
  between loading and putting away no hand goes inside, but to nudge the stylus.
- Three caution panels: more are clicked through. The signal words follow their definitions (ANSI Z535.4, ISO
  3864-2). What to watch at the machine is common practice in the trade, no source, except where a step says
  otherwise.
- Whom to call stands once at the tablet: the texts say "the lead".
- The standing notice names what it defers to (numbers of standards from memory) and claims to conform to
  none.
"""

from __future__ import annotations

from webapp.domain.procedure.procedure import Caution, Check, Choice, Procedure, Stage, Step, Variant
from webapp.domain.procedure.shipped_probe import CLEAR, COPY, PROBE, SLOT, VISE
from webapp.domain.procedure.shipped_touches import SIGN, STOW, TOUCHES

NOTICE = (
    "The machine maker's manual, the shop's rules, local codes and the judgement of qualified persons "
    "prevail over"
    " this list. It is not a safeguard, and it is not a lockout record. It cannot see the machine and cannot "
    "stop it."
    " It defers to ISO 16090-1, ISO 12100, ISO 13850, ANSI B11.0, ANSI B11.23, OSHA 29 CFR 1910.212 and"
    " 29 CFR 1910.147, and claims to conform to none of them."
)

_STILL = "Spindle stopped, axes still."


READY = Stage(
    "ready",
    "ready",
    "Before anything moves",
    (
        Step(
            id="ready.machine",
            kind="caution",
            do="Eye protection on; gloves, rings and anything loose off.",
            look_for="Hair tied, sleeves tight. Door and window whole. Nobody else at the control.",
            why="A spindle does not feel what it winds up. Chips fly farther than the table.",
            if_not="Stay back. A damaged door or interlock: leave the machine, tell the lead.",
            action="Done, I am ready",
            machine_state=_STILL,
            caution=Caution(
                "machine",
                "warning",
                (
                    "A turning spindle catches hair, sleeves and gloves. "
                    "Table and changer move with force. Chips fly."
                ),
                "This could kill or seriously injure you.",
                (
                    "Wear eye protection, nothing loose. "
                    "Keep the door closed for every powered move. Defeat no interlock."
                ),
            ),
            once_a_shift=True,
            variants=(
                Variant(
                    "door:guard",
                    look_for=(
                        "Hair tied, sleeves tight. Guard in place and whole. Nobody else at the control."
                    ),
                    if_not="Stay back. A damaged guard: leave the machine, tell the lead.",
                ),
                Variant(
                    "door:none",
                    look_for="Hair tied, sleeves tight. Nobody within reach of table and spindle.",
                    if_not="Stay back. Somebody stands in reach: wait until they are away.",
                ),
            ),
        ),
        Step(
            id="ready.stop",
            kind="caution",
            do="Put a finger on feed hold, then on emergency stop.",
            look_for="You reach both from where you will stand. Here {stop} ends a probing move.",
            why="This tablet cannot see the machine and cannot stop it. Only you can.",
            if_not="Ask the lead to show you. Go on only then.",
            action="I reach both",
            machine_state=_STILL,
            caution=Caution(
                "stop",
                "warning",
                "During probing the machine moves by itself. This tablet cannot stop it.",
                "A move that goes wrong could seriously injure you.",
                (
                    "Hold early: nobody is blamed. Then no cycle start: "
                    "look, reset, back off the way it came, raise."
                ),
            ),
            once_a_shift=True,
        ),
        Step(
            id="ready.probe",
            kind="caution",
            do="Remember: no spindle command while the probe is in it.",
            look_for="You know this machine's rule for its probe. {probe_rule}",
            why="A probe is built to be pushed. At speed its parts come off.",
            if_not="Not sure: ask before anything is called.",
            action="I know the rule",
            machine_state=_STILL,
            caution=Caution(
                "probe",
                "warning",
                "A probe that turns at speed throws off its parts.",
                "They could kill or seriously injure somebody.",
                (
                    "Give no spindle command while the probe is in the spindle, "
                    "except as this machine's rule says."
                ),
            ),
            once_a_shift=True,
        ),
        Step(
            id="ready.board",
            kind="board",
            do="Look through the window: how was the machine left?",
            look_for=(
                "The plate says {machine}. "
                "No probe, nobody else's job, no alarm, no program running or paused."
            ),
            why="A probe left low over the table breaks at the next person's first move.",
            if_not="Move nothing, press nothing. Tell the lead.",
            action="Say what you found",
            machine_state="{door} Axes still.",
            choices=(
                Choice("clear", "As it should be, no probe in the spindle", closes=True),
                Choice("probe_in_spindle", "The probe is in the spindle", closes=False),
                Choice("something_else", "Something else is not as it should be", closes=False),
            ),
            variants=(Variant("door:none", do="Look from where you stand: how was the machine left?"),),
        ),
        Step(
            id="ready.state",
            kind="checks",
            do="Check: homed, coolant off, rapid low, feed at 100 %.",
            look_for="Each line as it stands here.",
            why="Only a homed machine knows where it is. A low rapid leaves you time to hold.",
            if_not="Not homed: look all round, Z up first, home as the card says.",
            action="All of it is so",
            machine_state="{door} Axes still.",
            checks=(
                Check("homed", "Homed since it was switched on, no alarm"),
                Check("coolant", "Coolant off"),
                Check("overrides", "Rapid low, feed at 100 %"),
                Check("single_block", "Single block as the shop has it", when="single_block"),
                Check("warm_up", "Warmed up as the card says", when="warm_up"),
            ),
        ),
    ),
)

SHIPPED = Procedure(
    id="find-the-vise",
    title="Find the vise with the spindle probe",
    language="en",
    stages=(READY, VISE, PROBE, SLOT, COPY, CLEAR, *TOUCHES, STOW, SIGN),
)
