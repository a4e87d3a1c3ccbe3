"""The shipped procedure's vise, probe and slot: all that is got ready before the first search.

Rules of this module:
- Hands go inside at the vise while no probe is there to be broken; later only to nudge the stylus.
- What is read off the control (which jaw stands still, tool, slot) the step that asks does not say.
- The old values are copied down before anything is cleared.
"""

from __future__ import annotations

from webapp.domain.procedure.procedure import Check, Choice, Stage, Step, Variant
from webapp.domain.procedure.profile import PARKED

_HANDS = "Hands inside: axes and spindle still. {kept} Nobody else at it."
_QUIET = "{door} Axes still."

VISE = Stage(
    "vise",
    "vise",
    "Prepare the vise",
    (
        Step(
            id="vise.bring",
            kind="confirm",
            do="Raise Z to the top; bring the table towards you.",
            look_for="Vise in reach and not under the spindle. Nothing catches.",
            why="With Z at its top and the vise away from the spindle, your hands have room.",
            if_not="Wrong axis or way: let go of the wheel, look, ask.",
            action="The vise is in reach",
            machine_state="{door} You alone jog.",
            variants=(Variant("jog:keys", if_not="Wrong axis or way: let go of the key, look, ask."),),
        ),
        Step(
            id="vise.open",
            kind="jaw",
            do="Open the vise to the mark; which jaw stood still?",
            look_for="One jaw moves, one stands still. The still one is the reference.",
            why="Only a jaw that stands still shows the same value tomorrow.",
            if_not="Both move, or the other than yesterday: touch nothing, ask.",
            action="Say which jaw stood still",
            machine_state=_HANDS,
            choices=(
                Choice("back", "The back jaw stood still"),
                Choice("front", "The front jaw stood still"),
                Choice("left", "The left jaw stood still"),
                Choice("right", "The right jaw stood still"),
                Choice("both", "Both moved", closes=False),
            ),
            hands=True,
            variants=(
                Variant(
                    "practised",
                    do="Open the vise to the mark.",
                    look_for="One jaw moves, one stands still, as always. The still one is the reference.",
                    action="It is open",
                ),
            ),
        ),
        Step(
            id="vise.wipe",
            kind="confirm",
            do="Brush, then wipe the fixed jaw: end, face and top.",
            look_for="Bare metal. No chip, dent or raised edge. Jaw as in the picture. No air gun.",
            why="A chip under the ball shifts the value by its thickness, always towards the probe.",
            if_not="Dent, raised edge, other jaws: leave it, tell the lead.",
            action="The jaw is clean and whole",
            machine_state=_HANDS,
            hands=True,
            photo="The vise as found",
        ),
        Step(
            id="vise.bare",
            kind="confirm",
            do="Take out handle, stops, parallels and tools; push at the vise.",
            look_for="Vise empty, nothing shifts. Changer's way free. Then hands out, door closed.",
            why="The changer hits what stands in its way. A vise that shifts has no place.",
            if_not="It shifts, or a nut is loose: do not tighten. Tell the lead: it has moved.",
            action="Empty and firm, hands out",
            machine_state=_HANDS,
            hands=True,
            variants=(
                Variant(
                    "door:none", look_for="Vise empty, nothing shifts. Changer's way free. Then hands out."
                ),
                Variant("changer:by_hand", look_for="Vise empty, nothing shifts. Then hands out."),
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
            id="probe.load",
            kind="tool_in",
            do="Call the probe; type the tool number that the control shows.",
            look_for="The change ends by itself. What hangs there is the probe.",
            why="The control acts on the number that it shows. Another tool would be driven into the vise.",
            if_not="Stuck: hands out, press nothing, call. Somebody in danger: emergency stop.",
            action="That is the number",
            machine_state="{door} The changer moves.",
            variants=(
                Variant(
                    "changer:by_hand",
                    do="Put the probe in by hand; type the tool number shown.",
                    look_for="A board under it. Hold the body, marks in line. Pull at it: it holds.",
                    if_not="It does not seat or hold: take it out, wipe both tapers, ask.",
                    machine_state=_HANDS,
                    hands=True,
                ),
                Variant(
                    "changer:carousel",
                    if_not="Stuck: press nothing, hands out of the carousel's way, call.",
                ),
            ),
        ),
        Step(
            id="probe.input",
            kind="input",
            do="Nudge the stylus with a plastic stick; watch the control.",
            look_for=(
                "Stylus straight, tight, clean. The control's input changes, and changes back. {input_shown}"
            ),
            why="The lamp proves the lamp. Only the control's own input ends the move.",
            if_not="Lamp only, nothing, or it stays: put the probe away, tell the lead.",
            action="Say what the control did",
            machine_state=_HANDS,
            hands=True,
            choices=(
                Choice("changes", "The control's input changed, and changed back"),
                Choice("lamp", "Only the probe's lamp changed", closes=False),
                Choice("nothing", "Nothing changed", closes=False),
                Choice("stays", "It changed and stayed", closes=False),
                Choice("stylus", "The stylus is bent, loose or dirty", closes=False),
            ),
        ),
        Step(
            id="probe.modes",
            kind="checks",
            do="Compare the control's settings with these lines.",
            look_for="Each line as it stands here.",
            why="One shift or turn left active moves every touch, and nothing else looks wrong.",
            if_not="Do not guess. Ask.",
            action="All of it is so",
            machine_state=_QUIET,
            checks=(
                Check("units", "Units: {units}. Plane: X and Y"),
                Check("shifts", "No shift, turn, mirror or scale active"),
                Check("length", "The probe's length is in use", when="length_in_use"),
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
            do="Select your own slot; type the label that the control shows.",
            look_for="The label stands where the touch will write. {slot_shown}",
            why=(
                "A touch writes into the slot that is selected. In a wrong one it moves somebody else's work."
            ),
            if_not="Not yours: change nothing. Select again, or ask.",
            action="That is the label",
            machine_state=_QUIET,
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
            do="Copy the three old values beside that label, signs included.",
            look_for="Label first, then X, Y, Z of the same row.",
            why="If this was the wrong slot, these numbers put it back. They also show whether it changed.",
            if_not="Row in doubt, or unreadable: clear nothing, ask.",
            action="All three are copied",
            machine_state=_QUIET,
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
            do="Set X, Y and Z of this row alone to zero.",
            look_for="Three zeros. Rows above and below as before.",
            why="After zero, a value that was never touched shows at once.",
            if_not="Another row changed: press nothing more, ask.",
            action="All three read zero",
            machine_state=_QUIET,
            variants=(
                Variant(
                    PARKED,
                    do="Set X and Y of this row to zero, Z to {parked}.",
                    look_for="Two zeros, and Z as said, sign included. Rows above and below as before.",
                    why="Machine Z zero is not at the top here: a row of zeros could send the tool down.",
                    action="All three read so",
                ),
            ),
        ),
    ),
)
