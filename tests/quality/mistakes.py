"""Planted mistakes: what each would show on a random machine, and whether it is caught and named.

A mistake is planted with the touch's own scatter and with the error of whatever it depends on (the opening is
set by hand, the vise's measures are known to 0.1 mm). It counts when it is larger, before any scatter, than
the ask line of somebody who knows the spread and LEAST_SPREADS more: the program is not asked for its line.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from tests.quality.rows import Row
from tests.quality.worlds import PEOPLE, World, draw
from webapp.domain.causes.named import is_alike, name_causes
from webapp.domain.causes.reading import OtherSeating, OtherSlot, RecentTouch
from webapp.domain.causes.typing_slips import ROOM_FOR_DIGIT
from webapp.domain.usual.usual import verdict


@dataclass
class Planted:
    """A reading that a mistake gives; `setup` is what the tablet knows besides. `size_nm` is how large a slip
    in digits is; how large others are, a quiet world says.
    """

    axis: str
    code: str
    value_nm: float
    setup: dict[str, Any]
    size_nm: float | None = None


# A mistake of exactly the line and three spreads agrees in 0.13 % of cases by its definition.
LEAST_SPREADS = 3.1
ITEM = 10
Plant = Callable[[World, np.random.Generator], Planted | None]


def _touch(world: World, chance: np.random.Generator, axis: str) -> float:
    scatter = world.sigma_nm * float(chance.standard_normal())
    return world.place_nm[axis] + (0.0 if world.is_quiet else scatter)


def _along(axis: str, code: str, shift: Callable[[World], float], own: Callable[[World], float]) -> Plant:
    """A mistake that adds a length along the face's normal, known only so well."""

    def plant(world: World, chance: np.random.Generator) -> Planted:
        normal = world.faces[axis].normal
        length = shift(world) + own(world) * float(chance.standard_normal())
        return Planted(axis, code, _touch(world, chance, axis) + normal * length, {})

    return plant


def _radius(world: World) -> float:
    return float(world.measures.effective_radius_nm)


def _vise(world: World) -> float:
    return float(world.measures.vise_uncertainty_nm)


def _opening(world: World) -> float:
    return float(world.measures.opening_uncertainty_nm)


def _known_radius(world: World) -> float:
    return float(world.measures.radius_uncertainty_nm)


def _geometry() -> dict[str, Plant]:
    plants: dict[str, Plant] = {}
    for axis in "XYZ":
        for code, times in (("left_out", 1), ("twice", -1), ("wrong_way", 2), ("diameter_too_much", -2)):
            plants[f"{axis} cause.ball_{code}"] = _along(
                axis,
                f"cause.ball_{code}",
                lambda w, t=times: t * _radius(w),
                _known_radius,  # type: ignore[misc]
            )
    far: list[tuple[str, str, Callable[[World], float], Callable[[World], float]]] = [
        ("X", "other_end", lambda w: -(w.measures.jaw_length_nm or 0), _vise),
        ("X", "other_end_and_radius", lambda w: -(w.measures.jaw_length_nm or 0) - 2 * _radius(w), _vise),
        ("Y", "other_side", lambda w: -(w.measures.jaw_thickness_nm or 0), _vise),
        ("Y", "other_side_and_radius", lambda w: -(w.measures.jaw_thickness_nm or 0) - 2 * _radius(w), _vise),
        ("Y", "moving_jaw", lambda w: w.measures.opening_nm or 0, _opening),
        ("Y", "moving_jaw_and_radius", lambda w: (w.measures.opening_nm or 0) - 2 * _radius(w), _opening),
        ("Z", "gauge_length_left_out", lambda w: w.measures.gauge_length_nm, _vise),
        ("Z", "gauge_length_twice", lambda w: -w.measures.gauge_length_nm, _vise),
        ("Z", "stylus_length_left_out", lambda w: w.measures.stylus_reach_nm or 0, _vise),
        ("Z", "stylus_length_twice", lambda w: -(w.measures.stylus_reach_nm or 0), _vise),
        ("Z", "parallel_on_jaw", lambda w: w.measures.parallels_nm[0], _vise),
        ("Z", "parallel_on_bed", lambda w: w.measures.parallels_nm[0] - (w.measures.jaw_height_nm or 0),
         _vise),
        ("Z", "jaw_step", lambda w: -w.measures.jaw_steps_nm[0], _vise),
    ]  # fmt: skip
    for axis, name, shift, own in far:
        plants[f"{axis} cause.{name}"] = _along(axis, f"cause.{name}", shift, own)
    return plants


