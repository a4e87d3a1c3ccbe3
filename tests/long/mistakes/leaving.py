"""Ways to leave the list, each at one step: what a person does there instead of what it says.

A deviation gets the follower and the step and does at the mill what was not meant.
Whatever hits something ends there.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.long.mistakes.follower import MM, Deviation, Follower, Odd, Step
from webapp.demo.mill import InAlarmError, Values

FAST_MM_PER_MIN = 5_400


def stopping_at_a_crash(deviation: Deviation) -> Deviation:
    """The same, ended where something was hit."""

    def deviate(follower: Follower, step: Step) -> Any:
        try:
            found = deviation(follower, step)
        except InAlarmError:
            found = None
        if follower.mill.crashes:
            raise Odd("crash", "ask")
        return found

    return deviate


def each_time(deviation: Deviation) -> Deviation:
    """The same whenever the way is gone anew: after a touch that found nothing, or an input grown old."""

    def deviate(follower: Follower, step: Step) -> Any:
        follower.deviations[step["id"]] = deviate
        return deviation(follower, step)

    return deviate


def skipping(_: Follower, __: Step) -> None:
    """Tick it off without doing it."""


@stopping_at_a_crash
def moving_while_low(follower: Follower, step: Step) -> None:
    """Over to the next face without raising first: straight through the jaw's corner."""
    next_axis = step["axis"]
    for axis in sorted("XY", key=lambda one: one == next_axis):
        follower.go(axis, next_axis)


@stopping_at_a_crash
def going_without_a_look(follower: Follower, step: Step) -> None:
    """Raise and go by the readings alone."""
    follower.mill.raise_z()
    for axis in "XY":
        follower.go(axis, step["axis"])


@stopping_at_a_crash
def going_over_the_jaw(follower: Follower, step: Step) -> None:
    """Raise, and stop over the jaw instead of beside it, without a look."""
    going_without_a_look(follower, step)
    axis = step["axis"]
    follower.mill.jog(axis, -follower.plan(axis)["normal"] * 20 * MM)


def going_onto_the_step(follower: Follower, _: Step) -> None:
    """Over the jaw's step instead of its top."""
    vise = follower.mill.vise
    axis = vise.clamping_axis
    inwards = vise.surface_nm[axis] - vise.normal[axis] * 2 * MM
    _stand_over(follower, {**vise.middle_nm, axis: inwards})


def going_over_a_hole(follower: Follower, _: Step) -> None:
    """Over a screw hole instead of the top."""
    _stand_over(follower, follower.mill.vise.hole_nm())


def going_before_the_moving_jaw(follower: Follower, step: Step) -> None:
    """Before the moving jaw's face instead of the fixed one's."""
    vise, axis = follower.mill.vise, step["axis"]
    away = follower.mill.ball_radius_nm + follower.gap_nm(axis)
    _stand_over(follower, {**vise.middle_nm, axis: vise.moving_face_nm - vise.normal[axis] * away})


def _stand_over(follower: Follower, place: Values) -> None:
    follower.mill.raise_z()
    for axis in "XY":
        follower.mill.jog(axis, place[axis] - follower.mill.state.place_nm[axis])


@stopping_at_a_crash
def lowering_blindly(follower: Follower, step: Step) -> None:
    """Lower by the reading alone, in one go."""
    axis = step["axis"]
    follower.mill.jog("Z", -(follower.above_nm() if axis == "Z" else follower.deep_nm(axis)))


def searching(direction_turned: bool = False, range_nm: int = 0, feed: float = 0) -> Deviation:
    """Run a search that was not set as the plates say."""

    @stopping_at_a_crash
    def deviate(follower: Follower, step: Step) -> int:
        axis = step["axis"]
        normal = follower.plan(axis)["normal"]
        follower.run(axis, normal if direction_turned else 0, range_nm, feed)
        return follower.shown_nm(axis)

    return deviate


def holding(
    then: Callable[[Follower, Step], Any] | None = None, feed: float = 0, range_nm: int = 0
) -> Deviation:
    """Feed hold in the middle of the search; then what the list says (report it), or something else."""

    @stopping_at_a_crash
    def deviate(follower: Follower, step: Step) -> int:
        axis, mill = step["axis"], follower.mill
        approach = follower.plan(axis)["approach"]
        ended = mill.search(
            axis,
            -follower.plan(axis)["normal"],
            range_nm or approach["range_nm"],
            feed or approach["first_feed_mm_per_min"],
            held_after_nm=MM,
        )
        if then is None:
            raise Odd(ended, "held")
        then(follower, step)
        return follower.shown_nm(axis)

    return deviate


def going_on_by_cycle_start(follower: Follower, _: Step) -> None:
    """Cycle start after a hold."""
    follower.meet(follower.mill.cycle_start())


