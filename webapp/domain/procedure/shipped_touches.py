"""The shipped procedure's touches, and how it ends.

Rules of this module:
- Each axis is searched, touched and compared in the same words, so that the third touch reads like the first; only
  the reason differs, because each face teaches something else.
- Square is looked for before the touch that stands, because each touch may write into the slot.
- Whatever happened before, the last stages bring the ball up, the probe back into the magazine and the list to a
  person's signature.
"""

from __future__ import annotations

from webapp.domain.procedure.procedure import Choice, Stage, Step

_RUN = "Door closed, no hand inside, a hand at feed hold."


def _touch_stage(axis: str, title: str, why_here: str, why_so: str) -> Stage:
    """Return the stage of one axis: `why_here` for the place to stand, `why_so` for the touch itself."""
    stage = axis.lower()
    search = Step(
        id=f"{stage}.search",
        kind="search",
        do="Stand the ball in the window and set the search {search}.",
        look_for="Ball as drawn. Slot {slot}, direction {search}, range and feed as on the plates.",
        why=why_here,
        if_not="A value differs: correct it. Run nothing yet.",
        action="All of it is set",
        machine_state="Door closed, no hand inside while you jog.",
        axis=axis,
    )
    touch = Step(
        id=f"{stage}.touch",
        kind="touch",
        do="Run it, a hand at feed hold; type the {axis} shown.",
        look_for="A quick first touch, a step back, a slow second touch. Then {axis} of {slot}.",
        why=why_so,
        if_not="Wrong way, no touch, an odd sound: press feed hold first and think afterwards.",
        action="Compare the value",
        machine_state=_RUN,
        axis=axis,
    )
    compare = Step(
        id=f"{stage}.compare",
        kind="compare",
        do="Compare {axis} with what {fixture} usually shows.",
        look_for="“Agrees” goes on. “Ask” and “stop” name what may have happened.",
        why="A mistake leaves a trace in the number. Found now it costs minutes, later a part or a spindle.",
        if_not="It surprises you: touch again, or put a question to {lead}.",
        action="Keep this value",
        machine_state="Door closed, axes at rest, no hand inside.",
        axis=axis,
    )
    steps = (search, touch, compare)
    return Stage(stage, axis, title, steps if axis == "Z" else (_square_step(axis), *steps))


def _square_step(axis: str) -> Step:
    """Return the look for square, which the sheet keeps for a fixture that asks for it, on its clamping face."""
    return Step(
        id=f"{axis.lower()}.square",
        kind="square",
        do="Touch the jaw's face near both ends; type both {axis}.",
        look_for="The same height and search {search} twice. Back off and raise before you move along the jaw.",
        why="A vise that stands askew makes every part askew, and one touch alone cannot show it.",
        if_not="No touch, or an odd sound: press feed hold. A chip tilts the answer: wipe, and touch both again.",
        action="Work out the angle",
        machine_state=_RUN,
        axis=axis,
    )


TOUCHES = (
    _touch_stage(
        "X",
        "Touch in X",
        "From this window the search reaches the end of the jaw. The range ends a move that finds nothing.",
        "The quick touch finds the face, the slow one measures it. The value already counts the ball's radius.",
    ),
    _touch_stage(
        "Y",
        "Touch in Y",
        "The face that clamps the work is the one that counts. Stand in front of the fixed jaw, not the moving one.",
        "The moving jaw has play and shows another value each time. The fixed jaw stays where it is bolted.",
    ),
    _touch_stage(
        "Z",
        "Touch in Z",
        "Stand above the top, away from its edges. On an edge the ball slides, and the value is too low.",
        "In Z the probe's length counts instead of the ball's radius. The top is where heights start.",
    ),
)

STOW = Stage(
    "stow",
    "stow",
    "Put the probe away",
    (
        Step(
            id="stow.up",
            kind="confirm",
            do="Raise Z until the ball is clear of everything.",
            look_for="The ball stands above vise, clamps and table, with room for the changer.",
            why="The next move often goes sideways. A ball left low breaks on it.",
            if_not="The ball leans on a face: jog it off the way it came. Z does not rise: feed hold, ask {lead}.",
            action="Clear of everything",
            machine_state="Door closed, no hand inside. Once the ball is free, Z alone moves.",
        ),
        Step(
            id="stow.away",
            kind="tool_out",
            do="Call tool {parking_tool}; type the number that the control shows.",
            look_for="The change runs to its end. The control shows tool {parking_tool}.",
            why="Calling another tool makes the changer put the probe back into its own pocket.",
            if_not="Press feed hold. Leave the spindle off. Ask {lead} before anything moves.",
            action="Compare the number",
            machine_state="Door closed, no hand inside while the changer moves.",
        ),
        Step(
            id="stow.gone",
            kind="confirm",
            do="Look at the spindle: is the probe gone?",
            look_for="The probe is in the magazine. It is not in the spindle.",
            why="The number on the control is not the tool. Your own eyes close this step.",
            if_not="The probe is still there: leave the spindle off and ask {lead}.",
            action="Say what you see",
            machine_state="Door closed, axes at rest. Look through the window.",
            choices=(
                Choice("gone", "The probe is gone from the spindle", closes=True),
                Choice("still_there", "The probe is still in the spindle", closes=False),
            ),
        ),
    ),
)

SIGN = Stage(
    "sign",
    "sign",
    "Finish and sign",
    (
        Step(
            id="sign.review",
            kind="finish",
            do="Read what happened, then finish.",
            look_for="What was skipped, asked and held is listed as you remember it.",
            why="You sign for this list. Afterwards it can be added to, but not changed.",
            if_not="Something is missing or wrong: correct the step, or write it to {lead}.",
            action="Finish this list",
            machine_state="Axes at rest, probe in the magazine.",
        ),
        Step(
            id="sign.name",
            kind="sign",
            do="Sign with your own PIN.",
            look_for="Your own name stands beside the field.",
            why="Your signature says that you did this. The lead's signature says that it was looked at.",
            if_not="Another name stands there: go back. Never sign for somebody else.",
            action="Sign",
            machine_state="Axes at rest, probe in the magazine.",
        ),
    ),
)