def _chip(world: World, chance: np.random.Generator) -> Planted | None:
    axis = str(chance.choice(list("XYZ")))
    least = _least(world, axis)
    if least >= world.measures.largest_chip_nm:
        return None
    size = math.exp(chance.uniform(math.log(least), math.log(world.measures.largest_chip_nm)))
    return Planted(axis, "cause.chip", _touch(world, chance, axis) + world.faces[axis].normal * size, {})


def _small(world: World, chance: np.random.Generator) -> Planted:
    """A chip whose size is chosen without asking the program for its line: from the least that counts to
    half as much again.
    """
    axis = str(chance.choice(list("XYZ")))
    size = _counts_from(world, axis) * chance.uniform(1, 1.5)
    return Planted(axis, "cause.chip", _touch(world, chance, axis) + world.faces[axis].normal * size, {})


def _zero(_world: World, chance: np.random.Generator) -> Planted:
    return Planted(str(chance.choice(list("XYZ"))), "cause.zero_left", 0.0, {})


def _other_axis(world: World, chance: np.random.Generator) -> Planted:
    axis, other = (str(name) for name in chance.choice(list("XYZ"), 2, replace=False))
    return Planted(axis, "cause.other_axis", _touch(world, chance, other), {})


def _exchanged(world: World, chance: np.random.Generator) -> Planted | None:
    first = world.rounded(_touch(world, chance, "Y"))
    if not world.inside("X", first):
        return None
    earlier = [{"axis": "X", "value_nm": first, "verdict": verdict(first, world.usuals["X"])}]
    return Planted("Y", "cause.axes_exchanged", _touch(world, chance, "X"), {"earlier": earlier})


def _other_unit(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(list("XYZ")))
    factor = chance.choice([5 / 127, 127 / 5])
    return Planted(axis, "cause.other_unit", _touch(world, chance, axis) * float(factor), {})


def _other_slot(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(list("XYZ")))
    slot = world.slots[axis][int(chance.integers(len(world.slots[axis])))]
    return Planted(axis, "cause.other_slot", slot.value_nm, {})


def _old_value(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(list("XYZ")))
    old = world.rounded(chance.uniform(*world.travel_nm[axis]))
    return Planted(axis, "cause.old_value", old, {"copied_nm": old})


def _other_seating(world: World, chance: np.random.Generator) -> Planted | None:
    axis = str(chance.choice(list("XYZ")))
    if not world.seatings[axis]:
        return None
    # The vise is back, where it truly was: its mean is known to the root of its values.
    seating: OtherSeating = world.seatings[axis][int(chance.integers(len(world.seatings[axis])))]
    truly = seating.centre_nm + world.sigma_nm * float(chance.standard_normal()) / math.sqrt(seating.values)
    return Planted(axis, "cause.other_seating", truly + world.sigma_nm * float(chance.standard_normal()), {})


def _vise_moved(world: World, chance: np.random.Generator) -> Planted:
    axis = str(chance.choice(["X", "Y"]))
    shift = float(chance.choice([-1, 1])) * math.exp(
        chance.uniform(math.log(2 * _least(world, axis)), math.log(5e6))
    )
    for name in ("X", "Y"):
        world.recent[name] = [
            RecentTouch(
                PEOPLE[n % 4],
                f"2026-11-{10 + n}T09:00:00.000Z",
                world.rounded(_touch(world, chance, name) + shift),
            )
            for n in range(int(chance.integers(2, 6)))
        ]
    return Planted(axis, "cause.vise_moved", _touch(world, chance, axis) + shift, {})


def _typed(code: str, slip: Callable[[World, str, np.random.Generator], str | None]) -> Plant:
    """A slip in the digits of the value that the control shows."""

    def plant(world: World, chance: np.random.Generator) -> Planted | None:
        axis = str(chance.choice(list("XYZ")))
        step = world.display.resolution_nm
        shown = world.rounded(_touch(world, chance, axis))
        digits = str(abs(shown) // step).rjust(world.display.decimals + 1, "0")
        changed = slip(world, digits, chance)
        if changed is None or changed == digits:
            return None
        sign = -1 if shown < 0 else 1
        value = sign * int(changed) * step if changed != "sign" else -shown
        return Planted(axis, code, value, {}, abs(value - shown))

    return plant


def _swap(_world: World, digits: str, chance: np.random.Generator) -> str:
    at = int(chance.integers(len(digits) - 1))
    return digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :]


def _wrong_digit(_world: World, digits: str, chance: np.random.Generator) -> str:
    # Only where the digit's unit leaves room between bands:
    # elsewhere any value would be explained (counted as such).
    step, widest = _world.display.resolution_nm, max(found.ask_nm or 0 for found in _world.usuals.values())
    places = [
        at for at in range(len(digits)) if 10 ** (len(digits) - 1 - at) * step >= ROOM_FOR_DIGIT * widest
    ]
    if not places:
        return None
    at = int(chance.choice(places))
    return digits[:at] + str(chance.integers(10)) + digits[at + 1 :]


