"""The shipped procedure's touches, and how it ends.

Rules of this module:
- Each axis is reached, searched, touched and compared in the same words, so that the third touch reads like
  the first; only the reason differs, because each face teaches something else.
- Between two touches Z goes to its top: over, then lower, then search.
  The top of the jaw is lowered to and searched in one step, because the way down is the search's own.
- Square is looked for before the touch that stands, because each touch may write into the slot;
  it has its own way over and down, and the probe is raised between its two touches.
- Whatever happened before, the last stages bring the ball up,
  the probe back into the magazine and the list to a person's signature.
"""

from __future__ import annotations

from dataclasses import replace

from webapp.domain.procedure.procedure import Choice, Stage, Step, Variant

_JOG = "{door} You alone jog."
_RUN = "{door} A hand at {stop}."
_QUIET = "{door} Axes still."
_LABEL = "Your slot's label stands in the line or page."
_AIR = "Half a ball of air. Range, feed, your slot's label."
_HANDS = "Hands inside: axes and spindle still. {kept} Nobody else at it."


def _over(axis: str) -> Step:
    """Return the way to above the face, Z at its top."""
    top = Step(
        id=f"{axis.lower()}.over",
        kind="over",
        do="Z at the top: wheel over the mark on the jaw.",
        look_for="Over the fixed jaw, off edges, screws and steps. Readings and picture agree.",
        why="High up a wrong place costs a look. Low down it costs the stylus.",
        if_not="Not as drawn: somebody moved the vise. Do not lower. Ask.",
        action="It stands over the mark",
        machine_state=_JOG,
        axis=axis,
        variants=(Variant("jog:keys", do="Z at the top: jog over the mark on the jaw."),),
    )
    if axis == "Z":
        return top
    return replace(
        top,
        do="Ball free: raise Z to the top, then move over.",
        look_for="Ball above the place, beside the fixed jaw, on the drawn side. Readings agree.",
        why="A ball that still leans on the face, or a move while low, breaks the stylus.",
        if_not="Not as drawn: do not lower. Ask.",
        action="It stands above the place",
        variants=(
            Variant(
                "clamping_face",
                look_for=(
                    "Ball above the gap, before the fixed jaw's face, not the moving jaw's. Readings agree."
                ),
            ),
        ),
    )


def _lower(axis: str) -> Step:
    """Return the way down beside the face."""
    return Step(
        id=f"{axis.lower()}.lower",
        kind="lower",
        do="Stop, look from front and side; lower by the wheel.",
        look_for="Half a ball of air beside the jaw all the way. Z as on the plate.",
        why="From one side alone, a ball over the jaw looks like a ball beside it.",
        if_not="Lamp changes or air gets less: stop, wheel up the same way.",
        action="It is down, with air beside it",
        machine_state=_JOG,
        axis=axis,
        variants=(
            Variant(
                "jog:keys",
                do="Stop, look from front and side; lower in single steps.",
                if_not="Lamp changes or air gets less: stop, step up the same way.",
            ),
            Variant("guarded_lowering", do="Stop, look from front and side; lower by the guarded move."),
            Variant(
                "face_hidden",
                look_for="You cannot see this face: readings only, the lead beside you the first time.",
            ),
        ),
    )


def _search(axis: str, why: str) -> Step:
    """Return the step that sets the search; for the top it lowers to the gap as well."""
    beside = Step(
        id=f"{axis.lower()}.search",
        kind="search",
        do="Set search {search}, range and feed as on the plates.",
        look_for=f"The direction points at the fixed jaw. {_LABEL}",
        why=why,
        if_not="Correct it. Run nothing yet.",
        action="All of it is set",
        machine_state=_QUIET,
        axis=axis,
        variants=(
            Variant(
                "search:fixed",
                do="Set search {search}; the control has range and feed.",
            ),
        ),
    )
    if axis != "Z":
        return beside
    return replace(
        beside,
        do="Lower by the wheel to the gap; set search {search}.",
        look_for=f"One click first: right axis, right way. {_AIR}",
        if_not="Lamp changes or the gap looks wrong: stop, wheel up.",
        machine_state=_JOG,
        variants=(
            Variant(
                "jog:keys",
                do="Lower in single steps to the gap; set search {search}.",
                look_for=f"One step first: right axis, right way. {_AIR}",
                if_not="Lamp changes or the gap looks wrong: stop, step up.",
            ),
            Variant(
                "search:fixed",
                look_for="First a little: right axis, right way. Half a ball of air. Your slot's label.",
            ),
        ),
    )


def _touch(axis: str, why: str) -> Step:
    """Return the touch itself."""
    return Step(
        id=f"{axis.lower()}.touch",
        kind="touch",
        do="Run it, a hand at {stop}; type the {axis} shown.",
        look_for="Quick touch, step back, slow touch. Then {axis} in your slot's row.",
        why=why,
        if_not="Feed hold. Then “I pressed hold”, or “Something is off”.",
        action="That is the value",
        machine_state=_RUN,
        axis=axis,
        variants=(
            Variant(
                "slot_written:key",
                do="Run it, a hand at {stop}; store it, type the {axis}.",
                look_for="Quick touch, step back, slow touch. The key writes {axis} into your slot's row.",
            ),
            Variant(
                "slot_written:by_hand",
                do="Run it, a hand at {stop}; type the {axis} kept.",
                look_for="Quick touch, step back, slow touch. The control keeps {axis} of the slow one.",
            ),
        ),
    )


