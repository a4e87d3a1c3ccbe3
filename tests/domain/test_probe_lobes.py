"""What places round a ring tell of lobes, how well a radius is known from few of them, and chords beside the
middle.
"""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest

from webapp.domain.figures.circle_fit import Point
from webapp.domain.probe.ring_check import Known, RingCheck, from_diametral, from_points, from_repeats
from webapp.words import say

RING, EFFECTIVE = 50_000_000, 2_996_000
PATH = RING / 2 - EFFECTIVE
STEP = 1_000
KNOWN = Known(step_nm=STEP, u_probe_nm=500)


def touched(
    chance: np.random.Generator,
    count: int,
    amplitude: float,
    scatter: float,
    lobes: int = 3,
    stretch: float = 1.0,
) -> list[Point]:
    """Places all round as the control shows them: a middle anywhere, lobes that stand anyhow, and scatter."""
    middle, phase = chance.uniform(-3e8, -2e8, 2), chance.uniform(0, 2 * math.pi)
    places = []
    for place in range(count):
        turn = 2 * math.pi * (place / count) ** stretch
        radius = PATH + amplitude * math.cos(lobes * turn + phase)
        shown = middle + radius * np.array([math.cos(turn), math.sin(turn)]) + chance.normal(0, scatter, 2)
        places.append((float(np.rint(shown[0] / STEP) * STEP), float(np.rint(shown[1] / STEP) * STEP)))
    return places


def checked(places: list[Point]) -> RingCheck:
    return from_points(places, RING, "ring", 0, KNOWN)


@pytest.mark.parametrize(("count", "form"), [(4, "cannot_show"), (5, "not_how"), (6, "may_miss")])
def test_few_places_say_what_they_cannot_show(count: int, form: str) -> None:
    chance = np.random.default_rng(1)
    found = [checked(touched(chance, count, 10_000, 300)) for _ in range(60)]
    assert {one.form for one in found} == {form}
    assert {one.lobes for one in found} == {None}
    assert say(f"ring.form_{form}")
    # What four and six places show of ten micrometres of lobes is at times next to nothing;
    # five always show something.
    least = min(one.lobing_nm for one in found)
    assert least > 8_000 if count == 5 else least < 5_000


@pytest.mark.parametrize("count", [7, 8, 9, 12, 24])
def test_three_lobes_are_named_from_seven_evenly_spread_places_on(count: int) -> None:
    chance = np.random.default_rng(2)
    found = [checked(touched(chance, count, 6_000, 300)) for _ in range(40)]
    named = Counter((one.form, one.lobes) for one in found)
    assert named["named", 3] >= 39
    heights = [one.lobe_height_nm for one in found if one.lobe_height_nm]
    assert np.mean(heights) == pytest.approx(12_000, rel=0.05)
    assert {one.or_lobes for one in found if one.form == "named"} == {
        4 if count == 7 else 5 if count == 8 else 6 if count == 9 else None
    }


@pytest.mark.parametrize("count", [7, 8, 12])
@pytest.mark.parametrize("scatter", [0, 300, 2_000])
def test_a_round_ring_is_not_said_to_have_lobes(count: int, scatter: float) -> None:
    chance = np.random.default_rng(3)
    found = [checked(touched(chance, count, 0, scatter)) for _ in range(200)]
    # 5 in 100 by the level; three binomial standard deviations of 200 more.
    assert sum(one.form == "named" for one in found) <= 20


def test_an_oval_and_five_lobes_are_told_from_three() -> None:
    chance = np.random.default_rng(4)
    for lobes in (2, 3, 4, 5):
        assert checked(touched(chance, 12, 6_000, 300, lobes)).lobes == lobes


def test_places_that_are_not_evenly_spread_name_nothing() -> None:
    chance = np.random.default_rng(5)
    assert checked(touched(chance, 12, 6_000, 300, stretch=1.3)).form == "uneven"


def test_touching_again_shows_smaller_lobes() -> None:
    chance = np.random.default_rng(6)
    once = again = 0
    for _ in range(40):
        places = touched(chance, 7, 2_500, 0)
        four = [[(x + chance.normal(0, 500), y + chance.normal(0, 500)) for _ in range(4)] for x, y in places]
        again += from_repeats(four, RING, "ring", 0, KNOWN).lobes == 3
        once += checked([place[0] for place in four]).lobes == 3
    assert again > once
    assert again >= 30