def _point(_world: World, digits: str, chance: np.random.Generator) -> str:
    places = int(chance.integers(1, 4))
    return digits + "0" * places if chance.random() < 0.3 else digits[:-places] or "0"


def _twin_of_seating(world: World, chance: np.random.Generator) -> Planted | None:
    """The vise is back, and a slot still holds what was touched there then:
    nobody can tell which was read.
    """
    planted = _other_seating(world, chance)
    if planted is not None:
        slots = world.slots[planted.axis]
        slots[0] = OtherSlot(slots[0].label, world.rounded(planted.value_nm))
    return planted


def _twin_of_length(world: World, chance: np.random.Generator) -> Planted:
    """A parallel as thick as the stylus is long."""
    world.measures = replace(world.measures, parallels_nm=(world.measures.stylus_reach_nm or 0,))
    return PLANTS["Z cause.parallel_on_jaw"](world, chance)  # type: ignore[return-value]


SMALL = "a chip that just counts"
PLANTS: dict[str, Plant] = {
    **_geometry(),
    "chip": _chip,
    SMALL: _small,
    "zero left": _zero,
    "other axis": _other_axis,
    "X and Y exchanged": _exchanged,
    "other unit": _other_unit,
    "other slot": _other_slot,
    "old value": _old_value,
    "other seating": _other_seating,
    "vise moved": _vise_moved,
    "sign": _typed("cause.sign", lambda _w, _d, _c: "sign"),
    "point": _typed("cause.point", _point),
    "digits swapped": _typed("cause.swapped", _swap),
    "digit wrong": _typed("cause.digit", _wrong_digit),
    "alike: seating and slot": _twin_of_seating,
    "alike: parallel and stylus": _twin_of_length,
}


def _least(world: World, axis: str) -> float:
    """The ask line and three spreads of one more value."""
    found = world.usuals[axis]
    return (found.ask_nm or 0) + 3 * world.sigma_nm * math.sqrt(1 + 1 / found.n_in_centre)


def _counts_from(world: World, axis: str) -> float:
    """The least size of a mistake that counts."""
    return world.line_nm(axis) + LEAST_SPREADS * world.one_more_nm(axis)


def _size_nm(world: World, plant: Plant, chance: np.random.Generator) -> float | None:
    """The size of what would be planted now if no touch scattered; chance stays where it was."""
    state = chance.bit_generator.state
    found = plant(replace(world, is_quiet=True), chance)
    chance.bit_generator.state = state
    return None if found is None else abs(found.value_nm - world.place_nm[found.axis])


@dataclass
class Score:
    """How planted mistakes of one kind ended. `told` counts those that chance does not explain as well."""

    planted: int = 0
    agrees: int = 0
    told: int = 0
    first: int = 0
    named: int = 0
    alone: int = 0
    alike_pairs: int = 0
    alike_both: int = 0


def rows(count: int, seed: int) -> Iterator[Row]:
    """Yield how planted mistakes end: caught, named, and left to chance."""
    scores = run(count, seed)
    every = list(scores.values())
    planted, told = sum(one.planted for one in every), sum(one.told for one in every)
    yield _share("planted mistakes that count, not `agrees`, per cent", every, "agrees", 99.9)
    yield _share("chips that just count, not `agrees`, per cent", [_small_chips(count, seed)], "agrees", 95)
    first = 100 * sum(one.first for one in every) / told
    yield Row(ITEM, "planted mistakes named with the first, per cent", first, 99, None, _error(first, told))
    worst = min(100 * one.first / one.told for one in every if one.told)
    least = min(one.told for one in every if one.told)
    yield Row(ITEM, "the same, worst kind, per cent", worst, 90, None, _error(worst, least))
    alike = [one for name, one in scores.items() if name.startswith("alike")]
    pairs = sum(one.alike_pairs for one in alike)
    both = 100 * sum(one.alike_both for one in alike) / pairs
    yield Row(ITEM, "alike causes, both named, per cent", both, 95, None, _error(both, pairs))
    share, error, _ = chance_asks(10 * count, seed)
    yield Row(
        ITEM, "clean touches that ask by chance, no cause named, per cent", 100 * (1 - share), 90, None,
        100 * error,
    )  # fmt: skip
    yield Row(ITEM, "mistakes planted", planted)


def _small_chips(count: int, seed: int) -> Score:
    """Ten times as many of the kind that lies nearest to the line."""
    score, chance = Score(), np.random.default_rng([seed, 98])
    for _ in range(10 * count):
        world = draw(chance)
        planted = _small(world, chance)
        score_one(world, planted, _counts_from(world, planted.axis), score)
    return score


