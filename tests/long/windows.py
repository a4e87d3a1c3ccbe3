"""Every touch that a sheet plans, held against the geometry of the machine: 20,000 invented shops, seeded.

What is asked of each permitted place to stand, with the face anywhere inside the stop line, is written down
here in millimetres from the drawing of a ball before a face, and not taken from the module that plans:
- the ball is clear of both jaws, and stays on the face in the other two axes;
- the search reaches the face; its end and its start lie inside the travel;
- the stop after the trigger is inside the overtravel over its factor;
- a probe that never answers is pushed no farther than the stylus gives way,
  or the plan says that it would break;
- where there is no window the plan is the error, and no window exists; where one exists there is no error;
- where nobody has said what the machine page reads on Z, nothing has a Z coordinate.
Touches with a window and without one are both counted; the figures of the whole are kept in windows.md.
Two readings of an effective radius that differs from the ball's are both held:
the trigger comes later than contact, and the calibration is off, so that the face lies elsewhere.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tests.rules.example_shop import MILL_MM, PROBE, RULES, VISE, usual_of
from webapp.domain.sheet.axis_plans import AxisPlan, plan_axes
from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.measures import ZPoint, ZReading
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Probe, ShopRules
from webapp.domain.usual.usual import Usual
from webapp.words import say

KEPT = Path(__file__).with_suffix(".md")
CASES = 20_000
SEED = 20_261_129
MM = 1_000_000
CAUSES: dict[str, Any] = {"chance_nm": None, "uncertainty_nm": 1, "candidates": []}
NO_WINDOW = {
    "approach.cap_too_small",
    "approach.cap_too_small_for_feed",
    "approach.cap_too_small_for_radius",
    "approach.cap_too_small_for_spread",
    "approach.first_window_too_narrow",
    "approach.fixed_search_too_short",
    "approach.room_too_small",
}


@dataclass(frozen=True)
class World:
    """One invented shop with one machine. `usuals` has a centre and a stop line for each axis, or None."""

    rules: ShopRules
    machine: Machine
    fixture: Fixture
    probe: Probe
    usuals: dict[str, Usual]
    z_reading: ZReading | None


def worlds(count: int, seed: int = SEED) -> Iterator[World]:
    """That many shops; the same seed gives the same ones."""
    chance = random.Random(seed)
    known = {axis: usual_of(MILL_MM, axis) for axis in "XYZ"}
    for _ in range(count):
        yield _world(chance, known)


def _nm(chance: random.Random, low_mm: float, high_mm: float) -> int:
    return round(chance.uniform(low_mm, high_mm) * MM)


def _world(chance: random.Random, known: dict[str, Usual]) -> World:
    machine = _machine(chance)
    fixture = _fixture(chance)
    probe = _probe(chance)
    rules = replace(
        RULES,
        search_cap_nm=chance.choice([6_350_000, 6_350_000, _nm(chance, 3, 20)]),
        safety_factor=chance.choice([2.0, 2.0, round(chance.uniform(1, 4), 2)]),
    )
    step = machine.display.resolution_nm
    usuals = {}
    for axis, one in known.items():
        if chance.random() < 0.1:
            usuals[axis] = replace(one, centre_nm=None, ask_nm=None, stop_nm=None)
            continue
        low, high = machine.travel_nm[axis]
        part = (
            chance.uniform(0.1, 0.9) if chance.random() < 0.9 else chance.choice([0.004, 0.03, 0.97, 0.996])
        )
        centre = round((low + part * (high - low)) / step) * step
        stop = _nm(chance, 0, chance.choice([0.3, 1, 3])) // step * step
        usuals[axis] = replace(one, centre_nm=centre, ask_nm=stop // 3, stop_nm=stop)
    reading = None
    if chance.random() < 0.85:
        point = chance.choice(list(ZPoint))
        length = _nm(chance, 60, 250) if point is ZPoint.GAUGE_LINE or chance.random() < 0.8 else None
        reading = ZReading(point, length)
    return World(rules, machine, fixture, probe, usuals, reading)


def _machine(chance: random.Random) -> Machine:
    unit = chance.choice(["mm", "mm", "in"])
    decimals = chance.choice([2, 3, 3, 3, 4]) + (unit == "in")
    first = chance.uniform(60, 4000)
    return replace(
        MILL_MM,
        unit=unit,
        decimals=decimals,
        travel_nm={axis: (-_nm(chance, 300, 1200), 0) for axis in "XYZ"},
        first_feed_mm_per_min=first,
        fine_feed_mm_per_min=chance.uniform(5, 60),
        deceleration_mm_per_s2=chance.uniform(100, 3000),
        latency_s=chance.uniform(0, 0.04),
        fixed_search_nm=_nm(chance, 4, 15) if chance.random() < 0.2 else None,
    )


def _fixture(chance: random.Random) -> Fixture:
    axis, other = chance.choice(["XY", "YX"])
    direction = chance.choice([1, -1])
    end = chance.choice(["left_end", "right_end"])
    faces = [
        FixtureFace(axis, direction, "front"),
        FixtureFace(other, -1 if end == "left_end" else 1, end),
        FixtureFace("Z", 1, "top"),
    ]
    chance.shuffle(faces)
    height = _nm(chance, 8, 70)
    if chance.random() < 0.15:
        faces = [one if one.face == "top" else replace(one, depth_nm=_nm(chance, 2, 15)) for one in faces]
    return replace(
        VISE,
        jaw_length_nm=_nm(chance, 60, 250),
        jaw_thickness_nm=_nm(chance, 8, 45),
        jaw_height_nm=height,
        opening_nm=_nm(chance, 8, 150),
        edge_break_nm=_nm(chance, 0, 2),
        clamping_axis=axis,
        clamping_direction=direction,
        faces=tuple(faces),
        sides_first=chance.random() < 0.5,
        parallels_nm=(_nm(chance, 5, 60),) if chance.random() < 0.5 else (),
        stops_above_jaw_nm=_nm(chance, 0, 60) if chance.random() < 0.3 else 0,
    )


def _probe(chance: random.Random) -> Probe:
    diameter = _nm(chance, 1, 10)
    off = chance.choice([0.004, 0.02, 0.5]) * chance.uniform(-0.4, 1)
    return replace(
        PROBE,
        ball_diameter_nm=diameter,
        effective_radius_nm=max(0, diameter // 2 - round(off * MM)),
        stylus_reach_nm=_nm(chance, 8, 80),
        overtravel_side_nm=_nm(chance, 1, 14),
        overtravel_up_nm=_nm(chance, 1, 8),
    )


def plans(world: World) -> tuple[AxisPlan, ...]:
    """The touches as the sheet carries them."""
    causes = dict.fromkeys("XYZ", CAUSES)
    return plan_axes(
        FittedMachine(world.rules, world.machine, world.fixture, world.probe),
        world.usuals,
        causes,
        world.z_reading,
    )


def held_against(world: World, plan: AxisPlan, chance: random.Random) -> list[str]:
    """What is wrong with one touch, in words; nothing where it holds."""
    if plan.approach is None:
        return list(_wrong_refusal(world, plan))
    return [
        *_wrong_search(world, plan, chance),
        *_wrong_stop(world, plan),
        *_wrong_elsewhere(world, plan, chance),
        *_wrong_survival(world, plan),
    ]


def _mark(machine: Machine) -> float:
    return 0.5 if machine.unit == "mm" else 0.508


def _overtravel(world: World, axis: str) -> float:
    return (world.probe.overtravel_up_nm if axis == "Z" else world.probe.overtravel_side_nm) / MM


def _above(world: World, axis: str) -> float | None:
    """How far the point that a reading is of lies above the ball's centre, mm."""
    if axis != "Z":
        return 0.0
    if world.z_reading is None:
        return None
    radius = world.probe.ball_diameter_nm / 2 / MM
    length = (world.z_reading.length_nm or 0) / MM
    return {ZPoint.GAUGE_LINE: length, ZPoint.BALL_CENTRE: 0.0, ZPoint.BALL_UNDERSIDE: -radius}[
        world.z_reading.point
    ]


