"""The procedure that ships: finding a vise with a spindle probe, in eleven stages.

Rules of this module:
- It is a start for a shop that has none; the shop's lead may change every word and publish a revision.
- The signal words follow their definitions (ANSI Z535.4, ISO 3864-2). What to watch at the machine is common practice
  in the trade, no source, except where a step says otherwise.
- The standing notice names what it defers to (numbers of standards from memory) and claims to conform to none.
"""

from __future__ import annotations

from webapp.domain.procedure.procedure import Caution, Choice, Procedure, Stage, Step
from webapp.domain.procedure.shipped_touches import SIGN, STOW, TOUCHES

NOTICE = (
    "The machine maker's manual, the shop's rules, local codes and the judgement of qualified persons prevail over"
    " this list. It is not a safeguard, and it is not a lockout record. It cannot see the machine and cannot stop it."
    " It defers to ISO 16090-1, ISO 12100, ISO 13850, ANSI B11.0, ANSI B11.23, OSHA 29 CFR 1910.212 and"
    " 29 CFR 1910.147, and claims to conform to none of them."
)

_STILL = "Spindle stopped, axes at rest."
_CLOSED = "Door closed, axes at rest, no hand inside."


def _caution(step: Step, signal: str, hazard: str, consequence: str, avoidance: str) -> Step:
    """Return the caution step with its panel; the panel has the step's name."""
    panel = Caution(step.id.partition(".")[2], signal, hazard, consequence, avoidance)
    return Step(**{**vars(step), "kind": "caution", "caution": panel})


READY = Stage(
    "ready",
    "ready",
    "Before anything moves",
    (
        _caution(
            Step(
                id="ready.clothing",
                kind="caution",
                do="Cover your eyes and take off what hangs loose.",
                look_for="Eye protection is on. Sleeves, gloves, rings and hair are out of the way.",
                why="A spindle does not feel what it winds up. Chips fly farther than the table.",
                if_not="Stay back from the machine until it is so. Nothing here is urgent.",
                action="Read, and done",
                machine_state=_STILL,
            ),
            "warning",
            "A turning spindle catches sleeves, gloves, rings and hair. Chips fly.",
            "This could kill or seriously injure you.",
            "Wear eye protection. No loose sleeves, gloves, rings or long loose hair near the spindle.",
        ),
        _caution(
            Step(
                id="ready.door",
                kind="caution",
                do="Close the door before every powered move that allows it.",
                look_for="The door closes fully. Its interlock and its window are whole.",
                why="The door is between you and what moves. A hand is slower than an axis.",
                if_not="The door or its interlock is damaged: leave the machine and tell {lead}.",
                action="Read",
                machine_state=_STILL,
            ),
            "warning",
            "Table, spindle and tool changer move with force.",
            "A move with somebody in reach could kill or seriously injure them.",
            "Keep the door closed for every powered move that allows it. Never defeat its interlock.",
        ),
        _caution(
            Step(
                id="ready.hold",
                kind="caution",
                do="Find emergency stop and feed hold before you go on.",
                look_for="You can reach both without looking, from where you will stand.",
                why="This tablet cannot see the machine and cannot stop it. Only you can.",
                if_not="Ask {lead} to show you both. Go on only then.",
                action="Read, and found both",
                machine_state=_STILL,
            ),
            "warning",
            "During probing the machine moves by itself. This tablet cannot stop it.",
            "A move that goes wrong could seriously injure you.",
            "Know where emergency stop and feed hold are. Keep a hand at feed hold in every probing move.",
        ),
        _caution(
            Step(
                id="ready.spindle",
                kind="caution",
                do="Remember: never start the spindle with the probe in it.",
                look_for="You know tool {probe_tool} as the probe's number on this machine.",
                why="A probe is built to be pushed, not to turn. Its parts come off at speed.",
                if_not="You are not sure which number is the probe: ask {lead}.",
                action="Read",
                machine_state=_STILL,
            ),
            "warning",
            "A probe that turns with the spindle throws off its parts.",
            "They could kill or seriously injure somebody.",
            "Never start the spindle with the probe in it. Look at the tool number before every command.",
        ),
        _caution(
            Step(
                id="ready.welcome",
                kind="caution",
                do="Remember: feed hold is always welcome.",
                look_for="You know that holding costs seconds and that nobody is blamed for it.",
                why="Whoever holds early learns what was wrong. Whoever waits buys a stylus.",
                if_not="Somebody told you not to hold: tell {lead}.",
                action="Read",
                machine_state=_STILL,
            ),
            "notice",
            "A search that misses the face or goes the wrong way runs on.",
            "It breaks the stylus and damages the probe and the vise.",
            "Press feed hold as soon as anything looks odd, and think afterwards.",
        ),
        Step(
            id="ready.board",
            kind="board",
            do="Look how the last person left the machine.",
            look_for="No probe in the spindle, nothing left on the table, no note on the control.",
            why="A probe left low over the table breaks at the next person's first move.",
            if_not="Move nothing. Tell {lead}, and look again when it is put right.",
            action="Say what you found",
            machine_state="Spindle stopped, axes at rest, door closed. Look through the window.",
            choices=(
                Choice("clear", "Nothing in the way, no probe in the spindle", closes=True),
                Choice("probe_in_spindle", "The probe is still in the spindle", closes=False),
                Choice("something_else", "Something else is not as it should be", closes=False),
            ),
        ),
    ),
)

