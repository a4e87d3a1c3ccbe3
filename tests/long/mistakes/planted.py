"""The twenty-five mistakes of the trade that the list is measured by,
each with the ways in which it comes about.

Rules of this module (the mistakes are common practice, no source):
- A case is a world (what is wrong at the mill before anybody comes), what happens on the way,
  and where the list is left. With no step left, the list is followed to the letter.
- Mills touch their faces in orders of their own: a step's stage is the axis, or "end" and "clamp" for the
  side faces, or "second" for the side face that is touched last (`here` puts the sheet's own stages in).
- `expect` says what has to come of it: "prevented" (followed, nothing is hit, the mistake does not come
  about), "caught" (something stops or tells before the setup is signed as usable), "told next" (the next
  setup tells), "named" (the list is left, something is hit, and an earlier step or the same one said so),
  "unseen" (nothing in this setup can see it; `why` says it).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from tests.long.mistakes import leaving
from tests.long.mistakes.follower import MM, Deviation, Follower
from webapp.demo.mill import SimulatedMill

Pause = Callable[[Follower], None]


@dataclass(frozen=True)
class Case:
    """One way in which a mistake comes about. `named_by`: (step, words that stand in it) for what is hit;
    `needs`: what a mill must have for it ("step" in its jaw, "cycle" writes the row, "by hand" it is
    written).
    """

    mistake: str
    variant: str
    expect: str
    world: tuple[str, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)
    start: Callable[[SimulatedMill], None] | None = None
    leaves: Mapping[str, Deviation] = field(default_factory=dict)
    pauses: Mapping[str, Pause] = field(default_factory=dict)
    slips: Mapping[str, Callable[[int], int]] = field(default_factory=dict)
    named_by: tuple[tuple[str, str], ...] = ()
    then: str = ""
    why: str = ""
    sheet_of: str = ""
    needs: str = ""


def here(case: Case, sheet: Mapping[str, Any], clamping_axis: str) -> Case:
    """The case with the stages of this sheet.
    A look for square has its own ways over and down: these are meant too.
    """
    sides = [axis["axis"].lower() for axis in sheet["axes"] if axis["axis"] != "Z"]
    clamp = clamping_axis.lower()
    stages = {"clamp": clamp, "end": "y" if clamp == "x" else "x", "second": sides[-1]}

    def own(step_id: str) -> str:
        stage, _, name = step_id.partition(".")
        return f"{stages.get(stage, stage)}.{name}"

    known = {step["id"] for stage in sheet["procedure"]["stages"] for step in stage["steps"]}

    def keyed(by_step: Mapping[str, Any]) -> dict[str, Any]:
        found = {own(step_id): one for step_id, one in by_step.items()}
        square = {f"{one.partition('.')[0]}.square_{one.partition('.')[2]}": found[one] for one in found}
        return found | {step_id: one for step_id, one in square.items() if step_id in known}

    leaves = keyed(case.leaves)

    def naming(step_id: str) -> str:
        stage, _, name = own(step_id).partition(".")
        return f"{stage}.square_{name}" if f"{stage}.square_{name}" in leaves else own(step_id)

    return replace(
        case,
        leaves=leaves,
        pauses={own(step_id): pause for step_id, pause in case.pauses.items()},
        slips={own(step_id): slip for step_id, slip in case.slips.items()},
        named_by=tuple((naming(step_id), words) for step_id, words in case.named_by),
    )


def _planting(name: str, value: Any) -> Pause:
    """Something goes wrong in the middle of the walk."""

    def happen(follower: Follower) -> None:
        follower.mill.faults = replace(follower.mill.faults, **{name: value})

    return happen


def _waiting(minutes: float) -> Pause:
    return lambda follower: follower.wait(60 * minutes)


def _lose_home(mill: SimulatedMill) -> None:
    mill.switch_off_and_on(60 * MM)


def _drop_length(mill: SimulatedMill) -> None:
    mill.state.length_active = False


def _lengths(**by_axis: int) -> dict[str, int]:
    return {"X": 0, "Y": 0, "Z": 0} | by_axis


PREVENTED = (
    Case("jog sideways while low", "list followed", "prevented"),
    Case("jog sideways while low", "straight across to the next face", "named",
         leaves={"second.over": leaving.moving_while_low}, named_by=(("second.over", "raise Z to the top"),)),
    Case("not homed", "list followed", "prevented", start=_lose_home),
    Case("not homed", "not homed, but looked at before lowering", "caught", start=_lose_home,
         leaves={"ready.state": leaving.skipping}),
    Case("not homed", "neither homed nor looked", "named", start=_lose_home,
         leaves={"ready.state": leaving.skipping, "z.over": leaving.going_without_a_look,
                 "z.search": leaving.lowering_blindly},
         named_by=(("ready.state", "omed since"), ("z.over", "Readings and picture agree"))),
    Case("lowered onto jaw or parallels", "handle left on the vise, list followed", "prevented",
         world=("handle_left",)),
    Case("lowered onto jaw or parallels", "handle left, lowered without a look", "named",
         world=("handle_left",),
         leaves={"vise.bare": leaving.skipping, "z.over": leaving.going_without_a_look,
                 "z.search": leaving.lowering_blindly},
         named_by=(("vise.bare", "handle"), ("z.search", "gap looks wrong"))),
    Case("lowered onto jaw or parallels", "handle left, but looked while lowering", "caught",
         world=("handle_left",),
         leaves={"vise.bare": leaving.skipping, "z.over": leaving.going_without_a_look}),
    Case("lowered onto jaw or parallels", "over the jaw instead of beside it", "named",
         leaves={"end.over": leaving.going_over_the_jaw, "end.lower": leaving.lowering_blindly},
         named_by=(("end.over", "beside the fixed jaw"), ("end.lower", "front and side"))),
    Case("lowered onto jaw or parallels", "over the jaw, but looked while lowering", "caught",
         leaves={"end.over": leaving.going_over_the_jaw}),
    Case("lowered onto jaw or parallels", "tall parallel left before the clamping face", "named",
         more={"left": (("parallel", 44 * MM),)},
         leaves={"vise.bare": leaving.skipping, "clamp.lower": leaving.lowering_blindly},
         named_by=(("vise.bare", "parallels"), ("clamp.lower", "air gets less"))),
    Case("hand under a cutter", "another tool in the probe's pocket, list followed", "caught",
         world=("other_tool_hangs",)),
    Case("hand under a cutter", "not looked at what hangs there", "caught", world=("other_tool_hangs",),
         leaves={"probe.load": leaving.not_looking_at_the_spindle},
         why="The hand is at the cutter when the input stays silent: "
             "only the look at probe.load keeps it away."),
    Case("cycle start after a hold", "held in mid-search, list followed", "prevented",
         leaves={"end.touch": leaving.holding()}),
    Case("cycle start after a hold", "too fast, held, cycle start", "named",
         leaves={"end.touch": leaving.holding(leaving.going_on_by_cycle_start, feed=leaving.FAST_MM_PER_MIN)},
         named_by=(("ready.stop", "no cycle start"), ("end.search", "feed as on the plates"))),
)  # fmt: skip

SLOTS = (
    Case("wrong slot from memory", "another's row, with values in it", "caught",
         leaves={"slot.own": leaving.selecting_the_one_below}),
    Case("wrong slot from memory", "a row with nothing in it", "caught",
         leaves={"slot.own": leaving.selecting_an_empty_one}),
    Case("wrong label typed", "own row selected, another's label typed", "caught",
         leaves={"slot.own": leaving.typing_anothers_label}),
    Case("slot fell to the first after a reset", "list followed", "prevented",
         leaves={"z.touch": leaving.holding()}),
    Case("slot fell to the first after a reset", "reset and searched again without a word", "caught",
         leaves={"z.touch": leaving.holding(leaving.resetting_and_searching_again)}, needs="cycle"),
    Case("row beside it or whole table cleared", "the row beside instead", "caught",
         leaves={"clear.values": leaving.clearing_the_row_beside}),
    Case("row beside it or whole table cleared", "one row more, looked at", "caught",
         leaves={"clear.values": leaving.clearing_one_more_row()}),
    Case("row beside it or whole table cleared", "whole table, looked at", "caught",
         leaves={"clear.values": leaving.clearing_the_table()}),
    Case("row beside it or whole table cleared", "own row to zero instead of parked", "caught",
         leaves={"clear.values": leaving.clearing_to_zero}, needs="by hand"),
    Case("row beside it or whole table cleared", "one row more, not looked at", "told next",
         leaves={"clear.values": leaving.clearing_one_more_row(look=False)}, then="neighbour",
         why="In this setup nobody looks at the rows above and below but the person: "
             "the row's owner is told first."),
)  # fmt: skip

PROBE = (
    Case("wrong tool", "another number called and typed", "caught",
         leaves={"probe.load": leaving.calling("7")}),
    Case("wrong tool", "another number called, the probe's typed from memory", "caught",
         leaves={"probe.load": leaving.calling("7", from_memory=True)}),
    Case("wrong tool", "the change sticks", "caught", world=("change_sticks",)),
    Case("dead or stuck input", "dead, its lamp shines", "caught", world=("probe_dead",)),
    Case("dead or stuck input", "dead and dark", "caught", world=("probe_dark",)),
    Case("dead or stuck input", "a touch is heard all the time", "caught", world=("probe_stuck",)),
    Case("dead or stuck input", "dead, the lamp taken as proof", "caught", world=("probe_dead",),
         leaves={"probe.input": leaving.each_time(leaving.saying_it_changed)}),
    Case("dead or stuck input", "dies between two touches", "caught",
         pauses={"clamp.search": _planting("probe", "dead")}),
    Case("dead or stuck input", "dead, a range far too long typed", "named", world=("probe_dead",),
         leaves={"probe.input": leaving.each_time(leaving.saying_it_changed),
                 "z.touch": leaving.searching(range_nm=20 * MM)},
         named_by=(("probe.input", "input"), ("z.search", "Range, feed, your slot's label"))),
    Case("probe asleep after waiting", "twelve minutes between two touches", "caught",
         pauses={"clamp.touch": _waiting(12)}),
    Case("probe asleep after waiting", "twelve minutes at a question", "caught",
         pauses={"end.over": _waiting(12)}),
    Case("bent or loose stylus", "bent so that it is seen", "caught",
         more={"bent_nm": _lengths(X=900_000)}),
    Case("bent or loose stylus", "bent too little to be seen", "caught", world=("stylus_bent",)),
    Case("bent or loose stylus", "loose, felt at the nudge", "caught", world=("stylus_loose",)),
    Case("bent or loose stylus", "loose, not felt", "caught", world=("stylus_loose",),
         leaves={"probe.input": leaving.each_time(leaving.saying_it_changed)}),
    Case("probe length wrong or missing", "wrong by 12 mm", "caught", world=("length_wrong",)),
    Case("probe length wrong or missing", "not in use, list followed", "caught", start=_drop_length,
         pauses={"probe.modes": lambda follower: _drop_length(follower.mill)}),
    Case("probe length wrong or missing", "not in use, not looked at", "caught",
         pauses={"probe.modes": lambda follower: _drop_length(follower.mill)},
         leaves={"probe.modes": leaving.each_time(leaving.skipping)}),
)  # fmt: skip

VALUES = (
    Case("shift or turn active", "shift, list followed", "caught", world=("shift_left",)),
    Case("shift or turn active", "shift, not looked at", "caught", world=("shift_left",),
         leaves={"probe.modes": leaving.each_time(leaving.skipping)}, needs="cycle"),
    Case("shift or turn active", "turn, not looked at", "caught", world=("turn_left",),
         leaves={"probe.modes": leaving.each_time(leaving.skipping)}, needs="cycle"),
    Case("moving jaw or turned vise", "vise turned, list followed", "caught", world=("vise_turned",)),
    Case("moving jaw or turned vise", "before the moving jaw, not looked at", "caught",
         leaves={"clamp.over": leaving.each_time(leaving.going_before_the_moving_jaw)}),
    Case("moving jaw or turned vise", "before the moving jaw, searched its way", "caught",
         leaves={"clamp.over": leaving.each_time(leaving.going_before_the_moving_jaw),
                 "clamp.touch": leaving.each_time(leaving.searching(direction_turned=True))}),
    Case("radius left out or another probe's ball", "radius left out", "caught", world=("ball_left_out",),
         needs="cycle"),
    Case("radius left out or another probe's ball", "another probe's ball", "caught", world=("other_ball",),
         needs="cycle"),
    Case("sign, digit, inch for mm", "sign", "caught", slips={"z.touch": lambda value: -value}),
    Case("sign, digit, inch for mm", "one digit wrong", "caught",
         slips={"end.touch": lambda value: value - 3 * MM}),
    Case("sign, digit, inch for mm", "inch for mm", "caught",
         slips={"z.touch": lambda value: round(value / 25_400) * 1_000}),
    Case("sign, digit, inch for mm", "entered by hand with one digit wrong", "caught", needs="by hand",
         leaves={"end.enter": leaving.entering(lambda value: value - 3 * MM)}),
    Case("sign, digit, inch for mm", "entered by hand a little wrong, inside the ask line", "caught",
         needs="by hand", leaves={"end.enter": leaving.entering(lambda value: value - 2_000)}),
    Case("sign, digit, inch for mm", "entered by hand beside another's label", "caught", needs="by hand",
         leaves={"end.enter": leaving.entering_one_row_below}),
    Case("mistake repeated at a stop", "radius left out, touched again the same", "caught",
         world=("ball_left_out",), needs="cycle"),
    Case("mistake repeated at a stop", "chip under the ball, touched again without wiping", "caught",
         world=("chip_x",), leaves={"vise.wipe": leaving.skipping}),
    Case("vise moved untold or nut loose", "moved by a millimetre", "caught", world=("vise_moved",)),
    Case("vise moved untold or nut loose", "moved by fifteen", "caught",
         more={"moved_nm": _lengths(X=15 * MM, Y=-15 * MM)}),
    Case("vise moved untold or nut loose", "nut loose", "caught", world=("nut_loose",)),
    Case("jaws changed, ball on a step or screw hole", "other jaws, list followed", "caught",
         world=("other_jaws",)),
    Case("jaws changed, ball on a step or screw hole", "other jaws, not looked at", "caught",
         world=("other_jaws",), leaves={"vise.wipe": leaving.skipping}),
    Case("jaws changed, ball on a step or screw hole", "ball on the step", "caught",
         leaves={"z.over": leaving.going_onto_the_step}, needs="step"),
    Case("jaws changed, ball on a step or screw hole", "ball over a screw hole", "caught",
         leaves={"z.over": leaving.going_over_a_hole}),
)  # fmt: skip

SEARCHES = (
    Case("the other mill's sheet", "its sheet at this mill", "caught", sheet_of="other"),
    Case("wrong way, no touch, feed or range not as shown", "wrong way", "caught",
         leaves={"end.touch": leaving.searching(direction_turned=True)}),
    Case("wrong way, no touch, feed or range not as shown", "range far too short", "caught",
         leaves={"end.touch": leaving.searching(range_nm=MM)}),
    Case("wrong way, no touch, feed or range not as shown", "feed far too fast", "named",
         leaves={"clamp.touch": leaving.searching(feed=leaving.FAST_MM_PER_MIN)},
         named_by=(("clamp.search", "feed as on the plates"),)),
    Case("wrong way, no touch, feed or range not as shown", "range far too long, all else right", "prevented",
         leaves={"end.touch": leaving.searching(range_nm=20 * MM)},
         why="A probe that answers ends the move; with a dead one it breaks, see there."),
)  # fmt: skip

UNSEEN = (
    Case("half-set or zero values run afterwards", "broken off after the first face", "caught", world=(),
         pauses={"end.search": _planting("probe", "dead")}, then="board"),
    Case("a value invented; jaws or vise changed after the setup", "invented from the shown coordinates",
         "unseen", leaves={"end.touch": leaving.inventing}, then="next",
         why="Past the ask line it is asked about. "
             "Inside it nothing differs, and no program reads the control's row:"
             " the next copy-down of that row tells, and the pace of the step."),
    Case("a value invented; jaws or vise changed after the setup", "vise bumped after the signature",
         "unseen", then="bumped",
         why="Nobody looks at the vise between the signature and the cut: "
             "told by the next setup, not by this one."),
)  # fmt: skip

CASES = (*PREVENTED, *SLOTS, *PROBE, *VALUES, *SEARCHES, *UNSEEN)
MISTAKES = tuple(dict.fromkeys(case.mistake for case in CASES))