def _spread(chance: random.Random, low: float, high: float) -> list[float]:
    return [low, high, chance.uniform(low, high)]


def _wrong_search(world: World, plan: AxisPlan, chance: random.Random) -> Iterator[str]:
    """Along the search: clear, reached, inside the travel, and what a dead probe does."""
    found, axis, usual = plan.approach or {}, plan.face.axis, world.usuals[plan.face.axis]
    radius = world.probe.ball_diameter_nm / 2 / MM
    later = radius - world.probe.effective_radius_nm / MM
    if usual.centre_nm is None:
        # Judged by eye, to a mark: the gap is as large as it looks, give or take a mark.
        gaps = [gap / MM for gap in (found["gap_low_nm"], found["gap_high_nm"])]
        off, stands = _mark(world.machine), [(gap, 0.0) for gap in gaps]
    else:
        off, stands = (usual.stop_nm or 0) / MM, list(_gaps_of_stand(world, plan, chance))
    for gap, start in stands:
        for away in _spread(chance, -off, off):
            yield from _one_search(world, plan, gap + away, later, found)
        if usual.centre_nm is not None and start is not None:
            yield from _wrong_travel(world, axis, start, plan.face.normal, found["range_nm"] / MM)


def _gaps_of_stand(
    world: World, plan: AxisPlan, chance: random.Random
) -> Iterator[tuple[float, float | None]]:
    """Each place in the band as gap to the usual face and as where the travel's point stands;
    half a step off too.
    """
    found, axis, n = plan.approach or {}, plan.face.axis, plan.face.normal
    radius = world.probe.ball_diameter_nm / 2 / MM
    centre = (world.usuals[axis].centre_nm or 0) / MM
    above = _above(world, axis)
    if found["stand_low_nm"] is None or above is None:
        # No coordinate: the ball stands at the gap that is shown.
        yield from ((found[name] / MM, None) for name in ("gap_low_nm", "gap_high_nm"))
        return
    half = world.machine.display.resolution_nm / 2 / MM
    low, high = found["stand_low_nm"] / MM - half, found["stand_high_nm"] / MM + half
    for reading in _spread(chance, low, high):
        ball = reading - above
        start: float | None = reading
        if axis == "Z":
            length = world.z_reading.length_nm if world.z_reading else None
            start = None if length is None else ball + length / MM
        yield n * (ball - centre) - radius, start


