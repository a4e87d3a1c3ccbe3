"""The step that follows the stow of a setup that was broken off once its row may have been cleared.

It belongs to no procedure of a shop and cannot be left out of one:
it comes with every sheet and is due only then. Common practice, no source.
"""

from __future__ import annotations

from webapp.domain.procedure.procedure import Step, Variant
from webapp.domain.procedure.profile import PARKED

ROW_TO_ZERO = Step(
    id="stow.row",
    kind="zero",
    do="Select your own slot; set X, Y and Z to zero again.",
    look_for="Your own label stands beside three zeros. The rows above and below are as before.",
    why="A row with half a setup in it looks like a whole one. Three zeros do not.",
    if_not="Another row changed: press nothing more, ask.",
    action="It stands at zero",
    machine_state="{door} Axes still, probe out of the spindle.",
    variants=(
        Variant(
            PARKED,
            do="Select your own slot; X and Y to zero, Z to {parked}.",
            look_for="Your own label stands beside these three. The rows above and below are as before.",
            why="A row with half a setup in it looks like a whole one. A parked one does not.",
            action="It stands so",
        ),
    ),
)