@pytest.mark.parametrize("count", [4, 5, 6, 8, 12])
@pytest.mark.parametrize("scatter", [0, 300, 1_500, 8_000])
def test_the_expanded_uncertainty_holds_the_radius_95_times_in_100(count: int, scatter: float) -> None:
    chance = np.random.default_rng([7, count, int(scatter)])
    found = [checked(touched(chance, count, 0, scatter)) for _ in range(400)]
    inside = sum(abs(one.effective_radius_nm - EFFECTIVE) <= (one.expanded_nm or 0) for one in found)
    # Three binomial standard deviations of 400 are 3.3 in 100;
    # with two standard uncertainties 4 points held 67.
    assert inside / 400 >= 0.95 - 0.033
    assert {one.expanded_degrees for one in found} == {count - 3}
    if scatter == 8_000:
        assert inside / 400 <= 0.95 + 0.033
        twice = sum(
            abs(one.effective_radius_nm - EFFECTIVE) <= 2 * (one.uncertainty_nm or 0) for one in found
        )
        assert twice / 400 < 0.8 or count > 4


def diametral(chance: np.random.Generator, scatter: float) -> RingCheck:
    x, y = chance.uniform(-3e8, -2e8, 2)

    def shown(nm: float) -> int:
        return int(np.rint((nm + chance.normal(0, scatter)) / STEP)) * STEP

    ends = {"X": (shown(x - PATH), shown(x + PATH)), "Y": (shown(y - PATH), shown(y + PATH))}
    return from_diametral(ends, RING, "ring", 0, KNOWN)


@pytest.mark.parametrize("scatter", [0, 100, 500, 8_000])
def test_two_on_each_axis_count_the_displays_step_and_one_degree_of_freedom(scatter: float) -> None:
    chance = np.random.default_rng([8, int(scatter)])
    found = [diametral(chance, scatter) for _ in range(400)]
    assert all(one.uncertainty_nm and one.uncertainty_nm >= STEP / math.sqrt(48) for one in found)
    assert {(one.form, one.expanded_degrees) for one in found} == {("cannot_show", 1)}
    inside = sum(abs(one.effective_radius_nm - EFFECTIVE) <= (one.expanded_nm or 0) for one in found)
    assert inside / 400 >= 0.95 - 0.033


def test_an_artefact_that_is_known_exactly_or_worse_changes_the_degrees() -> None:
    places = touched(np.random.default_rng(9), 8, 0, 300)
    sure, unsure = checked(places), from_points(places, RING, "ring", 4_000, KNOWN)
    assert (sure.expanded_degrees, unsure.uncertainty_nm) == (
        5,
        pytest.approx(math.hypot(sure.uncertainty_nm or 0, 2_000)),
    )
    assert (unsure.expanded_degrees or 0) > 100


@pytest.mark.parametrize("off", [300_000, 1_000_000, 3_000_000])
def test_a_chord_beside_the_middle_is_found(off: int) -> None:
    short = round(math.sqrt(PATH**2 - off**2) / STEP) * STEP
    whole = round(PATH / STEP) * STEP
    ends = {
        "X": (-200_000_000 - whole, -200_000_000 + whole),
        "Y": (-100_000_000 - short, -100_000_000 + short),
    }
    found = from_diametral(ends, RING, "ring", 0, KNOWN)
    assert (found.chord_axis, found.chord_is_taken_out) == ("Y", False)
    assert found.chord_off_nm == pytest.approx(off, rel=0.06)
    noted = from_diametral(ends, RING, "ring", 0, KNOWN, {"Y": -200_000_000 + off})
    assert (noted.chord_axis, noted.chord_off_nm, noted.chord_is_taken_out) == ("Y", off, True)
    assert noted.effective_radius_nm == pytest.approx(EFFECTIVE, abs=STEP)
    assert abs(found.effective_radius_nm - EFFECTIVE) > 900


def test_touches_through_the_middle_are_no_chord() -> None:
    chance = np.random.default_rng(10)
    assert sum(diametral(chance, 300).chord_axis is not None for _ in range(300)) <= 3