def _one_search(
    world: World, plan: AxisPlan, gap: float, later: float, found: dict[str, Any]
) -> Iterator[str]:
    axis = plan.face.axis
    range_mm, overtravel = found["range_nm"] / MM, _overtravel(world, axis)
    # Either the trigger comes late, or the calibration is off and the face stands elsewhere.
    models = [(gap + later, 0.0)] if later < 0 else [(gap, later), (gap + later, 0.0)]
    for contact, delay in models:
        if contact <= 0:
            yield f"{axis}: the ball stands in the jaw, gap {contact:.4f}"
        if contact + delay > range_mm + 1e-9:
            yield f"{axis}: the search of {range_mm} does not reach a face {contact + delay:.4f} away"
        pushed = range_mm - contact
        allowed = {
            "within_factor": overtravel / world.rules.safety_factor,
            "within_overtravel": overtravel - 0.5,
            "breaks": math.inf,
        }[found["dead_probe"]]
        if pushed > allowed + 1e-6:
            yield f"{axis}: a dead probe is pushed {pushed:.4f}, said {found['dead_probe']}, {allowed:.4f}"


def _wrong_travel(world: World, axis: str, start: float, n: int, range_mm: float) -> Iterator[str]:
    low, high = (end / MM for end in world.machine.travel_nm[axis])
    half = world.machine.display.resolution_nm / MM
    for place in (start, start - n * range_mm):
        if not low - half <= place <= high + half:
            yield f"{axis}: {place:.4f} lies outside the travel"


def _wrong_stop(world: World, plan: AxisPlan) -> Iterator[str]:
    found = plan.approach or {}
    speed = found["first_feed_mm_per_min"] / 60
    stop = speed * world.machine.latency_s + speed**2 / (2 * world.machine.deceleration_mm_per_s2)
    if stop * world.rules.safety_factor > _overtravel(world, plan.face.axis) + 1e-5:
        yield f"{plan.face.axis}: stops {stop:.4f} after the trigger"
    up_to_speed = speed**2 / (2 * world.machine.deceleration_mm_per_s2)
    if found["gap_low_nm"] / MM < up_to_speed:
        yield f"{plan.face.axis}: not up to speed"


def _extent(fixture: Fixture, face: FixtureFace) -> float:
    ends = {"left_end", "right_end"}
    return (fixture.jaw_length_nm if face.face in ends else fixture.jaw_thickness_nm) / MM