def _share(what: str, scores: Sequence[Score], field: str, least: float) -> Row:
    """How many in 100 of the planted are not that."""
    planted = sum(one.planted for one in scores)
    figure = 100 - 100 * sum(getattr(one, field) for one in scores) / planted
    return Row(ITEM, what, figure, least, None, _error(figure, planted))


def _error(per_cent: float, count: int) -> float:
    """The standard error of a share of so many."""
    return math.sqrt(per_cent * (100 - per_cent) / max(1, count))


def run(counted: int, seed: int) -> dict[str, Score]:
    """Plant each mistake so many times, each in a world of its own, and score what is said."""
    scores: dict[str, Score] = defaultdict(Score)
    for number, (name, plant) in enumerate(PLANTS.items()):
        chance = np.random.default_rng([seed, number])
        tries = 0
        while scores[name].planted < counted and tries < 40 * counted:
            tries += 1
            world = draw(chance)
            quiet = _size_nm(world, plant, chance)
            planted = plant(world, chance)
            if planted is not None and quiet is not None:
                size_nm = quiet if planted.size_nm is None else planted.size_nm
                score_one(world, planted, size_nm, scores[name])
    return dict(scores)


def score_one(world: World, planted: Planted, size_nm: float, score: Score) -> None:
    """Count one planted mistake, where it is large enough and the machine can show it."""
    axis, value_nm = planted.axis, world.rounded(planted.value_nm)
    if size_nm < _counts_from(world, axis) or not world.inside(axis, value_nm):
        return
    truly_off = abs(planted.value_nm - world.place_nm[axis])
    score.planted += 1
    score.agrees += verdict(value_nm, world.usuals[axis]) == "agrees"
    known = world.known(axis)
    if truly_off <= (known.chance_nm or 0) + 3 * world.sigma_nm:
        return
    score.told += 1
    section = world.section(axis)
    named = name_causes(value_nm, section, world.plain_usual(axis), world.display, **planted.setup)
    score.first += any(one["code"] == planted.code and one["alike"] for one in named)
    score.named += any(one["code"] == planted.code for one in named)
    score.alone += bool(named) and named[0]["code"] == planted.code
    _count_alike(section, planted.code, value_nm, named, score)


def _count_alike(
    section: dict[str, Any], code: str, value_nm: int, named: list[dict[str, Any]], score: Score
) -> None:
    """Count the other candidates that predict the same value as the planted one,
    and whether both are named.
    """
    fits = [
        one
        for one in section["candidates"]
        if max(one["low_nm"] - value_nm, value_nm - one["high_nm"]) <= 3 * one["uncertainty_nm"]
        and not one["beside"]
    ]
    here = next((one for one in fits if one["code"] == code), None)
    said = {one["code"] for one in named}
    for twin in fits:
        points = here is not None and twin["low_nm"] == twin["high_nm"] and here["low_nm"] == here["high_nm"]
        if here is not None and points and twin["code"] != code and is_alike(twin, here):
            score.alike_pairs += 1
            score.alike_both += {code, twin["code"]} <= said


def chance_asks(counted: int, seed: int) -> tuple[float, float, dict[str, float]]:
    """The share of clean touches beyond the ask line for which a cause is named;
    its standard error; by cause.

    Each world counts as often as it asks by chance.
    """
    chance = np.random.default_rng([seed, 99])
    weights, hits = np.empty(counted), np.empty(counted)
    causes: dict[str, float] = defaultdict(float)
    for place in range(counted):
        world = draw(chance)
        axis = str(chance.choice(list("XYZ")))
        value_nm, weights[place] = _beyond_ask(world, axis, chance)
        named = name_causes(value_nm, world.section(axis), world.plain_usual(axis), world.display)
        hits[place] = bool(named)
        if named:
            causes[named[0]["code"]] += weights[place]
    share = float((weights * hits).sum() / weights.sum())
    error = math.sqrt(float((weights**2 * (hits - share) ** 2).sum())) / float(weights.sum())
    return share, error, {code: weight / float(weights.sum()) for code, weight in causes.items()}


def _beyond_ask(world: World, axis: str, chance: np.random.Generator) -> tuple[int, float]:
    """A clean value that is asked about, and how likely this world asks at all."""
    found = world.usuals[axis]
    centre, half = found.centre_nm or 0, (found.ask_nm or 0) + world.display.resolution_nm / 2
    low = stats.norm.cdf((centre - half - world.place_nm[axis]) / world.sigma_nm)
    high = stats.norm.sf((centre + half - world.place_nm[axis]) / world.sigma_nm)
    u = chance.uniform(0, low + high)
    z = stats.norm.ppf(u) if u < low else stats.norm.isf(u - low)
    return world.rounded(world.place_nm[axis] + world.sigma_nm * float(z)), float(low + high)
