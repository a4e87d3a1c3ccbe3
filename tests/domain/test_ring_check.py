"""Probe health from a ring or a sphere, circles in general, and the jaw's angle."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from webapp.domain.figures.circle_fit import CircleOneSidedError, CircleTooFewError, fit_circle
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.probe.ring_check import (
    IntervalNotPositiveError,
    RingDoesNotFitError,
    RingTooFewPointsError,
    days_overdue,
    due,
    from_diametral,
    from_points,
    from_repeats,
)
from webapp.domain.touch.jaw_square import SquareUncertaintyError, TouchesTooCloseError, jaw_angle, say_angle
from webapp.words import say

MM = Display(Unit.MM, 3)
RING = 50_000_000
EFFECTIVE = 2_996_000
CENTRE = (-381_000_000.0, -152_000_000.0)


def around(radius: float, degrees: list[float], lobes: float = 0.0) -> list[tuple[float, float]]:
    return [
        (
            CENTRE[0] + (radius + lobes * math.cos(3 * math.radians(angle))) * math.cos(math.radians(angle)),
            CENTRE[1] + (radius + lobes * math.cos(3 * math.radians(angle))) * math.sin(math.radians(angle)),
        )
        for angle in degrees
    ]


def test_a_rings_diametral_points_give_a_radius_for_each_axis() -> None:
    half_x, half_y = RING // 2 - EFFECTIVE, RING // 2 - EFFECTIVE - 3_000
    found = from_diametral(
        {
            "X": (-381_000_000 - half_x, -381_000_000 + half_x),
            "Y": (-152_000_000 + half_y, -152_000_000 - half_y),
        },
        RING,
        "ring",
        diameter_uncertainty_nm=800,
    )
    assert (found.radius_x_nm, found.radius_y_nm) == (EFFECTIVE, EFFECTIVE + 3_000)
    assert found.effective_radius_nm == EFFECTIVE + 1_500
    assert found.lobing_nm == 3_000
    assert found.uncertainty_nm == pytest.approx(math.hypot(1_500, 400))
    assert found.centre_nm == CENTRE


@pytest.mark.parametrize(
    ("artefact", "path"), [("ring", RING / 2 - EFFECTIVE), ("sphere", RING / 2 + EFFECTIVE)]
)
def test_points_all_round_give_the_effective_radius(artefact: str, path: float) -> None:
    found = from_points(around(path, [0, 60, 120, 180, 240, 300]), RING, artefact)  # type: ignore[arg-type]
    assert found.effective_radius_nm == pytest.approx(EFFECTIVE, abs=0.01)
    assert found.centre_nm == pytest.approx(CENTRE, abs=0.01)
    assert found.lobing_nm == pytest.approx(0, abs=0.01)


def test_lobing_is_the_range_of_the_radii() -> None:
    found = from_points(around(RING / 2 - EFFECTIVE, list(range(0, 360, 15)), lobes=2_000), RING, "ring")
    assert found.lobing_nm == pytest.approx(4_000, rel=0.01)
    assert found.uncertainty_nm is not None
    # Three lobes of 2 um over 24 points:
    # s of the distances about 1.5 um, and the radius known to s / sqrt(24).
    assert found.uncertainty_nm == pytest.approx(2_000 / math.sqrt(2) / math.sqrt(24), rel=0.1)


def test_the_uncertainty_covers_what_chance_does() -> None:
    chance = np.random.default_rng(3)
    inside = 0
    for _ in range(400):
        points = np.array(around(RING / 2 - EFFECTIVE, list(range(0, 360, 45)))) + chance.normal(
            0, 1_500, (8, 2)
        )
        found = from_points([(float(x), float(y)) for x, y in points], RING, "ring")
        inside += abs(found.effective_radius_nm - EFFECTIVE) <= 2.571 * (found.uncertainty_nm or 0)
    # t(0.95) with five degrees of freedom is 2.571; three binomial standard deviations of 400 are 3.3 %.
    assert inside / 400 == pytest.approx(0.95, abs=0.033)


def test_repeats_show_the_repeatability_and_do_not_count_as_form() -> None:
    places = around(RING / 2 - EFFECTIVE, [0, 90, 180, 270])
    touched = [
        [(x + step, y) if place % 2 == 0 else (x, y + step) for step in (-1_000, 0, 1_000)]
        for place, (x, y) in enumerate(places)
    ]
    found = from_repeats(touched, RING, "ring")
    assert found.repeatability_nm == pytest.approx(1_000, rel=1e-3)
    assert found.lobing_nm == pytest.approx(0, abs=1)
    assert from_repeats([[place] for place in places], RING, "ring").repeatability_nm is None


@pytest.mark.parametrize("degrees", [[0, 20, 40, 60, 80], [0, 60, 120, 180], [10, 90, 170, 189]])
def test_points_on_one_side_only_are_refused(degrees: list[float]) -> None:
    with pytest.raises(CircleOneSidedError):
        from_points(around(RING / 2 - EFFECTIVE, degrees), RING, "ring")


def test_points_on_a_line_are_refused() -> None:
    with pytest.raises(CircleOneSidedError):
        fit_circle([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 3.0)])


def test_three_points_give_a_circle_without_covariance() -> None:
    found = fit_circle([(1.0, 0.0), (-0.5, 0.8660254037844386), (-0.5, -0.8660254037844386)])
    assert found.radius == pytest.approx(1)
    assert (found.covariance, found.degrees_of_freedom, found.radius_uncertainty) == (None, 0, None)


@pytest.mark.parametrize("points", [[], [(0.0, 0.0)], [(0.0, 0.0)] * 5, [(0.0, 0.0), (1.0, 0.0)]])
def test_fewer_than_three_different_points_are_refused(points: list[tuple[float, float]]) -> None:
    with pytest.raises(CircleTooFewError):
        fit_circle(points)


def test_a_check_with_too_few_points_or_one_axis_is_refused() -> None:
    with pytest.raises(RingTooFewPointsError):
        from_points(around(RING / 2, [0, 120, 240]), RING, "ring")
    with pytest.raises(RingTooFewPointsError):
        from_diametral({"X": (0, 1)}, RING, "ring")


def test_a_sphere_taken_for_a_ring_is_refused() -> None:
    with pytest.raises(RingDoesNotFitError):
        from_points(around(RING / 2 + EFFECTIVE, [0, 90, 180, 270]), RING, "ring")
    with pytest.raises(RingDoesNotFitError):
        from_points(around(RING / 2 - EFFECTIVE, [0, 90, 180, 270]), RING, "sphere")


def test_a_check_is_overdue_from_the_day_after() -> None:
    checked = date(2026, 11, 1)
    assert due(checked, 30) == date(2026, 12, 1)
    assert days_overdue(checked, 30, date(2026, 12, 1)) == 0
    assert days_overdue(checked, 30, date(2026, 12, 2)) == 1
    assert days_overdue(None, 30, date(2026, 12, 2)) > 0
    with pytest.raises(IntervalNotPositiveError):
        due(checked, 0)


def test_two_touches_give_the_jaws_angle_and_its_error_over_the_jaw() -> None:
    # 12 um over 120 mm is 0.1 mm a metre: 15 um over a jaw of 150 mm;
    # u of 2 um a touch makes 3.5 um over the jaw.
    found = jaw_angle((-441_000_000, -321_000_000), (-152_400_000, -152_388_000), 2_000, 150_000_000, MM)
    assert found.radians == pytest.approx(1e-4, rel=1e-6)
    assert found.error_nm == pytest.approx(15_000)
    assert found.error_uncertainty_nm == pytest.approx(2_000 * math.sqrt(2) * 150 / 120)
    assert found.is_told
    finding = say_angle(found, MM)
    assert say(finding.code, finding.fields) == (
        "The jaw stands +0.006 ± 0.001 degrees to the axis. Over its length that makes +0.015 ± 0.004 mm."
    )


def test_the_angle_does_not_depend_on_which_end_was_touched_first() -> None:
    ends = ((-441_000_000, -321_000_000), (-152_400_000, -152_388_000))
    one = jaw_angle(*ends, 2_000, 150_000_000, MM)
    other = jaw_angle(ends[0][::-1], ends[1][::-1], 2_000, 150_000_000, MM)
    assert one == other


def test_an_angle_within_its_uncertainty_is_not_told() -> None:
    found = jaw_angle((0, 120_000_000), (0, -3_000), 2_000, 150_000_000, MM)
    assert not found.is_told
    finding = say_angle(found, MM)
    assert say(finding.code, finding.fields).startswith("No angle can be told: −0.001")


def test_the_angles_uncertainty_is_what_simulated_touches_scatter() -> None:
    chance = np.random.default_rng(8)
    angles = [
        jaw_angle((0, 120_000_000), (round(a), round(b)), 2_000, 150_000_000, MM).radians
        for a, b in chance.normal(0, 2_000, (4_000, 2))
    ]
    expected = jaw_angle((0, 120_000_000), (0, 0), 2_000, 150_000_000, MM).uncertainty_radians
    assert np.std(angles) == pytest.approx(expected, rel=0.05)


def test_touches_at_one_place_are_refused() -> None:
    with pytest.raises(TouchesTooCloseError) as refused:
        jaw_angle((0, 19_999_000), (0, 0), 2_000, 150_000_000, MM)
    assert refused.value.fields == {"apart": "19.999", "least": "20.000", "unit": "mm"}


@pytest.mark.parametrize(("u_nm", "length_nm"), [(-1.0, 1), (math.nan, 1), (1.0, 0)])
def test_measures_that_cannot_be_are_refused(u_nm: float, length_nm: int) -> None:
    with pytest.raises(SquareUncertaintyError):
        jaw_angle((0, 120_000_000), (0, 0), u_nm, length_nm, MM)