def _wrong_elsewhere(world: World, plan: AxisPlan, chance: random.Random) -> Iterator[str]:
    """Across the search and in height: on the face, clear of its edges; no Z without knowing what is read."""
    found, fixture = plan.approach or {}, world.fixture
    radius = world.probe.ball_diameter_nm / 2 / MM
    for other in fixture.faces:
        if other.axis in {plan.face.axis, "Z"}:
            continue
        band, usual = found["place"][other.axis], world.usuals[other.axis]
        if band["low_nm"] is None:
            if usual.centre_nm is not None:
                yield f"{plan.face.axis}: nothing about {other.axis}"
            continue
        for reading in _spread(chance, band["low_nm"] / MM, band["high_nm"] / MM):
            for away in _spread(chance, -(usual.stop_nm or 0) / MM, (usual.stop_nm or 0) / MM):
                behind = -other.normal * (reading - ((usual.centre_nm or 0) / MM + away))
                if not radius <= behind <= _extent(fixture, other) - radius:
                    yield f"{plan.face.axis}: off the jaw on {other.axis}, {behind:.4f} behind its face"
    yield from _wrong_depth(world, plan, chance)
    if world.z_reading is None:
        z = [found["place"]["Z"], found["clear_z_nm"], found["clear_above_surface_nm"]]
        z += [found["stand_low_nm"], found["search_end_nm"]] if plan.face.axis == "Z" else []
        if any(one is not None for one in z):
            yield f"{plan.face.axis}: a Z coordinate, and nobody said what Z reads"
    yield from _wrong_clear_height(world, found)
    room = fixture.opening_nm / MM
    if plan.face.face == "front" and found["gap_high_nm"] / MM + 2 * radius >= room:
        yield f"{plan.face.axis}: the ball touches the moving jaw"


def _wrong_depth(world: World, plan: AxisPlan, chance: random.Random) -> Iterator[str]:
    found, fixture, axis = plan.approach or {}, world.fixture, plan.face.axis
    if axis == "Z":
        return
    radius = world.probe.ball_diameter_nm / 2 / MM
    least = fixture.edge_break_nm / MM + radius
    most = min(world.probe.stylus_reach_nm / MM, fixture.jaw_height_nm / MM - radius)
    order = fixture.touched_axes
    usual = world.usuals["Z"]
    off = 0.0 if order.index("Z") < order.index(axis) else (usual.stop_nm or 0) / MM
    depths = [found["depth_low_nm"] / MM, found["depth_high_nm"] / MM]
    above, band = _above(world, "Z"), found["place"]["Z"]
    if band is not None and above is not None:
        if band["low_nm"] is not None:
            top = (usual.centre_nm or 0) / MM
            depths += [top - (band[end] / MM - above) for end in ("low_nm", "high_nm")]
        depths += [above - band[end] / MM for end in ("from_surface_low_nm", "from_surface_high_nm")]
    for depth in depths:
        for away in _spread(chance, -off, off):
            if not least - 1e-6 <= depth + away <= most + 1e-6:
                yield (
                    f"{axis}: the ball stands {depth + away:.4f} deep, {least:.4f} to {most:.4f} is the face"
                )


def _wrong_clear_height(world: World, found: dict[str, Any]) -> Iterator[str]:
    if found["clear_z_nm"] is None or world.z_reading is None:
        return
    above, usual, fixture = _above(world, "Z") or 0.0, world.usuals["Z"], world.fixture
    underside = found["clear_z_nm"] / MM - above - world.probe.ball_diameter_nm / 2 / MM
    highest = max([0, fixture.stops_above_jaw_nm, *(p - fixture.jaw_height_nm for p in fixture.parallels_nm)])
    top = ((usual.centre_nm or 0) + (usual.stop_nm or 0) + highest) / MM
    if underside < top + 25 - 1e-6:
        yield f"only {underside - top:.3f} over the highest thing"
    if (
        found["clear_z_nm"] / MM - above + (world.z_reading.length_nm or 0) / MM
        > world.machine.travel_nm["Z"][1] / MM
    ):
        yield "the height to move at lies above the travel"


def _possible(world: World, plan: AxisPlan) -> list[tuple[float, float, float]]:
    """Every window of whole marks that fits, tried one after the other: low, high and range, mm."""
    usual, axis, mark = world.usuals[plan.face.axis], plan.face.axis, _mark(world.machine)
    radius = world.probe.ball_diameter_nm / 2 / MM
    later = radius - world.probe.effective_radius_nm / MM
    known = usual.centre_nm is not None
    off = (usual.stop_nm or 0) / MM if known else mark
    machine = world.machine
    scale = 1 if machine.unit == "mm" else 25.4
    first = min(machine.first_feed_mm_per_min, _fastest(world, axis))
    first = math.floor(first / scale * (1 if scale == 1 else 10) + 1e-6) * scale / (1 if scale == 1 else 10)
    up_to_speed = (first / 60) ** 2 / (2 * machine.deceleration_mm_per_s2)
    # A range is typed in steps of the display.
    step = machine.display.resolution_nm
    reach = machine.fixed_search_nm or world.rules.search_cap_nm // step * step
    room = world.fixture.opening_nm / MM - 2 * radius - 1 if plan.face.face == "front" else math.inf
    found = []
    for low in range(60):
        for wide in (4,) if not known else (1, 2, 3):
            a, b = low * mark, (low + wide) * mark
            fits = a >= max(2, up_to_speed + 0.5, off + 1 + max(0, -later)) - 1e-6
            needed = b + (off + 0.5 if known else max(off, 0.5)) + max(0, later)
            if fits and needed <= reach / MM + 1e-6 and b <= room + 1e-6:
                end = (
                    reach / MM
                    if machine.fixed_search_nm
                    else min(reach / MM, math.ceil(needed / mark) * mark)
                )
                found.append((a, b, end))
    return found


