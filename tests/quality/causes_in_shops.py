"""Planted mistakes and honest moves in shops as they are:
round balls, parallels from a box, coarse and fine displays.

A cause can be identified where no other kind predicts the value within three uncertainties, repairs of digits
among them. Of these the kind that was planted has to be named first; of all others it has to stand in the set
that is shown. An honest move is a vise that lies 20 um to 0.5 mm away, with nobody before who touched it
there: a set in which the vise may have moved is right, and so is the sentence that no known mistake gives the
value, which says it too.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.quality import mistakes
from tests.quality.mistakes import Planted
from tests.quality.rows import Row
from tests.quality.worlds import CHOICE, World
from webapp.domain.causes.facts import Measures, OtherBall
from webapp.domain.causes.named import name_causes, repairs
from webapp.domain.causes.of_sheet import ROUND_BALLS_NM, SOLD_BALL_UNCERTAINTY_NM
from webapp.domain.causes.reading import OtherSeating, OtherSlot
from webapp.domain.plain.axes import Axis, Face
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.usual import FloorInputs, SeatingValues, Usual, usual, verdict
from webapp.words import catalogue

MM = 1_000_000
INCH = 25_400_000
# Displays, and the steps in which their last digit moves.
CONTROLS = (
    (Display(Unit.MM, 2), 1),
    (Display(Unit.MM, 3), 1),
    (Display(Unit.MM, 3), 1),
    (Display(Unit.INCH, 3), 1),
    (Display(Unit.INCH, 4), 5),
    (Display(Unit.INCH, 4), 1),
)
BALLS_MM = (3, 4, 5, 6, 8)
STYLI_MM = (20, 30, 40, 50, 60)
MOST_SPREAD_NM = 50_000
MOST_PRETRAVEL_NM = 15_000
# Lengths of jaws, thicknesses, heights, steps and parallels as vises and boxes have them: mm, and inches.
LISTS: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "length": ((100, 125, 150, 160, 200), (4, 5, 6, 8)),
    "thickness": ((15, 20, 25, 30, 40), (0.75, 1, 1.25, 1.5)),
    "height": ((30, 40, 45, 50, 60), (1.25, 1.5, 1.75, 2)),
    "step": ((2, 3, 4, 5, 6), (0.0625, 0.125, 0.1875, 0.25)),
    "parallel": ((8, 10, 12, 14, 16, 20, 24, 28), (0.375, 0.5, 0.625, 0.75, 0.875, 1, 1.125)),
    "opening": (tuple(range(30, 151, 5)), tuple(place / 2 for place in range(2, 13))),
}


@dataclass
class Shop(World):
    """A world whose control moves its last digit in these steps, and whose other probe has this ball."""

    digits: int = 1
    wrong_radius_nm: int = 0

    def rounded(self, value_nm: float) -> int:
        step = self.digits * self.display.resolution_nm
        return round(value_nm / step) * step


def draw(chance: np.random.Generator) -> Shop:
    """One shop."""
    display, digits = CONTROLS[int(chance.integers(len(CONTROLS)))]
    step_nm = display.resolution_nm * digits
    low, high = math.log(0.1 * step_nm), math.log(MOST_SPREAD_NM)
    sigma_nm = math.exp(chance.uniform(min(low, high), high))
    span = {"X": chance.uniform(500, 900), "Y": chance.uniform(350, 500), "Z": chance.uniform(400, 550)}
    ends = {axis: -round(length * MM / chance.choice([1, 2])) for axis, length in span.items()}
    travel = {axis: (ends[axis], ends[axis] + round(span[axis] * MM)) for axis in span}
    clamps, end = (int(one) for one in chance.choice([-1, 1], 2))
    measures, wrong_nm = _measures(chance, display.unit, clamps)
    place, usuals, seatings, slots = {}, {}, {}, {}
    for axis, ends_nm in travel.items():
        place[axis], usuals[axis], seatings[axis] = _axis(chance, display, digits, ends_nm, sigma_nm)
        slots[axis] = _slots(chance, step_nm, ends_nm, seatings[axis], usuals[axis])
    faces = {"X": Face(Axis.X, end), "Y": Face(Axis.Y, clamps), "Z": Face(Axis.Z, 1)}
    names = {"X": "left_end" if end < 0 else "right_end", "Y": "front", "Z": "top"}
    return Shop(
        display,
        measures,
        faces,
        names,
        travel,
        place,
        sigma_nm,
        usuals,
        seatings,
        slots,
        digits=digits,
        wrong_radius_nm=wrong_nm,
    )


def _measures(chance: np.random.Generator, unit: Unit, clamps: int) -> tuple[Measures, int]:
    """What the shop states, and the radius that a control holds which was calibrated with another probe."""

    def listed(name: str) -> int:
        metric, imperial = LISTS[name]
        return round(
            float(chance.choice(metric)) * MM if unit is Unit.MM else float(chance.choice(imperial)) * INCH
        )

    balls = chance.permutation(BALLS_MM)
    own, other = (int(size) * MM // 2 - round(chance.uniform(0, MOST_PRETRAVEL_NM)) for size in balls[:2])
    stated = chance.random() < 0.5
    known = (OtherBall(int(balls[1]) * MM, other, 1_000),) if stated else ()
    had = {int(balls[0]) * MM, *(ball.diameter_nm for ball in known)}
    sold = tuple(
        OtherBall(size, size // 2, SOLD_BALL_UNCERTAINTY_NM) for size in ROUND_BALLS_NM if size not in had
    )
    return Measures(
        effective_radius_nm=own,
        radius_uncertainty_nm=1_000,
        gauge_length_nm=round(chance.uniform(120, 220) * 1_000) * 1_000,
        stylus_reach_nm=int(chance.choice(STYLI_MM)) * MM,
        jaw_length_nm=listed("length"),
        jaw_thickness_nm=listed("thickness"),
        jaw_height_nm=listed("height"),
        opening_nm=listed("opening"),
        clamping_axis="Y",
        clamping_direction=clamps,
        moving_jaw_thickness_nm=listed("thickness"),
        parallels_nm=tuple({listed("parallel") for _ in range(int(chance.integers(1, 4)))}),
        jaw_steps_nm=(listed("step"),),
        other_balls=(*known, *sold),
    ), other


def _axis(
    chance: np.random.Generator, display: Display, digits: int, travel: tuple[int, int], sigma_nm: float
) -> tuple[float, Usual, list[OtherSeating]]:
    step, margin = display.resolution_nm * digits, (travel[1] - travel[0]) / 5
    sizes = [
        *chance.integers(3, 25, int(chance.integers(0, 4))),
        round(math.exp(chance.uniform(math.log(3), 5.3))),
    ]
    history, earlier, at = [], [], 0.0
    for number, size in enumerate(sizes):
        at = float(chance.uniform(travel[0] + margin, travel[1] - margin))
        values = [int(v) * step for v in np.rint((at + sigma_nm * chance.standard_normal(size)) / step)]
        history.append(SeatingValues.of(str(number), values))
        if number + 1 < len(sizes):
            centre = round(sum(values) / len(values) / step) * step
            earlier.append(OtherSeating(f"2026-0{number + 1}-01T00:00:00.000Z", centre, len(values)))
    return at, usual(history, FloorInputs(500, 500), CHOICE, display), earlier


def _slots(
    chance: np.random.Generator,
    step: int,
    travel: tuple[int, int],
    seatings: list[OtherSeating],
    now: Usual,
) -> list[OtherSlot]:
    """Rows of other people: of this vise where it is or was, of another place, or still zero."""
    found = []
    for number in range(int(chance.integers(1, 5))):
        kind = chance.random()
        value = float(chance.uniform(*travel))
        if kind < 0.2:
            value = 0
        elif kind < 0.4 and seatings:
            value = seatings[int(chance.integers(len(seatings)))].centre_nm + 3 * step
        elif kind < 0.55:
            value = (now.centre_nm or 0) + 2 * step
        found.append(OtherSlot(f"G{54 + number}", round(value / step) * step))
    return found


def _other_ball(world: World, chance: np.random.Generator) -> Planted:
    assert isinstance(world, Shop)
    axis = str(chance.choice(list("XYZ")))
    shift = world.faces[axis].normal * (world.measures.effective_radius_nm - world.wrong_radius_nm)
    return Planted(axis, "cause.other_ball", mistakes._touch(world, chance, axis) + shift, {})


def _work_coordinates(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(list("XYZ")))
    own = chance.random() < 0.5
    slot = world.slots[axis][int(chance.integers(len(world.slots[axis])))]
    value = world.rounded(chance.uniform(*world.travel_nm[axis])) if own else slot.value_nm
    setup = {"copied_nm": value} if own else {}
    return Planted(axis, "cause.work_coordinates", mistakes._touch(world, chance, axis) - value, setup)


def _moved(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(["X", "Y"]))
    size = math.exp(chance.uniform(math.log(20_000), math.log(500_000))) * float(chance.choice([-1, 1]))
    return Planted(axis, MOVE, mistakes._touch(world, chance, axis) + size, {})


MOVE = "cause.vise_moved_a_little"
READ_OFF = frozenset(
    f"cause.{name}" for name in ("other_unit", "sign", "point", "swapped", "digit", "old_value")
)
MOVES = frozenset({MOVE, "cause.vise_moved"})
PLANTS: dict[str, mistakes.Plant] = {
    **{
        name: plant
        for name, plant in mistakes.PLANTS.items()
        if name != mistakes.SMALL and not name.startswith("alike")
    },
    "another probe's ball": _other_ball,
    "work coordinates": _work_coordinates,
}


@dataclass
class Told:
    """How planted ones of one kind ended.
    `agrees` counts those inside the ask line, which nobody asks about.
    """

    planted: int = 0
    identifiable: int = 0
    first: int = 0
    others: int = 0
    held: int = 0
    named: int = 0
    digit_first: int = 0
    size: int = 0


def kinds_that_fit(world: World, axis: str, value_nm: int, setup: dict[str, Any]) -> set[str]:
    """The kinds that predict this value within three uncertainties, whatever is shown of them."""
    section, usual_now = world.section(axis), world.plain_usual(axis)
    read = {one["axis"]: one["value_nm"] for one in setup.get("earlier", ())}
    fits = {
        one["code"]
        for one in section["candidates"]
        if max(one["low_nm"] - value_nm, value_nm - one["high_nm"]) <= 3 * one["uncertainty_nm"]
        and all(
            other["axis"] in read
            and abs(read[other["axis"]] - other["value_nm"]) <= 3 * other["uncertainty_nm"]
            for other in one["beside"]
        )
    }
    fits |= {
        one["code"].replace("repair.", "cause.")
        for one in repairs(value_nm, world.display, usual_now)
        if one["tells"]
    }
    if setup.get("copied_nm") == value_nm:
        fits.add("cause.old_value")
    if (
        "copied_nm" in setup
        and abs(usual_now["centre_nm"] - setup["copied_nm"] - value_nm) <= 3 * section["uncertainty_nm"]
    ):
        fits.add("cause.work_coordinates")
    return {MOVE if code in MOVES else code for code in fits}


def run(counted: int, seed: int) -> dict[str, Told]:
    """Plant each mistake so many times, each in a shop of its own, and tell what is said."""
    found: dict[str, Told] = defaultdict(Told)
    for number, (name, plant) in enumerate(PLANTS.items()):
        chance = np.random.default_rng([seed, 9, number])
        for _ in range(40 * counted):
            if found[name].planted >= counted:
                break
            world = draw(chance)
            planted = plant(world, chance)
            if planted is not None:
                _score(world, planted, found[name])
    return dict(found)


def _score(world: World, planted: Planted, told: Told) -> None:
    axis, step = planted.axis, world.display.resolution_nm
    # What was typed or read off is not what the control rounds: it has any last digit.
    value_nm = (
        round(planted.value_nm / step) * step if planted.code in READ_OFF else world.rounded(planted.value_nm)
    )
    known = world.known(axis)
    enough = (known.chance_nm or 0) + 3 * world.sigma_nm
    if abs(planted.value_nm - world.place_nm[axis]) <= enough or not world.inside(axis, value_nm):
        return
    told.planted += 1
    kind = MOVE if planted.code in MOVES else planted.code
    fits = kinds_that_fit(world, axis, value_nm, planted.setup)
    named = name_causes(
        value_nm, world.section(axis), world.plain_usual(axis), world.display, **planted.setup
    )
    codes = [MOVE if one["code"] in MOVES else one["code"] for one in named]
    told.named += kind in codes
    told.size += len(codes)
    told.digit_first += codes[:1] == ["cause.digit"] and kind != "cause.digit"
    if fits <= {kind}:
        told.identifiable += 1
        told.first += codes[:1] == [kind]
    else:
        told.others += 1
        told.held += kind in codes


@dataclass
class Moves:
    """Honest moves that were asked about: in how many the words do not say that the vise may have moved."""

    asked: int = 0
    wrong: int = 0
    size: int = 0


def honest_moves(counted: int, seed: int) -> Moves:
    """Move a vise so many times without telling anybody."""
    chance, found = np.random.default_rng([seed, 10]), Moves()
    says_it = "vise may have moved" in catalogue()["cause.none"]
    while found.asked < counted:
        world = draw(chance)
        planted = _moved(world, chance)
        value_nm = world.rounded(planted.value_nm)
        if (
            not world.inside(planted.axis, value_nm)
            or verdict(value_nm, world.usuals[planted.axis]) == "agrees"
        ):
            continue
        named = name_causes(
            value_nm, world.section(planted.axis), world.plain_usual(planted.axis), world.display
        )
        found.asked += 1
        found.size += len(named)
        found.wrong += not ({one["code"] for one in named} & MOVES or (not named and says_it))
    return found


def rows(count: int, seed: int) -> Iterator[Row]:
    """The figures of likely causes, with their bounds."""
    scores = run(count, seed)
    for name in ("another probe's ball", "work coordinates"):
        one = scores[name]
        yield share(f"{name} named, per cent", one.named, one.planted, low=95)
    first, identifiable, held, others, digits, planted, size = (
        sum(getattr(one, part) for one in scores.values())
        for part in ("first", "identifiable", "held", "others", "digit_first", "planted", "size")
    )
    yield share("identifiable: named first, per cent", first, identifiable, low=95)
    yield share("others: in the set that is shown, per cent", held, others, low=95)
    yield share("of all planted, identifiable, per cent", identifiable, planted)
    yield share("another mistake named as a digit first, per cent", digits, planted, high=5)
    yield Row(9, "causes shown, mean", size / planted, high=5)
    moves = honest_moves(4 * count, seed)
    yield share("honest moves told as something else, per cent", moves.wrong, moves.asked, high=10)
    yield Row(9, "causes shown for an honest move, mean", moves.size / moves.asked)


def share(what: str, part: int, whole: int, low: float | None = None, high: float | None = None) -> Row:
    """A share in per cent with its standard error."""
    found = part / max(1, whole)
    return Row(9, what, 100 * found, low, high, 100 * math.sqrt(found * (1 - found) / max(1, whole)))
