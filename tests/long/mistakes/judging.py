"""What came of a case: prevented, caught by what, named for what was hit, or unseen;
and the claims that must hold.

Claims:
- nothing is hit while the list is followed;
- whatever is hit after leaving it was named by the list: by the step that was left, or one before it;
- no value is laundered: what the setup keeps as agreeing is what the own row of the control holds,
  and nothing past the stop line is kept without the lead;
- nothing is kept as agreeing that lies farther from the truth than the ask line, whatever else was told;
  and where nothing was told, no axis lies farther, however it was kept;
- no row of another's that held values is written over, but by clearing it instead of the own one;
- what the table says is caught or prevented comes out so.
Those about values do not bind a case that nothing can see; the table says why.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from tests.long.mistakes.planted import Case, here
from tests.long.mistakes.running import World
from tests.long.mistakes.walking import Walked
from webapp.demo.mill import AXES

TEXTS = ("do", "look_for", "why", "if_not")
FITS = {
    "prevented": {"prevented"},
    "caught": {"caught"},
    "named": {"named"},
    "told next": {"told next"},
    "unseen": {"unseen", "told next", "caught"},
}


@dataclass(frozen=True)
class Outcome:
    """One case in one world: what came of it, by what, and every claim that it breaks."""

    case: Case
    machine: str
    seed: int
    came: str
    by: str
    broken: tuple[str, ...]


def judge(case: Case, world: World, walked: Walked, later: Walked | None = None) -> Outcome:
    """What came of this walk, with the walk of whoever came next where the case asks for one."""
    case = here(case, walked.follower.sheet, world.mill.truth.clamping_axis)
    told, next_told = _told(walked), () if later is None else _told(later)
    came = _came(case, walked, told, next_told)
    by = "; ".join((*_hit(case, walked), *told, *(f"next setup, {one}" for one in next_told)))
    return Outcome(case, world.machine, 0, came, by, tuple(_broken(case, world, walked, came)))


def _came(case: Case, walked: Walked, told: tuple[str, ...], next_told: tuple[str, ...]) -> str:
    if walked.follower.mill.crashes:
        return "named"
    if told:
        return "caught"
    if next_told:
        return "told next"
    return "unseen" if case.expect == "unseen" else "prevented"


def _hit(case: Case, walked: Walked) -> Iterator[str]:
    """What was hit, and which steps name it."""
    if walked.follower.mill.crashes:
        hit = walked.follower.mill.crashes[-1]
        yield f"{hit.part} on {hit.on}, named by {' and '.join(step for step, _ in case.named_by)}"


def _told(walked: Walked) -> tuple[str, ...]:
    """What stopped, asked or told, on the way and before the lead."""
    said = [f"{step}: {what}" for step, what in walked.caught]
    said += [f"before the lead: {one['kind']}" for one in walked.result["remarks"]]
    return tuple(dict.fromkeys(said))


def _broken(case: Case, world: World, walked: Walked, came: str) -> Iterator[str]:
    left = walked.follower.left
    crashed = bool(walked.follower.mill.crashes)
    if crashed and not left:
        yield "hit something while the list was followed"
    if crashed:
        yield from _not_named(case, walked.follower.sheet, left)
    if came not in FITS[case.expect]:
        yield f"came out as {came}, expected {case.expect}"
    if "clear.values" not in left:
        yield from _lost(world, walked)
    if case.expect == "unseen" or crashed:
        return
    yield from _laundered(walked)
    yield from _passed(world, walked)


def _not_named(case: Case, sheet: Mapping[str, Any], left: list[str]) -> Iterator[str]:
    """What was hit has to stand in the words of the steps that are said to name it,
    none after the last one left.
    """
    steps = [step for stage in sheet["procedure"]["stages"] for step in stage["steps"]]
    order = [step["id"] for step in steps]
    if not case.named_by:
        yield "hit something that no step names"
    for step_id, words in case.named_by:
        step = next((one for one in steps if one["id"] == step_id), None)
        if step is None or words not in _text(step):
            yield f"{step_id} does not say “{words}”"
        elif left and order.index(step_id) > max(order.index(one) for one in left if one in order):
            yield f"{step_id} comes after the list was left"


def _text(step: Mapping[str, Any]) -> str:
    caution = step["caution"] or {}
    checks = [check["label"] for check in step.get("checks", ())]
    panel = [str(caution.get(name, "")) for name in ("hazard", "consequence", "avoidance")]
    return " ".join((*(step[name] for name in TEXTS), *panel, *checks))


def _lost(world: World, walked: Walked) -> Iterator[str]:
    """Rows of others that held values and hold others now."""
    for label, row in world.rows_before.items():
        if label != walked.follower.own and any(row.values()) and walked.follower.row(label) != row:
            yield f"{label} held another's values, and they are lost"


def _laundered(walked: Walked) -> Iterator[str]:
    row = walked.follower.row(walked.follower.own)
    if walked.result["outcome"] != "complete":
        return
    for touch in walked.result["touches"]:
        if touch["kept"] and touch["because"] == "agrees" and row[touch["axis"]] != touch["value_nm"]:
            yield f"{touch['axis']} was kept as agreeing, and the row holds another value"
        if touch["kept"] and touch["because"] != "lead" and touch["verdict"] == "stop":
            yield f"{touch['axis']} was kept past the stop line without the lead"


def _passed(world: World, walked: Walked) -> Iterator[str]:
    """What was kept as agreeing, whatever else was told; and every axis where nothing was told at all."""
    if walked.result["outcome"] != "complete":
        return
    row, truth = walked.follower.row(walked.follower.own), world.mill.vise.surface_nm
    agreed = {one["axis"] for one in walked.result["touches"] if one["kept"] and one["because"] == "agrees"}
    for axis in AXES if not _told(walked) else sorted(agreed):
        ask_nm = walked.follower.plan(axis)["usual"]["ask_nm"]
        if ask_nm is not None and abs(row[axis] - truth[axis]) > ask_nm:
            yield f"{axis} passed as agreeing, {abs(row[axis] - truth[axis]) / 1e6:.3f} mm from the truth"
