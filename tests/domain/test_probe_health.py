"""A check of a probe as it is typed, and when the next one is due."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest

from tests.rules.example_shop import MILL_INCH, MILL_MM
from webapp.domain.figures.circle_fit import CircleOneSidedError
from webapp.domain.plain.errors import DomainError
from webapp.domain.probe.probe_health import (
    ArtefactUnknownError,
    CheckState,
    CheckTyped,
    PlaceNotReadError,
    PlacesOddError,
    PlacesTooManyError,
    state_of,
    work_out,
)
from webapp.domain.probe.ring_check import (
    IntervalNotPositiveError,
    RingDoesNotFitError,
    RingTooFewPointsError,
)
from webapp.words import say

CENTRE = (-381.0, -152.0)


def ring(radius: float, count: int = 8, first: float = 0.0, last: float = 360.0) -> list[str]:
    """Places on a circle of this radius in mm, as typed."""
    turns = [math.radians(first + (last - first) * place / count) for place in range(count)]
    return [
        f"{CENTRE[0] + radius * math.cos(turn):.3f} {CENTRE[1] + radius * math.sin(turn):.3f}"
        for turn in turns
    ]


def check(**changes: Any) -> CheckTyped:
    fields: dict[str, Any] = {
        "artefact": "ring", "diameter": "50.0012", "diameter_uncertainty": "0.0008", "way": "places",
        "diametral": {}, "places": "\n".join(ring(22.0036)),
    }  # fmt: skip
    return CheckTyped(**{**fields, **changes})


def test_places_all_round_give_the_balls_effective_radius() -> None:
    found = work_out(check(), MILL_MM)
    assert abs(found.effective_radius_nm - 2_997_000) < 600
    assert found.covariance_nm2 is not None
    assert found.degrees_of_freedom == 5
    assert found.uncertainty_nm is not None
    assert found.uncertainty_nm >= 400


def test_two_on_each_axis_are_enough() -> None:
    ends = {"x_low": "-403.004", "x_high": "-358.996", "y_low": "-174,003", "y_high": "-129,997"}
    found = work_out(check(way="diametral", diametral=ends), MILL_MM)
    assert (found.radius_x_nm, found.radius_y_nm) == (2_996_600, 2_997_600)
    assert found.lobing_nm == 1_000


def test_a_sphere_is_touched_from_outside() -> None:
    found = work_out(check(artefact="sphere", diameter="25", places="\n".join(ring(15.497))), MILL_MM)
    assert abs(found.effective_radius_nm - 2_997_000) < 600


def test_an_inch_machine_is_typed_in_inches() -> None:
    places = "\n".join(
        " ".join(f"{float(value) / 25.4:.4f}" for value in place.split()) for place in ring(22.0036)
    )
    found = work_out(check(diameter="1.96855", diameter_uncertainty="", places=places), MILL_INCH)
    assert abs(found.effective_radius_nm - 2_997_000) < 3_000


def test_places_touched_again_tell_the_repeatability() -> None:
    twice = [f"{place}  {place}" for place in ring(22.0036)]
    assert work_out(check(places="\n".join(twice)), MILL_MM).repeatability_nm == 0
    assert work_out(check(), MILL_MM).repeatability_nm is None


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"places": "\n".join(ring(22.0, 6, 0, 120))}, CircleOneSidedError),
        ({"places": "\n".join(ring(22.0)[:3])}, RingTooFewPointsError),
        ({"places": ""}, RingTooFewPointsError),
        ({"places": "-381.0"}, PlacesOddError),
        ({"places": "-381.0 1e3"}, PlaceNotReadError),
        ({"places": "-381.0 152.0"}, PlaceNotReadError),
        ({"places": "-381.0 -152.0\n" * 201}, PlacesTooManyError),
        ({"artefact": "cube"}, ArtefactUnknownError),
        ({"diameter": "40"}, RingDoesNotFitError),
        ({"diameter": "-50"}, DomainError),
        ({"way": "diametral", "diametral": {"x_low": "-403"}}, DomainError),
    ],
)
def test_what_is_no_check_is_refused_in_words(changes: dict[str, Any], error: type[DomainError]) -> None:
    with pytest.raises(error) as refused:
        work_out(check(**changes), MILL_MM)
    assert say(refused.value.code, refused.value.fields)


def test_a_check_holds_to_the_end_of_its_due_day() -> None:
    checked = "2026-11-01T15:00:00.000Z"
    still, over = (state_of(checked, 30, datetime(2026, 12, day, 0, 0, tzinfo=UTC)) for day in (1, 2))
    assert still == CheckState("2026-12-02T00:00:00.000Z", overdue=False)
    assert over == CheckState("2026-12-02T00:00:00.000Z", overdue=True)


def test_a_probe_that_was_never_checked_is_overdue() -> None:
    now = datetime(2026, 11, 25, tzinfo=UTC)
    assert state_of(None, 30, now) == CheckState(None, overdue=True)
    with pytest.raises(IntervalNotPositiveError):
        state_of(None, 0, now)