def resetting_and_searching_again(follower: Follower, step: Step) -> None:
    """Reset and run it again, without a word to the tablet and without a look at the label."""
    follower.mill.reset()
    follower.mill.jog(step["axis"], follower.plan(step["axis"])["normal"] * MM)
    follower.mill.use_length()
    follower.run(step["axis"])


def selecting_the_one_below(follower: Follower, _: Step) -> str:
    """Select another's row by mistake and type the own label from memory;
    from then on read whatever row is marked.
    """
    follower.by_memory = True
    follower.mill.select_slot(neighbour(follower))
    return follower.own


def neighbour(follower: Follower) -> str:
    """Another person's row that holds values, else the next one."""
    rows = follower.sheet["slots"]
    held = [
        row["label"]
        for row in rows
        if row["label"] != follower.own
        and row["owner_id"]
        and any(follower.mill.slots_nm[row["label"]].values())
    ]
    return held[0] if held else empty_neighbour(follower)


def empty_neighbour(follower: Follower) -> str:
    """A row that holds nothing."""
    return next(
        label
        for label, row in follower.mill.slots_nm.items()
        if label != follower.own and not any(row.values())
    )


def selecting_an_empty_one(follower: Follower, step: Step) -> str:
    """The same with a row in which nothing stands."""
    selecting_the_one_below(follower, step)
    follower.mill.select_slot(empty_neighbour(follower))
    return follower.own


def typing_anothers_label(follower: Follower, _: Step) -> str:
    """Select the own row and type another's label."""
    follower.mill.select_slot(follower.own)
    return neighbour(follower)


def clearing_the_row_beside(follower: Follower, _: Step) -> Values:
    """Clear another row instead, and read the own one."""
    follower.mill.clear_row(neighbour(follower))
    return follower.row_nm(follower.own)


def clearing_one_more_row(look: bool = True) -> Deviation:
    """Clear the own row and another's with it."""

    def deviate(follower: Follower, _: Step) -> Values:
        before = {one: dict(row) for one, row in follower.mill.slots_nm.items()}
        follower.harmed = neighbour(follower)
        follower.mill.clear_row(follower.harmed)
        follower.mill.park_selected()
        if look:
            follower.look_at_rows(before)
        return follower.row_nm(follower.own)

    return deviate


def clearing_the_table(look: bool = True) -> Deviation:
    """Clear every row."""

    def deviate(follower: Follower, _: Step) -> Values:
        before = {one: dict(row) for one, row in follower.mill.slots_nm.items()}
        follower.mill.clear_table()
        if look:
            follower.look_at_rows(before)
        return follower.row_nm(follower.own)

    return deviate


def calling(tool: str, *, from_memory: bool = False) -> Deviation:
    """Call another tool, and type its number or, from memory, the probe's."""

    def deviate(follower: Follower, _: Step) -> str:
        shown = follower.mill.call_tool(tool)
        return follower.mill.probe_tool if from_memory else shown

    return deviate


def not_looking_at_the_spindle(follower: Follower, _: Step) -> str:
    """Call the probe and type the number without a look at what hangs there."""
    return follower.mill.call_tool(follower.mill.probe_tool)


def saying_it_changed(follower: Follower, _: Step) -> None:
    """Say that the input changed, because the lamp did."""


def inventing(follower: Follower, step: Step) -> int:
    """Type a value worked out from the middle of the place to stand, without touching."""
    axis = step["axis"]
    approach = follower.plan(axis)["approach"]
    away = follower.mill.ball_radius_nm + follower.gap_nm(axis)
    middle = (approach["stand_low_nm"] + approach["stand_high_nm"]) // 2 - (
        approach["stand_above_ball_nm"] or 0
    )
    value = middle - follower.plan(axis)["normal"] * away
    step_nm = follower.mill.build.resolution_nm
    return round(value / step_nm) * step_nm - (follower.plan(axis).get("by_hand_nm") or 0)


def entering(slip: Callable[[int], int], *, reading: bool = True) -> Deviation:
    """Enter another value by hand than the tablet gives, and read it off the row, or without a look."""

    def deviate(follower: Follower, step: Step) -> int:
        axis = step["axis"]
        surface_nm = follower.found_nm[axis]
        follower.mill.set_value(follower.own, axis, slip(surface_nm))
        return follower.row(follower.own)[axis] if reading else surface_nm

    return deviate


def entering_one_row_below(follower: Follower, step: Step) -> int:
    """Enter it beside another's label, and read the own row."""
    axis = step["axis"]
    follower.mill.set_value(empty_neighbour(follower), axis, follower.found_nm[axis])
    return follower.row(follower.own)[axis]


def clearing_to_zero(follower: Follower, _: Step) -> Values:
    """Three zeros where the row has to be parked."""
    follower.mill.clear_selected()
    return follower.row_nm(follower.own)