def _compare(axis: str) -> Step:
    """Return the comparison; where it agrees, the tablet shows no screen of it."""
    return Step(
        id=f"{axis.lower()}.compare",
        kind="compare",
        do="Read what the tablet says about {axis}.",
        look_for=(
            "Agrees: go on. Ask: look for a chip, touch again or ask. "
            "Past the stop line: touch again once, or ask the lead."
        ),
        why="A mistake leaves a trace in the number. Found now it costs minutes, later a part or a spindle.",
        if_not="In doubt: ask.",
        action="Keep this value",
        machine_state=_QUIET,
        axis=axis,
    )


def _square(axis: str) -> tuple[Step, ...]:
    """Return the look for square with its own way over and down, for a fixture that asks for it."""
    stage = axis.lower()
    over, lower = _over(axis), _lower(axis)
    return (
        replace(over, id=f"{stage}.square_over", when="square", action="It stands above place 1"),
        replace(lower, id=f"{stage}.square_lower", when="square"),
        Step(
            id=f"{stage}.square",
            kind="square",
            do="Touch the jaw's face near both ends; type both {axis}.",
            look_for="Search {search} and the same height at both places. Raise to the top in between.",
            why="A vise that stands askew makes every part askew, and one touch alone cannot show it.",
            if_not="Feed hold. Then “I pressed hold”, or “Something is off”.",
            action="Work out the angle",
            machine_state=_RUN,
            axis=axis,
            when="square",
            variants=(
                Variant(
                    "slot_written:by_hand",
                    do="Touch the jaw's face near both ends; type both {axis} kept.",
                ),
            ),
        ),
    )


def _stage(axis: str, title: str, why_here: str, why_so: str) -> Stage:
    """Return the stage of one axis: `why_here` for the place to stand, `why_so` for the touch itself."""
    ways = (_over(axis),) if axis == "Z" else (*_square(axis), _over(axis), _lower(axis))
    steps = (*ways, _search(axis, why_here), _touch(axis, why_so), _compare(axis))
    return Stage(axis.lower(), axis, title, steps)


TOUCHES = (
    _stage(
        "Z",
        "Touch in Z",
        "Stand above the top, away from its edges. On an edge the ball slides, and the value is too low.",
        "In Z the probe's length counts instead of the ball's radius. The top is where heights start.",
    ),
    _stage(
        "X",
        "Touch in X",
        "From this window the search reaches the face. The range ends a move that finds nothing.",
        (
            "The quick touch finds the face, the slow one measures it. "
            "The value already counts the ball's radius."
        ),
    ),
    _stage(
        "Y",
        "Touch in Y",
        "The still jaw is the one that counts. Stand before the fixed jaw, not the moving one.",
        "The moving jaw has play and shows another value each time. The fixed jaw stays where it is bolted.",
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
            do="Back off the way it came, then raise Z to the top.",
            look_for="Ball free of the face first. Then Z alone, to its end.",
            why="The next move often goes sideways. A ball left low breaks on it.",
            if_not="Z does not rise or the stylus bends: feed hold, ask.",
            action="Z is at its top",
            machine_state=_JOG,
        ),
        Step(
            id="stow.away",
            kind="tool_out",
            do="Call the parking tool; type the number that the control shows.",
            look_for="The change ends by itself.",
            why="Calling another tool makes the changer put the probe back into the magazine.",
            if_not="Stuck: hands out, press nothing, call. Somebody in danger: emergency stop.",
            action="That is the number",
            machine_state="{door} The changer moves.",
            variants=(
                Variant(
                    "changer:by_hand",
                    do="Take the probe out into its box; type the number shown.",
                    look_for="Hold the body before you unclamp. Stylus up, lid closed.",
                    if_not="It does not come: leave it, ask.",
                    machine_state=_HANDS,
                    hands=True,
                ),
            ),
        ),
        Step(
            id="stow.gone",
            kind="confirm",
            do="Look at the spindle: where is the probe?",
            look_for="In its place in the magazine, not in the spindle.",
            why="The number on the control is not the tool. Your own eyes close this step.",
            if_not="Still there: the spindle stays off, tell the lead.",
            action="Say what you see",
            machine_state=_QUIET,
            choices=(
                Choice("gone", "Out of the spindle, in its place"),
                Choice("still_there", "Still in the spindle", closes=False),
            ),
            variants=(Variant("changer:by_hand", look_for="In its box, not in the spindle."),),
            photo="The probe as left",
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
            do="Read what happened; may this slot be used?",
            look_for="Final values, holds and odd things as you remember them.",
            why="You sign for this list. Afterwards it can be added to, but not changed.",
            if_not="Write what is missing to the lead here.",
            action="Finish the setup",
            machine_state="Axes still, probe out of the spindle.",
        ),
        Step(
            id="sign.name",
            kind="sign",
            do="Sign with your own PIN.",
            look_for="Your own name stands there.",
            why="Your signature says that you did this. The lead's signature says that it was looked at.",
            if_not="Another name: go back; leave it unsigned.",
            action="Sign",
            machine_state="Axes still, probe out of the spindle.",
        ),
    ),
)