PROBE = Stage(
    "probe",
    "probe",
    "Load the probe",
    (
        Step(
            id="probe.way",
            kind="confirm",
            do="Clear the tool changer's way, then close the door.",
            look_for="Nothing stands where the changer swings. The door is closed.",
            why="The changer moves with force and does not look. It hits what stands in its way.",
            if_not="You cannot clear it alone: ask {lead}.",
            action="Way is clear, door is closed",
            machine_state="Spindle stopped, axes at rest, nobody else at the control, before you reach in.",
        ),
        Step(
            id="probe.load",
            kind="tool_in",
            do="Call tool {probe_tool}; type the number that the control shows.",
            look_for="The change runs to its end. The control shows tool {probe_tool}.",
            why="The control acts on the number that it shows. Another tool would be driven into the vise.",
            if_not="Press feed hold. Leave the spindle off. Ask {lead} before anything moves.",
            action="Compare the number",
            machine_state="Door closed, no hand inside while the changer moves.",
        ),
        Step(
            id="probe.alive",
            kind="confirm",
            do="Look at the indicator of {probe}.",
            look_for="It shows what this probe shows when it is switched on and ready.",
            why="A probe that is off or flat does not end the move. The machine would drive on.",
            if_not="Do not probe. Tell {lead}: a battery, a switch or a dirty window may be the cause.",
            action="Say what it shows",
            machine_state="Door closed, axes at rest. Look through the window.",
            choices=(
                Choice("ready", "It shows ready", closes=True),
                Choice("dark", "It is dark", closes=False),
                Choice("other", "It shows something else", closes=False),
            ),
        ),
    ),
)

SLOT = Stage(
    "slot",
    "slot",
    "Your own slot",
    (
        Step(
            id="slot.own",
            kind="slot",
            do="Select your slot {slot} and type the label shown.",
            look_for="The control shows {slot} as the slot that a touch will write.",
            why="A touch writes into the slot that is selected. In a wrong one it moves somebody else's work.",
            if_not="Change nothing yet. Select {slot} again, or ask {lead}.",
            action="Compare the slot",
            machine_state=_CLOSED,
        ),
    ),
)

COPY = Stage(
    "copy",
    "copy",
    "Copy down first",
    (
        Step(
            id="copy.values",
            kind="copy",
            do="Copy the three old values of {slot}, signs included.",
            look_for="X, Y and Z of {slot}, each as the page of work offsets shows it.",
            why="If this was the wrong slot, these numbers put it back. They also show whether it changed.",
            if_not="You cannot read a value: clear nothing and ask {lead}.",
            action="All three are copied",
            machine_state=_CLOSED,
        ),
    ),
)

CLEAR = Stage(
    "clear",
    "clear",
    "Clear the slot",
    (
        Step(
            id="clear.values",
            kind="clear",
            do="Set X, Y and Z of {slot} to zero.",
            look_for="Zero three times. Where the control asks, the change is as large as this screen says.",
            why="After zero, a value that was never touched shows at once.",
            if_not="Another slot changed, or the amount does not fit: stop here and ask {lead}.",
            action="All three read zero",
            machine_state=_CLOSED,
        ),
    ),
)

VISE = Stage(
    "vise",
    "vise",
    "Prepare the vise",
    (
        Step(
            id="vise.view",
            kind="confirm",
            do="Jog the table until you see the jaw from the door.",
            look_for="The fixed jaw and the ball are in view with the door closed. The ball is high.",
            why="You cannot hold in time what you cannot see.",
            if_not="Jog in smaller steps, or ask {lead}.",
            action="Jaw and ball are in view",
            machine_state="Door closed, ball high above the jaws, no hand inside while you jog.",
        ),
        Step(
            id="vise.wipe",
            kind="confirm",
            do="Wipe the fixed jaw: its end, its face, its top.",
            look_for="Bare metal without chips, oil film or burrs. Use a cloth or a brush: chips are sharp.",
            why="A chip under the ball shifts the value by its thickness, always towards the probe.",
            if_not="A burr or a dent: do not file it here, tell {lead}.",
            action="The jaw is clean",
            machine_state="Spindle stopped, axes at rest, ball high, nobody else at the control, before you reach in.",
        ),
        Step(
            id="vise.feel",
            kind="confirm",
            do="Feel both jaws by hand: which one has play?",
            look_for="The moving jaw gives a little in its slide. The fixed jaw does not.",
            why="Only a jaw without play can be the reference. The moving jaw is never touched.",
            if_not="The fixed jaw gives: do not probe, ask {lead}. Neither gives: open the vise and feel again.",
            action="Say which jaw has play",
            machine_state="Spindle stopped, axes at rest, ball high, nobody else at the control, before you reach in.",
            choices=(
                Choice("moving", "Only the moving jaw has play", closes=True),
                Choice("fixed", "The fixed jaw has play", closes=False),
                Choice("neither", "Neither jaw has play", closes=False),
            ),
        ),
    ),
)

SHIPPED = Procedure(
    id="find-the-vise",
    title="Find the vise with the spindle probe",
    language="en",
    stages=(READY, PROBE, SLOT, COPY, CLEAR, VISE, *TOUCHES, STOW, SIGN),
)