def _fastest(world: World, axis: str) -> float:
    """The largest first feed by halving, mm/min."""
    low, high = 0.0, 1e6
    allowed = _overtravel(world, axis) / world.rules.safety_factor
    for _ in range(80):
        middle = (low + high) / 2
        speed = middle / 60
        stop = speed * world.machine.latency_s + speed**2 / (2 * world.machine.deceleration_mm_per_s2)
        low, high = (middle, high) if stop <= allowed else (low, middle)
    return low


def _wrong_survival(world: World, plan: AxisPlan) -> Iterator[str]:
    """A plan that a dead probe does not survive says so,
    and there is no other window that it would survive.
    """
    found, axis = plan.approach or {}, plan.face.axis
    said = {one["code"] for one in found["notes"]}
    if (found["dead_probe"] == "breaks") != ("approach.note_dead_probe" in said):
        yield f"{axis}: breaks without a word, or the other way round"
    if found["dead_probe"] != "breaks":
        return
    usual = world.usuals[axis]
    off = (usual.stop_nm or 0) / MM if usual.centre_nm is not None else _mark(world.machine)
    nearer = max(0.0, world.probe.effective_radius_nm / MM - world.probe.ball_diameter_nm / 2 / MM)
    half = world.machine.display.resolution_nm / MM
    kept = max(_overtravel(world, axis) / world.rules.safety_factor, _overtravel(world, axis) - 0.5)
    lowest = min(a for a, _, _ in _possible(world, plan)) if _possible(world, plan) else 0
    for a, b, end in _possible(world, plan):
        same = world.machine.fixed_search_nm is not None or a == lowest
        if same and end - a + off + nearer + half < kept - 1e-3:
            yield f"{axis}: breaks, and from {a} to {b} it would not"


def _wrong_refusal(world: World, plan: AxisPlan) -> Iterator[str]:
    error = plan.approach_error
    if error is None:
        yield f"{plan.face.axis}: neither a plan nor a reason"
        return
    if "{" in say(error.code, error.fields):
        yield f"{error.code}: a field is missing in its words"
    if error.code in NO_WINDOW and _possible(world, plan):
        yield f"{plan.face.axis}: refused as {error.code}, and {_possible(world, plan)[0]} would do"


def walk(count: int, seed: int = SEED) -> tuple[Counter[str], list[str]]:
    """How many plans there were of each kind, and everything that is wrong with them."""
    counted: Counter[str] = Counter()
    wrong: list[str] = []
    chance = random.Random(seed + 1)
    for number, world in enumerate(worlds(count, seed)):
        for plan in plans(world):
            if plan.approach is None:
                counted[plan.approach_error.code if plan.approach_error else "?"] += 1
            else:
                counted[f"planned, dead probe {plan.approach['dead_probe']}"] += 1
            wrong += [f"shop {number}: {one}" for one in held_against(world, plan, chance)]
    return counted, wrong


def table(shops: int, counted: Counter[str], wrong: list[str]) -> Iterator[str]:
    """What was planned and refused, by kind, and what is wrong with it."""
    planned = sum(number for kind, number in counted.items() if kind.startswith("planned"))
    no_window = sum(number for kind, number in counted.items() if kind in NO_WINDOW)
    yield (
        f"{shops} shops, {counted.total()} touches: {planned} with a window, {no_window} without one and "
        f"refused for it, {counted.total() - planned - no_window} refused for something else."
    )
    yield ""
    yield "| touches | what the sheet says |"
    yield "| --- | --- |"
    for kind, number in sorted(counted.items()):
        yield f"| {number} | {kind} |"
    yield ""
    yield f"Wrong: {len(wrong)}."
    for one in wrong[:20]:
        yield f"- {one}"


def run(count: int | None) -> int:
    """The whole, which is kept beside this module, or that many shops; 1 where something is wrong."""
    shops = CASES if count is None else count
    counted, wrong = walk(shops)
    lines = "\n".join(table(shops, counted, wrong))
    print(lines)
    if count is None:
        KEPT.write_text(f"`python -m tests.long windows`\n\n{lines}\n", encoding="utf-8")
    return 1 if wrong else 0
